//! The whole job by hand.

use super::{Shell, daily, greenhouse, id};
use serde_json::{Value, json};

#[tokio::test(flavor = "multi_thread", worker_threads = 1)]
async fn from_an_empty_account_to_a_visit_that_moves_the_date() {
    let shell = Shell::start().await;
    let account = shell.run(&["account"]).ok();
    assert!(account.contains("first account") && account.contains("QUOTA"), "{account}");
    assert!(account.lines().any(|line| line.starts_with("systems") && line.contains("20000")), "{account}");
    empty_accounts_are_led_on(&shell);
    let system = shell.greenhouse();
    rain_comes_in(&shell);
    shell.app.refresh().await;
    the_list_says_what_to_do(&shell, &system);
    the_forecast_says_why(&shell);
    the_status_is_short(&shell);
    let visit = a_visit_is_logged(&shell, &system);
    shell.app.refresh().await;
    let due = shell.run(&["due"]).ok();
    assert!(!due.contains("first flush"), "it is drained: {due}");
    the_visit_is_withdrawn(&shell, &visit);
    shell.app.refresh().await;
    let due = shell.run(&["due"]).ok();
    assert!(due.contains("first flush"), "a withdrawn visit is ignored: {due}");
    shell.app.stop().await;
}

/// On an empty account each step names the next.
fn empty_accounts_are_led_on(shell: &Shell) {
    let place = ["--latitude", "48", "--longitude", "0.5"];
    let next = |hint: &str| {
        for list in [&["due"][..], &["due", "--all"], &["due", "--as-of", "2026-02-01"]] {
            let said = shell.run(list).ok();
            assert!(
                said.starts_with("Nothing is registered yet.\n") && said.contains(hint),
                "{list:?}: {said}"
            );
        }
        assert_eq!(shell.json(&["due"]), json!([]));
    };
    next("`eavesward property add --help`");
    shell
        .run(&[&["property", "add", "--time-zone", "Etc/UTC", "--name", "terrace"], &place[..]].concat())
        .ok();
    next("`eavesward gauge add --help`");
    shell.run(&[&["gauge", "add", "--name", "terrace gauge"], &place[..]].concat()).ok();
    next("`eavesward system add --file FILE`");
    let list = shell.run(&["system", "list"]).ok();
    assert!(list.contains("eavesward system add"), "{list}");
}

fn rain_comes_in(shell: &Shell) {
    shell.write("rain.csv", daily());
    let import = ["rain", "import", "orchard gauge", "rain.csv"];
    let said = shell.run(&import).ok();
    assert!(said.starts_with("421 new, 0 changed, 0 unchanged, 0 refused"), "{said}");
    assert!(said.ends_with("The gauge now has readings from 2025-01-01 to 2026-02-25.\n"), "{said}");
    let again = shell.run(&import).ok();
    assert!(again.starts_with("0 new, 0 changed, 421 unchanged, 0 refused"), "{again}");
    // A station file on another gauge: tenths of a millimetre, a flagged reading, and one over two days.
    let station = "AR000000001,20260201,PRCP,254,,,N,\nAR000000001,20260202,PRCP,9,,G,N,\n\
                   AR000000001,20260204,MDPR,100,,,N,\nAR000000001,20260204,DAPR,2,,,N,\n";
    shell.write("station.csv", station);
    let import = ["rain", "import", "terrace gauge", "station.csv", "--layout", "ghcn-daily"];
    let said = shell.run(&[&import[..], &["--several-days", "spread"]].concat()).ok();
    assert!(said.contains("3 new") && said.contains("1 refused; 2 days filled by spreading"), "{said}");
    assert!(said.contains("line 2 (20260202)"), "{said}");
    let show = ["rain", "show", "terrace gauge", "--from", "2026-02-01", "--to", "2026-02-03"];
    assert_eq!(shell.run(&show).ok(), "DATE        RAIN\n2026-02-01  25.4 mm\n2026-02-03  5 mm\n");
    let us = shell.run(&[&show[..], &["--units", "us"]].concat()).ok();
    assert_eq!(us, "DATE        RAIN\n2026-02-01  1 in\n2026-02-03  0.2 in\n");
    let forget = ["rain", "forget", "terrace gauge", "--from", "2026-02-02", "--to", "2026-02-28"];
    shell.run(&forget).ok();
    let left = shell.json(&["rain", "show", "terrace gauge"]);
    assert_eq!(left, json!([{"date": "2026-02-01", "rain_mm": 25.4}]));
    let gauge = shell.run(&["gauge", "show", "orchard gauge"]).ok();
    assert!(gauge.contains("421 days with a reading, 2025-01-01 to 2026-02-25"), "{gauge}");
}

