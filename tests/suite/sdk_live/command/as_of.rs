//! `eavesward due --as-of`: the list of another day.

use super::{Shell, daily};
use serde_json::{Value, json};

async fn rained_on() -> Shell {
    let shell = Shell::start().await;
    shell.greenhouse();
    shell.write("rain.csv", daily());
    shell.run(&["rain", "import", "orchard gauge", "rain.csv"]).ok();
    shell.app.refresh().await;
    shell
}

/// What a row says, whichever way it was found.
fn rows(list: &Value) -> Vec<Value> {
    let rows = list.as_array().expect("a list").iter();
    let facts = [
        "property_id",
        "property_name",
        "system_id",
        "system_name",
        "component_id",
        "component_name",
        "duty",
    ];
    let more = [
        "title",
        "state",
        "due_on",
        "decided_by",
        "longest_interval_on",
        "window",
        "since",
        "accumulated",
        "limit",
        "as_of",
    ];
    rows.map(|row| facts.iter().chain(&more).map(|field| row[*field].clone()).collect()).collect()
}

fn by_component_and_duty(mut rows: Vec<Value>) -> Vec<Value> {
    rows.sort_by_key(|row| format!("{} {}", row[4], row[6]));
    rows
}

#[tokio::test(flavor = "multi_thread", worker_threads = 1)]
async fn the_list_of_today_is_the_list_as_of_today() {
    let shell = rained_on().await;
    for filter in
        [&["--all"][..], &["--within", "400d"], &[], &["--from", "2026-03-01"], &["--state", "resting"]]
    {
        let today = rows(&shell.json(&[&["due"], filter].concat()));
        let as_of = rows(&shell.json(&[&["due", "--as-of", "2026-03-01"], filter].concat()));
        let dates = |rows: &[Value]| rows.iter().map(|row| row[9].clone()).collect::<Vec<_>>();
        assert_eq!(dates(&today), dates(&as_of), "{filter:?}: both are by due date");
        assert_eq!(by_component_and_duty(today), by_component_and_duty(as_of), "{filter:?}");
    }
    let all = rows(&shell.json(&["due", "--as-of", "2026-03-01", "--all"]));
    assert!(all.len() > 3 && all.iter().any(|row| row[8] == "resting"), "{all:?}");
    shell.app.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 1)]
async fn a_duty_comes_falls_due_runs_late_and_is_done() {
    let shell = rained_on().await;
    let on = |day: &str, more: &[&str]| {
        let kind = ["due", "--kind", "first-flush-diverter", "--as-of", day];
        shell.json(&[&kind[..], more].concat())
    };
    // Dry for more than a year: the chamber waits for rain, not for a day within the week.
    assert_eq!(on("2026-01-15", &["--state", "due,late"]), json!([]));
    let due = on("2026-02-26", &[]);
    assert_eq!((&due[0]["state"], &due[0]["due_on"]), (&json!("due"), &json!("2026-02-25")), "{due}");
    assert_eq!(due[0]["as_of"], "2026-02-26");
    // Both ends of a window belong to it.
    for (window, listed) in [
        (["--within", "0d"], true),
        (["--to", "2026-02-25"], true),
        (["--to", "2026-02-24"], false),
        (["--from", "2026-02-25"], true),
        (["--from", "2026-02-26"], false),
    ] {
        assert_eq!(on("2026-02-25", &window) != json!([]), listed, "{window:?}");
    }
    let late = on("2026-03-20", &[]);
    assert_eq!((&late[0]["state"], &late[0]["due_on"]), (&json!("late"), &json!("2026-02-25")), "{late}");
    assert_eq!(shell.run(&["due", "--as-of", "2026-03-20", "--fail-if-late"]).code, 4);
    assert_eq!(shell.run(&["due", "--as-of", "2026-02-26", "--fail-if-late"]).code, 0);
    // Drained on the 27th: gone from the list of that day, still on that of the day before.
    let log =
        ["visit", "log", "seedling house", "--on", "2026-02-27", "--done", "first flush:drain-diverter"];
    shell.run(&log).ok();
    assert_eq!(on("2026-02-26", &[]), due);
    assert_eq!(on("2026-02-27", &["--state", "due,late"]), json!([]));
    // Nobody had put it up yet.
    assert_eq!(on("2024-12-31", &["--all"]), json!([]));
    shell.app.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 1)]
async fn the_table_is_that_of_the_weekly_list_and_may_be_narrowed_down() {
    let shell = rained_on().await;
    let table = shell.run(&["due", "--as-of", "2026-02-26"]).ok();
    let row = table.lines().find(|line| line.contains("first flush")).expect("the full chamber");
    assert!(row.starts_with("2026-02-25  due    School greenhouse  seedling house  first flush"), "{row}");
    assert!(table.contains("\nBring\n") && table.contains("\nBe careful\n"), "{table}");
    assert!(!table.contains("When it is done"), "that day is not today: {table}");
    let us = shell.run(&["due", "--as-of", "2026-02-26", "--units", "us"]).ok();
    assert!(us.contains(" in of ") && !us.contains(" mm of "), "{us}");
    let asked = |property: &str| shell.run(&["due", "--as-of", "2026-02-26", "--property", property]);
    assert_eq!(asked("School greenhouse").ok(), table);
    assert_eq!(shell.run(&["due", "--as-of", "2026-02-26", "--system", "seedling house"]).ok(), table);
    let place = ["--latitude", "48", "--longitude", "0.5", "--time-zone", "Etc/UTC"];
    shell.run(&[&["property", "add", "--name", "terrace"], &place[..]].concat()).ok();
    assert!(asked("terrace").ok().starts_with("Nothing is due."));
    let both = ["due", "--as-of", "2026-02-26", "--system", "seedling house", "--property", "terrace"];
    assert_eq!(shell.json(&both), json!([]));
    assert!(asked("orchard").refused(2).contains("eavesward property list"));
    let refused = shell.run(&["due", "--as-of", "0001-01-01"]).refused(3);
    assert!(refused.contains("as_of"), "{refused}");
    shell.app.stop().await;
}
