//! Duties, climate, frost, and what a partial cleaning left: what is read, what is sent, and how it is shown.

use super::{SCREEN, SPARE, SYSTEM, component, mount_page, run};
use crate::failure;
use serde_json::{Value, json};
use wiremock::matchers::{body_json, header, method, path};
use wiremock::{Mock, MockServer, ResponseTemplate};

fn duty(word: &str, own: &(Value, Value), version: i64) -> Value {
    let longest = json!({"months": 3, "source": "a trade guide"});
    let tolerance = json!({"chance": 0.5, "source": "as often too early as too late"});
    let (longest, tolerance) = match word {
        "remove_sediment" => (Value::Null, tolerance),
        "check_pump" => (longest, Value::Null),
        _ => (longest, tolerance),
    };
    json!({
        "duty": word, "title": "see to it", "default_longest_interval": longest, "default_tolerance": tolerance,
        "longest_interval_months": own.0, "tolerance": own.1, "default_lead_days": 7, "default_move_days": 3,
        "lead_days": null, "move_days": null, "version": version, "updated_at": null
    })
}

#[tokio::test]
async fn duties_are_listed_and_own_figures_have_a_star() {
    let server = MockServer::start().await;
    let own = duty("clean_screen", &(json!(1), json!(0.125)), 4);
    let none = (Value::Null, Value::Null);
    let items = json!([own, duty("remove_sediment", &none, 0), duty("check_pump", &none, 0)]);
    mount_page(&server, "/v1/duties", items.clone()).await;
    let ran = run(&server, &["duty", "list"], "").await;
    let want = "\
DUTY             MAX. INTERVAL  DUE AT CHANCE  NOTICE  WHAT TO DO
clean screen     1 month*       12.5 %*        7 days  see to it
remove sediment  -              50 %           7 days  see to it
check pump       3 months       -              7 days  see to it
";
    assert_eq!((ran.code, ran.err.as_str(), ran.out.as_str()), (0, "", want));
    let why = run(&server, &["duty", "list", "--explain"], "").await;
    for line in [
        "clean screen\n  - Max. interval: the account's own figure\n  - Due at chance: the account's own figure\n",
        "remove sediment\n  - Due at chance: as often too early as too late\n",
        "check pump\n  - Max. interval: a trade guide\n  - Due at chance: none, because no limit predicts the date.\n",
    ] {
        assert!(why.out.contains(line), "{line} is not in {}", why.out);
    }
    let json = run(&server, &["--json", "duty", "list"], "").await;
    assert_eq!(serde_json::from_str::<Value>(&json.out).expect("JSON"), items);
}

/// Checks what is sent for a duty with these figures and version 4.
async fn sent(args: &[&str], own: (Value, Value), body: Value) {
    let server = MockServer::start().await;
    let answer = |duty: Value| ResponseTemplate::new(200).set_body_json(duty);
    let at = "/v1/duties/clean_screen";
    Mock::given(method("GET"))
        .and(path(at))
        .respond_with(answer(duty("clean_screen", &own, 4)))
        .mount(&server)
        .await;
    Mock::given(method("PUT"))
        .and(path(at))
        .and(header("if-match", "\"4\""))
        .and(body_json(body))
        .respond_with(answer(duty("clean_screen", &(json!(2), json!(0.3)), 5)))
        .expect(1)
        .mount(&server)
        .await;
    let ran = run(&server, args, "").await;
    assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{args:?}");
    assert_eq!(ran.out, "clean screen: max. interval 2 months*, due at a chance of 30 %*, notice 7 days.\n");
}

#[tokio::test]
async fn what_is_not_given_stays_and_a_reset_names_what_goes() {
    let own = || (json!(9), json!(0.4));
    let set = ["duty", "set", "clean-screen"];
    sent(
        &[&set[..], &["--longest-interval-months", "2"]].concat(),
        own(),
        json!({"longest_interval_months": 2, "tolerance": 0.4}),
    )
    .await;
    sent(
        &[&set[..], &["--tolerance", "30%"]].concat(),
        own(),
        json!({"longest_interval_months": 9, "tolerance": 0.3}),
    )
    .await;
    let both = [&set[..], &["--tolerance", "0.3", "--longest-interval-months", "2"]].concat();
    sent(&both, (Value::Null, Value::Null), json!({"longest_interval_months": 2, "tolerance": 0.3})).await;
    let reset = ["duty", "reset", "clean_screen"];
    sent(&reset, own(), json!({})).await;
    sent(&[&reset[..], &["--longest-interval"]].concat(), own(), json!({"tolerance": 0.4})).await;
    sent(&[&reset[..], &["--tolerance"]].concat(), own(), json!({"longest_interval_months": 9})).await;
    sent(&[&reset[..], &["--longest-interval", "--tolerance"]].concat(), own(), json!({})).await;
}