fn the_list_says_what_to_do(shell: &Shell, system: &str) {
    let due = shell.run(&["due"]).ok();
    let head = due.lines().next().expect("a head");
    for column in
        ["DUE", "STATE", "PROPERTY", "SYSTEM", "COMPONENT", "WHAT TO DO", "DECIDED BY", "ACCUMULATED / LIMIT"]
    {
        assert!(head.contains(column), "{head}");
    }
    let row = due.lines().find(|line| line.contains("first flush")).expect("the full chamber");
    assert!(row.starts_with("2026-02-25  due    School greenhouse  seedling house  first flush"), "{row}");
    let hint = format!("  eavesward visit log {system} --on YYYY-MM-DD --done ");
    for part in ["\nBring\n  - ", "\nBe careful\n  - ", "\nWhen it is done\n", hint.as_str()] {
        assert!(due.contains(part), "{part:?} is not in {due}");
    }
    let tasks = shell.json(&["due", "--kind", "first-flush-diverter", "--system", "seedling house"]);
    let tasks = tasks.as_array().expect("a list");
    assert_eq!(tasks.len(), 1);
    assert_eq!((&tasks[0]["due_on"], &tasks[0]["system_id"]), (&json!("2026-02-25"), &json!(system)));
    let all = shell.json(&["due", "--all"]);
    assert!(all.as_array().expect("a list").len() > 3, "the screen and the tank come later: {all}");
    assert_eq!(shell.json(&["due", "--state", "late"]), json!([]));
    let nothing = shell.run(&["due", "--to", "2020-01-01"]).ok();
    assert!(nothing.contains("`eavesward due --all`"), "{nothing}");
}

fn the_forecast_says_why(shell: &Shell) {
    let plain = shell.run(&["forecast", "seedling house"]).ok();
    assert!(
        plain.starts_with("As of 2026-03-01. Roof of 50 m2, metal. Rain: record, readings 2025-01-01"),
        "{plain}"
    );
    assert!(!plain.contains("  - Limit: "), "{plain}");
    let why = shell.run(&["forecast", "seedling house", "--explain"]).ok();
    assert!(why.contains("first flush: ") && why.contains("no findings yet"), "{why}");
    assert!(why.contains("  - Careful, "), "{why}");
    let us = shell.run(&["--units", "us", "forecast", "seedling house", "--explain"]).ok();
    assert!(us.contains("Roof of 538 ft2"), "{us}");
    // The service's own sentences stay as they are; the command's figures follow.
    let (table, _) = us.split_once("\n\n").expect("an explanation after a blank line");
    let lines = us.lines().filter(|line| line.starts_with("  - Accumulated: "));
    let figures: Vec<&str> = table.lines().chain(lines).collect();
    assert!(figures.iter().any(|line| line.contains("- Accumulated: 0.05 in of runoff on ")), "{figures:?}");
    assert!(!figures.iter().any(|line| line.contains(" mm of ")), "{figures:?}");
    // Before it rained the chamber was empty, and nothing later than that day is used.
    let before = shell.json(&["forecast", "seedling house", "--as-of", "2026-02-24"]);
    let (accumulated, day) = (accumulated_of(&before, "first flush"), &before["climate"]["rain_through"]);
    assert_eq!((accumulated, day), (0.0, &json!("2026-02-24")));
    let now = shell.json(&["forecast", "seedling house"]);
    let full = accumulated_of(&now, "first flush");
    assert!(full >= 1.0, "0.9 of 1.5 mm fill a chamber of 1 mm: {full}");
    // The same facts from a file, stored nowhere, give the same dates.
    let mut file = greenhouse();
    let object = file.as_object_mut().expect("an object");
    object.retain(|field, _| field != "name" && field != "commissioned_on");
    let rain: Vec<Value> = daily().lines().skip(1).map(reading).collect();
    let more = json!({"latitude_deg": 48.0, "elevation_m": 52.0, "as_of": "2026-03-01", "rain": rain});
    object.extend(more.as_object().expect("an object").clone());
    shell.write("sketch.json", file.to_string());
    let sketch = shell.json(&["forecast", "--file", "sketch.json"]);
    assert_eq!(dates(&sketch), dates(&now));
    assert_eq!(sketch["system_id"], Value::Null);
}