fn property(temperatures: &Value, evaporation: &Value) -> Value {
    json!({
        "id": SPARE, "name": "Quince Terrace", "latitude_deg": 51.5, "longitude_deg": -0.5, "elevation_m": 40.0,
        "time_zone": "Etc/UTC", "temperatures": temperatures, "evaporation_mm_per_day": evaporation,
        "notes": "Mind the bees.", "version": 3,
        "created_at": "2031-04-02T08:00:00Z", "updated_at": "2031-04-02T08:00:00Z"
    })
}

#[tokio::test]
async fn a_climate_is_set_list_by_list_and_shown_in_the_units_asked_for() {
    let server = MockServer::start().await;
    let at = format!("/v1/properties/{SPARE}");
    let (minimum, evaporation) = (vec![-1.0; 12], vec![25.4; 12]);
    let known = property(&json!({"mean_minimum_c": minimum}), &Value::Null);
    Mock::given(method("GET"))
        .and(path(at.as_str()))
        .respond_with(ResponseTemplate::new(200).set_body_json(known))
        .mount(&server)
        .await;
    let mean: Vec<f64> = (0..12).map(|month| f64::from(month) - 5.0).collect();
    let changed = property(&json!({"mean_c": mean, "mean_minimum_c": minimum}), &json!(evaporation));
    Mock::given(method("PUT"))
        .and(path(at.as_str()))
        .and(header("if-match", "\"3\""))
        .and(body_json(json!({
            "name": "Quince Terrace", "latitude_deg": 51.5, "longitude_deg": -0.5, "elevation_m": 40.0,
            "time_zone": "Etc/UTC", "notes": "Mind the bees.",
            "temperatures": {"mean_c": mean, "mean_minimum_c": minimum}, "evaporation_mm_per_day": evaporation
        })))
        .respond_with(ResponseTemplate::new(200).set_body_json(changed))
        .expect(1)
        .mount(&server)
        .await;
    let twelve = ["25.4"; 12].join(",");
    let set = ["property", "climate", SPARE, "--mean-c", "-5,-4,-3,-2,-1,0,1,2,3,4,5,6", "--evaporation"];
    let ran = run(&server, &[&set[..], &[&twelve, "--units", "us"]].concat(), "").await;
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
    for line in [
        "MONTH  MEAN     MEAN MINIMUM  EVAPORATION PER DAY",
        "Jan    23 °F    30.2 °F       1 in",
        "Mind the bees.",
    ] {
        assert!(ran.out.contains(line), "{line} is not in {}", ran.out);
    }
    let nothing = run(&server, &["property", "climate", SPARE], "").await;
    assert!(nothing.code == failure::USAGE && nothing.err.contains("--mean-c"), "{}", nothing.err);
    let shown = run(&server, &["property", "show", SPARE], "").await;
    assert!(shown.out.contains("Dec    -     -1 °C         -"), "{}", shown.out);
}

#[tokio::test]
async fn a_new_property_takes_a_climate_and_a_cleared_one_keeps_what_is_given() {
    let server = MockServer::start().await;
    let minimum = vec![1.5; 12];
    let made = property(&json!({"mean_minimum_c": minimum}), &Value::Null);
    Mock::given(method("POST"))
        .and(path("/v1/properties"))
        .and(body_json(json!({
            "name": "Quince Terrace", "latitude_deg": 51.5, "longitude_deg": -0.5, "elevation_m": 0.0,
            "time_zone": "Etc/UTC", "temperatures": {"mean_minimum_c": minimum}
        })))
        .respond_with(ResponseTemplate::new(201).set_body_json(&made))
        .expect(1)
        .mount(&server)
        .await;
    let add = ["property", "add", "--name", "Quince Terrace", "--latitude", "51.5", "--longitude", "-0.5"];
    let months = ["1.5"; 12].join(",");
    let more = ["--time-zone", "Etc/UTC", "--mean-minimum-c", &months];
    let ran = run(&server, &[&add[..], &more[..]].concat(), "").await;
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
    let at = format!("/v1/properties/{SPARE}");
    Mock::given(method("GET"))
        .and(path(at.as_str()))
        .respond_with(ResponseTemplate::new(200).set_body_json(&made))
        .mount(&server)
        .await;
    Mock::given(method("PUT"))
        .and(path(at.as_str()))
        .and(body_json(json!({
            "name": "Quince Terrace", "latitude_deg": 51.5, "longitude_deg": -0.5, "elevation_m": 40.0,
            "time_zone": "Etc/UTC", "notes": "Mind the bees."
        })))
        .respond_with(ResponseTemplate::new(200).set_body_json(property(&Value::Null, &Value::Null)))
        .expect(1)
        .mount(&server)
        .await;
    let ran = run(&server, &["property", "climate", SPARE, "--clear"], "").await;
    assert!(
        ran.code == 0 && ran.out.contains("`eavesward property climate PROPERTY`"),
        "{} {}",
        ran.out,
        ran.err
    );
}

#[tokio::test]
async fn days_of_frost_are_set_and_taken_away_on_pipework_alone() {
    let server = MockServer::start().await;
    let pipes = |part: Value| {
        let mut pipes = component(SCREEN, "shed pipes");
        pipes["part"] = part;
        pipes
    };
    let days = json!({"kind": "exposed_pipework", "first_frost": {"month": 10, "day": 25},
        "last_frost": {"month": 4, "day": 20}});
    let at = format!("/v1/components/{SCREEN}");
    Mock::given(method("GET"))
        .and(path(at.as_str()))
        .respond_with(ResponseTemplate::new(200).set_body_json(pipes(days.clone())))
        .mount(&server)
        .await;
    for part in [days, json!({"kind": "exposed_pipework"})] {
        Mock::given(method("PUT"))
            .and(path(at.as_str()))
            .and(header("if-match", "\"1\""))
            .and(body_json(json!({"name": "shed pipes", "installed_on": "2031-01-01", "part": part})))
            .respond_with(ResponseTemplate::new(200).set_body_json(pipes(part)))
            .expect(1)
            .mount(&server)
            .await;
    }
    let set = run(&server, &["component", "frost", SCREEN, "--first", "10-25", "--last", "4-20"], "").await;
    assert_eq!((set.code, set.out.as_str()), (0, "shed pipes: frost from 10-25 to 04-20.\n"), "{}", set.err);
    let clear = run(&server, &["component", "frost", SCREEN, "--clear"], "").await;
    assert_eq!((clear.code, clear.out.as_str()), (0, "shed pipes: no frost season is set.\n"));
    let screen = component(SPARE, "north screen");
    Mock::given(path(format!("/v1/components/{SPARE}")))
        .respond_with(ResponseTemplate::new(200).set_body_json(screen))
        .expect(1)
        .mount(&server)
        .await;
    let wrong = run(&server, &["component", "frost", SPARE, "--clear"], "").await;
    assert!(wrong.code == failure::USAGE && wrong.err.contains("not exposed pipework"), "{}", wrong.err);
}

#[tokio::test]
async fn what_was_left_and_what_went_before_join_what_was_done() {
    let server = MockServer::start().await;
    let list = json!([component(SCREEN, "North screen"), component(SPARE, "spare screen")]);
    mount_page(&server, &format!("/v1/systems/{SYSTEM}/components"), list).await;
    let items = json!([
        {"component_id": SCREEN, "duty": "clean_screen", "done": true, "left_fraction": 0.2,
         "cleaned_meanwhile": true, "finding": {"found": "class", "fullness": "heavy"}},
        {"component_id": SPARE, "duty": "clean_screen", "done": false, "cleaned_meanwhile": true,
         "finding": {"found": "nothing"}}
    ]);
    let logged = json!({
        "id": SPARE, "system_id": SYSTEM, "visited_on": "2031-04-02", "visited_by": null, "items": items,
        "note": null, "withdrawn_at": null, "withdrawn_because": null, "version": 1,
        "created_at": "2031-04-02T00:00:00Z", "updated_at": "2031-04-02T00:00:00Z"
    });
    Mock::given(method("POST"))
        .and(path("/v1/visits"))
        .and(body_json(json!({"system_id": SYSTEM, "visited_on": "2031-04-02", "items": items})))
        .respond_with(ResponseTemplate::new(201).set_body_json(&logged))
        .expect(1)
        .mount(&server)
        .await;
    let log = ["visit", "log", SYSTEM, "--on", "2031-04-02", "--done", "north screen:clean-screen"];
    let more = [
        "--found",
        "north screen:clean-screen=heavy",
        "--found",
        "spare screen:clean-screen=nothing",
        "--left",
        "north screen:clean-screen=20%",
        "--cleaned-meanwhile",
        "north screen:clean-screen",
        "--cleaned-meanwhile",
        "spare screen:clean-screen",
    ];
    let ran = run(&server, &[&log[..], &more[..]].concat(), "").await;
    assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{}", ran.out);
    for alone in ["--left=spare screen:clean-screen=0.2", "--cleaned-meanwhile=spare screen:clean-screen"] {
        let ran = run(&server, &[&log[..], &[alone]].concat(), "").await;
        assert!(ran.code == failure::USAGE && ran.err.contains("--done or --found"), "{}", ran.err);
    }
    Mock::given(path(format!("/v1/visits/{SPARE}")))
        .respond_with(ResponseTemplate::new(200).set_body_json(&logged))
        .mount(&server)
        .await;
    let shown = run(&server, &["visit", "show", SPARE], "").await;
    for cell in ["in part, 20 % left", "heavy, cleaned meanwhile", "nothing, cleaned meanwhile"] {
        assert!(shown.out.contains(cell), "{cell} is not in {}", shown.out);
    }
}