fn reading(line: &str) -> Value {
    let (date, mm) = line.split_once(',').expect("two fields");
    json!({"date": date, "rain_mm": mm.parse::<f64>().expect("a number")})
}

fn accumulated_of(forecast: &Value, component: &str) -> f64 {
    let duties = forecast["duties"].as_array().expect("duties");
    let duty = duties.iter().find(|duty| duty["component_name"] == component).expect("that duty");
    duty["accumulated"]["value"].as_f64().expect("an accumulated figure")
}

fn dates(forecast: &Value) -> Vec<(&Value, &Value, &Value, &Value)> {
    let duties = forecast["duties"].as_array().expect("duties");
    assert!(duties.len() > 3, "{duties:?}");
    duties.iter().map(|duty| (&duty["duty"], &duty["due_on"], &duty["decided_by"], &duty["window"])).collect()
}

fn the_status_is_short(shell: &Shell) {
    let status = shell.run(&["status", "seedling house"]).ok();
    assert!(status.starts_with("seedling house on 2026-03-01: due\n"), "{status}");
    assert!(status.contains("Runoff: 1.35 mm (67.5 L) in 7 days, 1.35 mm (67.5 L) in 30 days"), "{status}");
    assert!(status.contains("Rain known through 2026-02-25"), "{status}");
    let us = shell.run(&["status", "seedling house", "--units", "us"]).ok();
    assert!(us.contains("Runoff: 0.05 in (17.8 US gal) in 7 days"), "{us}");
    let json = shell.json(&["status", "seedling house", "--units", "us"]);
    assert!((json["runoff_7_days_l"].as_f64().expect("litres") - 67.5).abs() < 1e-9, "JSON stays SI: {json}");
}

fn a_visit_is_logged(shell: &Shell, system: &str) -> String {
    let log =
        ["visit", "log", "seedling house", "--on", "2026-02-26", "--by", "Tamsin", "--note", "It was full."];
    let seen = ["--done", "first flush:drain-diverter", "--found", "first flush:drain_diverter=100%"];
    let looked = ["--found", "north screen:clean-screen=light"];
    let visit = shell.json(&[&log[..], &seen[..], &looked[..]].concat());
    assert_eq!(
        (&visit["system_id"], visit["items"].as_array().map(Vec::len)),
        (&json!(system), Some(2)),
        "{visit}"
    );
    let visit = id(&visit);
    let list = shell.run(&["visit", "list", "--system", "seedling house"]).ok();
    assert!(list.contains(&visit) && list.contains("Tamsin"), "{list}");
    let none = shell.run(&["visit", "list", "--from", "2026-02-27"]).ok();
    assert!(none.starts_with("No visits found."), "{none}");
    let shown = shell.run(&["visit", "show", &visit]).ok();
    assert!(shown.contains("on 2026-02-26 by Tamsin, version 1\nNote: It was full.\n"), "{shown}");
    assert!(shown.contains("first flush") && shown.contains("100 %") && shown.contains("looked"), "{shown}");
    let corrected = shell.run(&["visit", "correct", &visit, "--note", "It was half full."]).ok();
    assert!(corrected.contains("now version 2"), "{corrected}");
    let kept = shell.run(&["visit", "show", &visit, "--revisions"]).ok();
    assert!(kept.contains("Version 1, until ") && kept.contains("Note: It was full.\n"), "{kept}");
    visit
}

fn the_visit_is_withdrawn(shell: &Shell, visit: &str) {
    let said = shell.run(&["visit", "withdraw", visit, "--because", "it was the terrace"]).ok();
    assert!(said.contains("forecasts ignore it"), "{said}");
    assert_eq!(shell.json(&["visit", "list"]), json!([]));
    let all = shell.run(&["visit", "list", "--include-withdrawn"]).ok();
    assert!(all.contains("withdrawn: it was the terrace"), "{all}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 1)]
async fn parts_and_keys_and_places_come_and_go() {
    let shell = Shell::start().await;
    let system = shell.greenhouse();
    components_come_and_go(&shell);
    keys_come_and_go(&shell);
    // A property and a gauge that a system needs stay; nothing needs the others.
    for (noun, name, other) in
        [("property", "School greenhouse", "terrace"), ("gauge", "orchard gauge", "terrace gauge")]
    {
        let refusal = shell.run(&[noun, "remove", name]).refused(3);
        assert!(refusal.contains("Still in use") && refusal.contains("request id: "), "{refusal}");
        let mut add = vec![noun, "add", "--name", other, "--latitude", "-33.9", "--longitude", "18.4"];
        if noun == "property" {
            add.extend(["--time-zone", "Africa/Johannesburg", "--notes", "Mind the bees."]);
        }
        let made = shell.json(&add);
        assert_eq!(made["latitude_deg"], -33.9);
        let shown = shell.run(&[noun, "show", &id(&made)]).ok();
        assert!(shown.contains(other) && shown.contains("-33.9"), "{shown}");
        shell.run(&[noun, "remove", other]).ok();
        let list = shell.run(&[noun, "list"]).ok();
        assert!(list.contains(name) && !list.contains(other), "{list}");
    }
    let shown = shell.run(&["system", "show", "seedling house", "--units", "us"]).ok();
    assert!(shown.contains("26.4 US gal drawn per day") && shown.contains("538 ft2 of metal"), "{shown}");
    let retired = shell.run(&["system", "retire", "seedling house", "--on", "2026-02-28"]).ok();
    assert!(retired.contains("out of service from 2026-02-28"), "{retired}");
    shell.app.refresh().await;
    let due = shell.run(&["due", "--all", "--system", &system]).ok();
    assert!(due.starts_with("Nothing is listed."), "{due}");
    shell.app.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 1)]
async fn own_figures_and_months_and_partial_cleanings_are_given_by_hand() {
    let shell = Shell::start().await;
    let system = shell.greenhouse();
    duties_are_set(&shell);
    the_climate_is_set(&shell);
    a_partial_cleaning_is_logged(&shell, &system);
    frost_comes_and_goes(&shell);
    shell.app.stop().await;
}

fn duties_are_set(shell: &Shell) {
    let list = shell.run(&["duty", "list"]).ok();
    assert_eq!(list.lines().count(), 22, "{list}");
    assert!(list.contains("clear weep hole") && !list.contains('*'), "{list}");
    let said = shell.run(&["duty", "set", "clean-screen", "--longest-interval-months", "20"]).ok();
    assert_eq!(said, "clean screen: max. interval 20 months*, due at a chance of 50 %, notice 7 days.\n");
    let said = shell.run(&["duty", "set", "clean-screen", "--tolerance", "12.5%"]).ok();
    assert_eq!(said, "clean screen: max. interval 20 months*, due at a chance of 12.5 %*, notice 7 days.\n");
    let forecast = shell.json(&["forecast", "seedling house"]);
    let duties = forecast["duties"].as_array().expect("duties");
    let screen = duties.iter().find(|duty| duty["duty"] == "clean_screen").expect("the screen");
    // Last served on 1 February 2026.
    assert_eq!((&screen["longest_interval_on"], &screen["tolerance"]), (&json!("2027-10-01"), &json!(0.125)));
    let why = shell.run(&["forecast", "seedling house", "--explain"]).ok();
    assert!(why.contains("until 2027-10-01 (the account's own figure)"), "{why}");
    let said = shell.run(&["duty", "reset", "clean-screen", "--tolerance"]).ok();
    assert_eq!(said, "clean screen: max. interval 20 months*, due at a chance of 50 %, notice 7 days.\n");
    let reset = shell.json(&["duty", "reset", "clean-screen"]);
    assert_eq!((&reset["longest_interval_months"], &reset["version"]), (&Value::Null, &json!(4)));
    let refusal = shell.run(&["duty", "set", "drain-for-frost", "--tolerance", "0.5"]).refused(3);
    assert!(refusal.contains("tolerance: the date of drain_for_frost is not predicted"), "{refusal}");
    let refusal = shell.run(&["duty", "set", "clean-screen", "--longest-interval-months", "241"]).refused(3);
    assert!(refusal.contains("longest_interval_months: 241 is not from 1 to 240"), "{refusal}");
}

fn the_climate_is_set(shell: &Shell) {
    let minima = "-4,-3.5,-1,2,6,9,11,11,8,4,0,-3";
    let shown = shell.run(&["property", "climate", "School greenhouse", "--mean-minimum-c", minima]).ok();
    assert!(shown.contains("Feb    -     -3.5 °C       -"), "{shown}");
    let evaporation = ["1"; 12].join(",");
    shell.run(&["property", "climate", "School greenhouse", "--evaporation", &evaporation]).ok();
    let list = shell.json(&["property", "list"]);
    let property = list.as_array().and_then(|all| all.first()).expect("a property");
    assert_eq!(property["temperatures"]["mean_minimum_c"][1], -3.5, "it stayed as it was");
    assert_eq!(
        (&property["evaporation_mm_per_day"], &property["version"]),
        (&json!(vec![1.0; 12]), &json!(3))
    );
    let above = ["-5"; 12].join(",");
    let refusal = shell.run(&["property", "climate", "School greenhouse", "--mean-c", &above]).refused(3);
    assert!(refusal.contains("temperatures.mean_minimum_c[0]: a mean minimum of -4 is above"), "{refusal}");
    let cleared = shell.json(&["property", "climate", "School greenhouse", "--clear"]);
    assert_eq!((&cleared["temperatures"], &cleared["evaporation_mm_per_day"]), (&Value::Null, &Value::Null));
}

fn a_partial_cleaning_is_logged(shell: &Shell, system: &str) {
    let log = ["visit", "log", system, "--on", "2026-02-26", "--done", "north screen:clean-screen"];
    let more = [
        "--found=north screen:clean-screen=heavy",
        "--left=north screen:clean-screen=20%",
        "--cleaned-meanwhile=north screen:clean-screen",
    ];
    let visit = shell.json(&[&log[..], &more[..]].concat());
    let item = &visit["items"][0];
    assert_eq!((&item["left_fraction"], &item["cleaned_meanwhile"]), (&json!(0.2), &json!(true)), "{visit}");
    let shown = shell.run(&["visit", "show", &id(&visit)]).ok();
    assert!(shown.contains("in part, 20 % left") && shown.contains("heavy, cleaned meanwhile"), "{shown}");
    let tank = ["visit", "log", system, "--on", "2026-02-26", "--done", "tank:look-over-tank"];
    let refusal = shell.run(&[&tank[..], &["--left", "tank:look-over-tank=0.2"]].concat()).refused(3);
    assert!(refusal.contains("items[0].left_fraction: look_over_tank"), "{refusal}");
}

fn frost_comes_and_goes(shell: &Shell) {
    let part = r#"{"name": "pipes", "installed_on": "2025-01-10", "part": {"kind": "exposed_pipework"}}"#;
    shell.write("pipes.json", part);
    let pipes = id(&shell.json(&["component", "add", "seedling house", "--file", "pipes.json"]));
    let why = shell.run(&["forecast", "seedling house", "--explain"]).ok();
    assert!(why.contains("The days of frost are not known"), "{why}");
    let said = shell.run(&["component", "frost", &pipes, "--first", "10-25", "--last", "04-20"]).ok();
    assert_eq!(said, "pipes: frost from 10-25 to 04-20.\n");
    let why = shell.run(&["forecast", "seedling house", "--explain"]).ok();
    assert!(why.contains("Frost is expected from 25 October"), "{why}");
    let refusal =
        shell.run(&["component", "frost", &pipes, "--first", "13-25", "--last", "04-31"]).refused(3);
    assert!(refusal.contains("part.first_frost: ") && refusal.contains("part.last_frost: "), "{refusal}");
    let said = shell.run(&["component", "frost", &pipes, "--clear"]).ok();
    assert_eq!(said, "pipes: no frost season is set.\n");
}

fn components_come_and_go(shell: &Shell) {
    shell.write("pump.json", r#"{"name": "pump", "installed_on": "2026-01-10", "part": {"kind": "pump"}}"#);
    let pump = id(&shell.json(&["component", "add", "seedling house", "--file", "pump.json"]));
    shell.write("part.json", r#"{"kind": "pump", "mains_powered": false}"#);
    let replace = ["component", "replace", &pump, "--on", "2026-02-01", "--part-file", "part.json"];
    let new = shell.json(&[&replace[..], &["--name", "solar pump"]].concat());
    assert_eq!((&new["replaces_id"], &new["part"]["mains_powered"]), (&json!(pump), &json!(false)), "{new}");
    let twice = shell.run(&replace).refused(3);
    assert!(twice.contains("error: "), "{twice}");
    let list = shell.run(&["component", "list", "seedling house"]).ok();
    assert!(list.contains("solar pump") && !list.contains(&pump), "{list}");
    shell.run(&["component", "retire", &id(&new), "--on", "2026-02-20"]).ok();
    let list = shell.run(&["component", "list", "seedling house"]).ok();
    assert!(!list.contains("pump"), "{list}");
    let all = shell.run(&["component", "list", "seedling house", "--include-retired"]).ok();
    assert!(all.contains(&pump) && all.contains("2026-02-20"), "{all}");
}

fn keys_come_and_go(shell: &Shell) {
    let made = shell.json(&["key", "add", "--name", "van", "--scope", "read,write"]);
    let secret = made["secret"].as_str().expect("a secret");
    let with_key = |args: &[&str]| super::ran(shell.command(args).env("EAVESWARD_KEY", secret));
    with_key(&["system", "list"]).ok();
    let refusal = with_key(&["key", "list"]).refused(3);
    assert!(refusal.contains("admin"), "it names the scope: {refusal}");
    let list = shell.run(&["key", "list"]).ok();
    assert!(list.contains("LAST USED"), "{list}");
    let done = shell.run(&["audit", "--most", "1"]).ok();
    assert!(
        done.contains("create_key") && done.contains("key first key") && done.contains("There are more"),
        "{done}"
    );
    let id = made["key"]["id"].as_str().expect("an id");
    let done = shell.json(&["audit", "--thing", id]);
    assert_eq!(done.as_array().map(Vec::len), Some(1), "{done}");
    assert_eq!((&done[0]["operation"], &done[0]["thing"]["id"]), (&"create_key".into(), &id.into()));
    assert_eq!(shell.run(&["audit", "--key-id", id]).ok(), "No changes found.\n");
    assert!(list.contains("van") && list.contains("read,write") && !list.contains(secret), "{list}");
    shell.run(&["key", "revoke", made["key"]["id"].as_str().expect("an id")]).ok();
    with_key(&["system", "list"]).refused(3);
    // A key in a file goes before the one in the environment.
    shell.write_private("key", format!("{}\n", shell.app.key));
    with_key(&["system", "list", "--key-file", "key"]).ok();
}
