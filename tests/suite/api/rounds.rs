//! Rounds as they are proposed.

use super::scenario::{Place, component, id_of, place, place_with, property, system, texts};
use crate::support::app::{App, Reply, over_both};
use serde_json::{Value, json};

over_both! {
    tasks_of_one_property_share_the_cheapest_day;
    nobody_is_sent_on_a_day_off;
    a_trip_has_room_for_so_many_minutes;
    what_is_overdue_comes_first_and_what_may_join_is_offered;
    near_properties_share_a_trip;
    a_season_keeps_its_days;
    nothing_due_is_no_trip;
    what_finds_no_day_is_said;
    wrong_questions_are_refused_by_field;
    two_thousand_tasks_are_put_together_and_more_are_refused;
}

/// A valve, a vent and a level gauge that fall due on 10, 14 and 20 March 2026, and a pump that does on 1 June.
pub fn due_in_march() -> Value {
    let part = |name: &str, served: &str, part: Value| {
        let mut component = component(name, part);
        component["last_served_on"] = json!(served);
        component
    };
    json!([
        part("drain cock", "2025-03-10", json!({"kind": "valve", "valve_type": "ball"})),
        part("vent", "2025-03-14", json!({"kind": "vent", "mesh_mm": 1.0})),
        part("level gauge", "2025-03-20", json!({"kind": "level_gauge"})),
        part("pump", "2025-06-01", json!({"kind": "pump", "mains_powered": true})),
    ])
}

/// The proposal for March with these parameters, sound in itself.
pub async fn march(app: &App, more: &str) -> Value {
    let found = app.get(&format!("/v1/rounds/proposal?from=2026-03-02&to=2026-03-29{more}")).await;
    sound(&found);
    found
}

pub fn rounds(proposal: &Value) -> &Vec<Value> {
    proposal["rounds"].as_array().expect("rounds")
}

pub fn tasks(round: &Value) -> Vec<Value> {
    round["tasks"].as_array().expect("tasks").clone()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

/// What every proposal promises: costs that add up, days within their intervals, trips within their minutes.
fn sound(proposal: &Value) {
    let figures = &proposal["figures"];
    let mut total = 0.0;
    for round in rounds(proposal) {
        let (mut early, mut late, mut minutes) = (0.0, 0.0, 0.0);
        for task in tasks(round) {
            early += number(&task["days_early"]) * number(&figures["cost_per_day_early"]);
            late += number(&task["days_late"]) * number(&figures["cost_per_day_late"]);
            minutes += number(&task["minutes"]);
            let on = round["on"].as_str().expect("a day");
            let [earliest, latest] =
                ["earliest_on", "latest_on"].map(|end| task[end].as_str().expect("a day"));
            let inside = (earliest..=latest).contains(&on);
            assert!(
                inside || round["reasons"].to_string().contains("no allowed day is a working day"),
                "{task} on {on}"
            );
        }
        let costs = &round["costs"];
        assert_eq!((number(&costs["early"]), number(&costs["late"])), (early, late), "{round}");
        assert_eq!(costs["trips"], figures["trip_cost"]);
        let stops = (number(&round["properties"]) - 1.0) * number(&figures["stop_cost"]);
        assert_eq!(number(&costs["stops"]), stops);
        total += early + late + stops + number(&figures["trip_cost"]);
        assert_eq!(number(&round["minutes"]), minutes);
        let over = minutes > number(&figures["most_minutes"]);
        assert_eq!(round["over_most_minutes"], over);
        assert!(!over || tasks(round).len() == 1, "{round}");
        assert!(!round["reasons"].as_array().expect("reasons").is_empty());
        let hazards = texts(round["cautions"].as_array().expect("cautions"), "hazard");
        let once: std::collections::BTreeSet<&String> = hazards.iter().collect();
        assert_eq!(once.len(), hazards.len(), "each hazard once");
        assert_eq!(hazards.last().map(String::as_str), Some("local_codes"));
    }
    assert_eq!(number(&proposal["cost"]), total);
    let bound = number(&proposal["lower_bound"]);
    assert!(bound <= total);
    assert_eq!(proposal["proven"], bound == total);
}

async fn march_place(app: &App) -> Place {
    let place = place(app, due_in_march()).await;
    app.refresh().await;
    place
}

async fn tasks_of_one_property_share_the_cheapest_day(app: &App) {
    march_place(app).await;
    let found = march(app, "").await;
    let [round] = rounds(&found).as_slice() else { panic!("one round: {found}") };
    // 4 and 10 days early at 0.5 each, and a trip at 60; no other day costs less (worked in `suite/rounds.rs`).
    assert_eq!(
        (&round["on"], &found["cost"], &found["proven"]),
        (&json!("2026-03-10"), &json!(67.0), &json!(true))
    );
    assert_eq!(texts(&tasks(round), "component_name"), ["drain cock", "vent", "level gauge"]);
    assert_eq!(texts(&tasks(round), "due_on"), ["2026-03-10", "2026-03-14", "2026-03-20"]);
    assert_eq!(texts(&tasks(round), "latest_on"), ["2026-03-24", "2026-03-28", "2026-04-03"]);
    // Three quarters of the 365 days from when it was last done.
    assert_eq!(tasks(round)[0]["earliest_on"], "2025-12-08");
    let bring = round["bring"].as_array().expect("things");
    assert!(bring.contains(&json!("dip tape")) && bring.contains(&json!("ladder")), "{bring:?}");
    let reasons = round["reasons"].to_string();
    assert!(
        reasons.contains("All 3 tasks fit on any one of 23 working days, 2 March 2026 to 24 March 2026."),
        "{reasons}"
    );
    assert!(reasons.contains("14 days early in all, at a cost of 7;"), "{reasons}");
    assert_eq!(
        found["figures"]["judgement"],
        json!([
            "trip_cost",
            "stop_cost",
            "cost_per_day_early",
            "cost_per_day_late",
            "nearby_km",
            "most_minutes"
        ])
    );
    // Asked for with other figures: a trip that costs nothing is made for each.
    let cheap = march(app, "&trip_cost=0").await;
    assert_eq!((rounds(&cheap).len(), &cheap["cost"]), (3, &json!(0.0)));
    assert_eq!(texts(rounds(&cheap), "on"), ["2026-03-10", "2026-03-14", "2026-03-20"]);
    assert_eq!(march(app, "").await, found, "the same every time");
    let reply = Reply::of(app.request("GET", "/v1/rounds/proposal?from=2026-03-02&to=2026-03-29")).await;
    let tag = reply.header("etag").to_owned();
    let again =
        app.request("GET", "/v1/rounds/proposal?from=2026-03-02&to=2026-03-29").header("If-None-Match", tag);
    assert_eq!(Reply::of(again).await.status, 304);
}

async fn nobody_is_sent_on_a_day_off(app: &App) {
    march_place(app).await;
    // 10 March 2026 is a Tuesday. On the 11th it is 1 day late and 3 and 9 days early: 2 + 6.
    for off in [
        "&off_weekdays=tue",
        "&off_dates=2026-03-10",
        "&off_weekdays=tue,sun&off_dates=2026-03-10,2026-03-09",
    ] {
        let found = march(app, off).await;
        assert_eq!((&rounds(&found)[0]["on"], &found["cost"]), (&json!("2026-03-11"), &json!(68.0)), "{off}");
    }
    let found = march(app, "&off_weekdays=mon,tue,wed,thu,fri,sat").await;
    assert_eq!(rounds(&found)[0]["on"], "2026-03-08");
}

async fn a_trip_has_room_for_so_many_minutes(app: &App) {
    march_place(app).await;
    // Each of the three takes ten minutes.
    let found = march(app, "&most_minutes=20").await;
    let minutes: Vec<&Value> = rounds(&found).iter().map(|round| &round["minutes"]).collect();
    assert_eq!(minutes, [&json!(20), &json!(10)]);
    // The first two on the 10th, 4 days early; the third on its day.
    assert_eq!((&found["cost"], &found["proven"]), (&json!(122.0), &json!(true)));
    let found = march(app, "&most_minutes=9").await;
    assert_eq!((rounds(&found).len(), &found["cost"]), (3, &json!(180.0)));
    let reasons = rounds(&found)[0]["reasons"].to_string();
    assert!(reasons.contains("10 min, more than the limit of 9 min"), "{reasons}");
}

async fn what_is_overdue_comes_first_and_what_may_join_is_offered(app: &App) {
    let place = march_place(app).await;
    // The pump falls due in June and may be done from three quarters of its year on, which is 1 March.
    let found = march(app, "").await;
    let joins = rounds(&found)[0]["may_join"].as_array().expect("tasks").clone();
    assert_eq!(texts(&joins, "component_name"), ["pump"]);
    assert_eq!(texts(&joins, "earliest_on"), ["2026-03-01"]);
    // 20 minutes of it find no room beside thirty.
    let full = march(app, "&most_minutes=49").await;
    assert_eq!(rounds(&full)[0]["may_join"], json!([]));
    // What falls due before the plan begins is not overdue yet.
    let soon = app.get("/v1/rounds/proposal?from=2026-03-12&to=2026-03-29").await;
    sound(&soon);
    let reasons = rounds(&soon)[0]["reasons"].to_string();
    assert!(
        reasons.contains("(drain cock) falls due on 10 March 2026, before the plan begins."),
        "{reasons}"
    );
    assert!(!reasons.contains("overdue"), "{reasons}");
    // Months later everything is overdue: it is due on the first day, and to be done within a week.
    app.at("2026-09-01T12:00:00Z").await;
    let found = app.get("/v1/rounds/proposal?from=2026-09-02&to=2026-09-20&off_weekdays=wed").await;
    sound(&found);
    let [round] = rounds(&found).as_slice() else { panic!("one round: {found}") };
    // The 2nd is a Wednesday, so all four are a day late.
    assert_eq!((&round["on"], &found["cost"]), (&json!("2026-09-03"), &json!(68.0)));
    for task in tasks(round) {
        assert_eq!((&task["aim_on"], &task["latest_on"]), (&json!("2026-09-02"), &json!("2026-09-09")));
    }
    assert_eq!(tasks(round)[0]["due_on"], "2026-03-10");
    let reasons = round["reasons"].to_string();
    assert_eq!(reasons.matches(" has been overdue since ").count(), 4, "{reasons}");
    assert!(reasons.contains("(drain cock) has been overdue since 10 March 2026."), "{reasons}");
    let at_once = app.get("/v1/rounds/proposal?from=2026-09-02&to=2026-09-20").await;
    let reasons = rounds(&at_once)[0]["reasons"].to_string();
    assert!(
        !reasons.contains("is early or late") && reasons.contains(" has been overdue since "),
        "{reasons}"
    );
    // Without days they are today's and four weeks.
    let usual = app.get("/v1/rounds/proposal").await;
    assert_eq!((&usual["from"], &usual["to"]), (&json!("2026-09-01"), &json!("2026-09-28")));
    let elsewhere = app.get(&format!("/v1/rounds/proposal?property_id={}", place.system_id())).await;
    assert_eq!(rounds(&elsewhere).len(), 0);
}

async fn near_properties_share_a_trip(app: &App) {
    let one = march_place(app).await;
    let mut terrace = property();
    // 1.1 km north, and 40 km further on.
    (terrace["name"], terrace["latitude_deg"]) = (json!("Terrace"), json!(48.01));
    let gauge = super::scenario::gauge();
    let two = place_with(app, &terrace, &gauge, due_in_march()).await;
    (terrace["name"], terrace["latitude_deg"]) = (json!("Orchard"), json!(48.4));
    place_with(app, &terrace, &gauge, due_in_march()).await;
    app.refresh().await;
    let apart = march(app, "").await;
    assert_eq!((rounds(&apart).len(), &apart["cost"], &apart["proven"]), (3, &json!(201.0), &json!(true)));
    let near = march(app, "&nearby_km=2").await;
    assert_eq!((rounds(&near).len(), &near["cost"]), (2, &json!(60.0 + 15.0 + 14.0 + 67.0)));
    let shared = rounds(&near).iter().find(|round| round["properties"] == 2).expect("a shared trip");
    let places = texts(&tasks(shared), "property_name");
    assert_eq!(places, ["School greenhouse"; 3].iter().chain(&["Terrace"; 3]).copied().collect::<Vec<_>>());
    let reasons = shared["reasons"].to_string();
    assert!(reasons.contains("2 properties share the trip; they are at most 1.1 km apart."), "{reasons}");
    let here = march(app, &format!("&nearby_km=2&property_id={}", one.property)).await;
    assert_eq!((rounds(&here).len(), &here["cost"]), (1, &json!(67.0)));
    let there = march(app, &format!("&system_id={}", two.system_id())).await;
    assert_eq!(texts(&tasks(&rounds(&there)[0]), "system_id"), [two.system_id(); 3]);
    // Nobody shares a trip that a neighbour makes no cheaper.
    let dear = march(app, "&nearby_km=2&stop_cost=60").await;
    assert_eq!(dear["cost"], 201.0);
}

async fn a_season_keeps_its_days(app: &App) {
    let pipes = json!({"kind": "exposed_pipework", "first_frost": {"month": 10, "day": 25},
        "last_frost": {"month": 4, "day": 20}});
    let place = place(app, json!([component("pipes", pipes)])).await;
    app.refresh().await;
    let restart = place.task(app, "pipes", "restart_after_frost").await;
    assert_eq!(restart["due_on"], "2026-04-20");
    let found = app.get("/v1/rounds/proposal?from=2026-04-01&to=2026-05-10&off_dates=2026-04-20").await;
    sound(&found);
    let all: Vec<Value> = rounds(&found).iter().flat_map(tasks).collect();
    let task = all.iter().find(|task| task["duty"] == "restart_after_frost").expect("the restart");
    assert_eq!((&task["earliest_on"], &task["latest_on"]), (&json!("2026-04-20"), &json!("2026-05-04")));
    assert_eq!(task["days_late"], 1, "never before the frost has gone: {task}");
    app.at("2026-04-22T12:00:00Z").await;
    let done = json!({"component_id": place.component("pipes"), "duty": "restart_after_frost", "done": true});
    place.visit(app, "2026-04-21", done).await;
    app.at("2026-09-20T12:00:00Z").await;
    let found = app.get("/v1/rounds/proposal?from=2026-10-01&to=2026-10-20").await;
    let all: Vec<Value> = rounds(&found).iter().flat_map(tasks).collect();
    let task = all.iter().find(|task| task["duty"] == "drain_for_frost").expect("the drain-down");
    assert_eq!((&task["earliest_on"], &task["latest_on"]), (&json!("2026-09-27"), &json!("2026-10-18")));
    assert_eq!((&task["due_on"], &task["days_early"]), (&json!("2026-10-11"), &json!(0)));
}

async fn nothing_due_is_no_trip(app: &App) {
    let empty = march(app, "").await;
    assert_eq!((&empty["rounds"], &empty["unplaced"]), (&json!([]), &json!([])));
    assert_eq!(
        (&empty["cost"], &empty["lower_bound"], &empty["proven"]),
        (&json!(0.0), &json!(0.0), &json!(true))
    );
}

async fn what_finds_no_day_is_said(app: &App) {
    let pipes = json!({"kind": "exposed_pipework", "first_frost": {"month": 10, "day": 25},
        "last_frost": {"month": 4, "day": 20}});
    let place = place(app, json!([component("pipes", pipes)])).await;
    let done = json!({"component_id": place.component("pipes"), "duty": "drain_for_frost", "done": true});
    place.visit(app, "2025-10-10", done).await;
    app.refresh().await;
    // The restart may not be done before 20 April, which is the last day and off.
    let path = "/v1/rounds/proposal?from=2026-04-10&to=2026-04-20&off_dates=2026-04-20";
    let found = app.get(path).await;
    assert_eq!(rounds(&found).len(), 0, "{found}");
    let unplaced = found["unplaced"].as_array().expect("tasks");
    assert_eq!(texts(unplaced, "duty"), ["restart_after_frost"]);
    let because = unplaced[0]["why"]["text"].as_str().expect("why");
    assert!(because.contains("no working day from 20 April 2026 to 20 April 2026"), "{because}");
    frost_does_not_wait(app, &place).await;
}

/// Of a day so many days after another.
fn days_off(from: &str, days: i64) -> String {
    let from: chrono::NaiveDate = from.parse().expect("a date");
    let days = from.iter_days().take(days as usize).map(|day| day.to_string());
    days.collect::<Vec<_>>().join(",")
}

async fn frost_does_not_wait(app: &App, place: &Place) {
    // With days to come it is late rather than not at all, and that is said.
    let off = days_off("2026-04-20", 16);
    let found = app.get(&format!("/v1/rounds/proposal?from=2026-04-10&to=2026-05-10&off_dates={off}")).await;
    let [round] = rounds(&found).as_slice() else { panic!("one round: {found}") };
    assert_eq!(round["on"], "2026-05-06");
    let reasons = round["reasons"].to_string();
    assert!(
        reasons.contains("should be done by 4 May 2026, but none of its allowed days is a working day"),
        "{reasons}"
    );
    assert!(!reasons.contains("can be done on one working day"), "{reasons}");
    assert_eq!(tasks(round)[0]["outside"], true);
    // But no more than a week: the 12th of May is eight days past its last day.
    let off = days_off("2026-04-20", 22);
    let found = app.get(&format!("/v1/rounds/proposal?from=2026-04-10&to=2026-05-20&off_dates={off}")).await;
    let unplaced = found["unplaced"].as_array().expect("tasks");
    assert_eq!((rounds(&found).len(), texts(unplaced, "duty")), (0, vec!["restart_after_frost".to_owned()]));
    let because = unplaced[0]["why"]["text"].as_str().expect("why");
    assert!(because.contains("no working day from 20 April 2026 to 4 May 2026"), "{because}");
    // A drain for frost comes early rather than late: it may be done from 27 September to 18 October.
    app.at("2026-04-22T12:00:00Z").await;
    let done = json!({"component_id": place.component("pipes"), "duty": "restart_after_frost", "done": true});
    place.visit(app, "2026-04-21", done).await;
    app.at("2026-09-18T12:00:00Z").await;
    let off = days_off("2026-09-27", 22);
    let found = app.get(&format!("/v1/rounds/proposal?from=2026-09-20&to=2026-10-25&off_dates={off}")).await;
    let [round] = rounds(&found).as_slice() else { panic!("one round: {found}") };
    assert_eq!((&round["on"], &tasks(round)[0]["outside"]), (&json!("2026-09-26"), &json!(true)));
    assert!(round["reasons"].to_string().contains("the last working day before"), "{round}");
    // Where no day is left before its last one, it is said and not put after it.
    let off = days_off("2026-10-01", 18);
    let found = app.get(&format!("/v1/rounds/proposal?from=2026-10-01&to=2026-10-25&off_dates={off}")).await;
    let unplaced = found["unplaced"].as_array().expect("tasks");
    assert_eq!((rounds(&found).len(), texts(unplaced, "duty")), (0, vec!["drain_for_frost".to_owned()]));
}

async fn wrong_questions_are_refused_by_field(app: &App) {
    for (query, fields) in [
        ("from=2026-03-09&to=2026-03-08", &["from"][..]),
        ("from=2026-02-27", &["from"]),
        ("from=2026-03-02&to=2026-09-30", &["to"]),
        ("from=1700-01-01", &["from", "from"]),
        ("off_weekdays=sat,someday", &["off_weekdays"]),
        ("off_weekdays=mon,tue,wed,thu,fri,sat,sun", &["off_weekdays"]),
        ("from=2026-03-02&to=2026-03-02&off_dates=2026-03-02", &["off_dates"]),
        ("off_dates=2026-02-30", &["off_dates"]),
        ("trip_cost=-1", &["trip_cost"]),
        ("trip_cost=NaN", &["trip_cost"]),
        ("trip_cost=100001", &["trip_cost"]),
        ("stop_cost=61", &["stop_cost"]),
        ("cost_per_day_early=inf&cost_per_day_late=-0.5", &["cost_per_day_early", "cost_per_day_late"]),
        ("most_minutes=0", &["most_minutes"]),
        ("most_minutes=1441", &["most_minutes"]),
        ("nearby_km=501", &["nearby_km"]),
    ] {
        let reply = Reply::of(app.request("GET", &format!("/v1/rounds/proposal?{query}"))).await;
        assert_eq!(
            (reply.status, reply.fields("invalid")),
            (422, fields.iter().map(ToString::to_string).collect()),
            "{query}"
        );
    }
    for query in ["trips=3", "from=tomorrow", "most_minutes=-1", "include_planned=maybe", "property_id=7"] {
        let reply = Reply::of(app.request("GET", &format!("/v1/rounds/proposal?{query}"))).await;
        assert_eq!(reply.status, 400, "{query}: {}", reply.text);
        reply.problem("malformed_parameter");
    }
    // A trip that costs less than a stop usually does makes stops as cheap.
    let cheap = app.get("/v1/rounds/proposal?trip_cost=5").await;
    assert_eq!(cheap["figures"]["stop_cost"], 5.0);
}

async fn two_thousand_tasks_are_put_together_and_more_are_refused(app: &App) {
    let first = place(app, json!([])).await;
    let cocks: Vec<Value> = (0..200)
        .map(|number| component(&format!("cock {number}"), json!({"kind": "valve", "valve_type": "ball"})))
        .collect();
    let mut last = String::new();
    for number in 0..11 {
        let mut shed = system(&first.property, &first.gauge, json!(cocks));
        shed["name"] = json!(format!("shed {number}"));
        last = id_of(&app.post("/v1/systems", &shed).await);
    }
    app.refresh().await;
    let reply = Reply::of(app.request("GET", "/v1/rounds/proposal?from=2026-03-02&to=2026-03-29")).await;
    assert_eq!(reply.fields("invalid"), ["to"]);
    // Two hundred of them in a planned round, two thousand are left: 36 of ten minutes have room in a trip.
    let ids: Vec<Value> = app
        .walk(&format!("/v1/tasks?system_id={last}"), 100)
        .await
        .iter()
        .map(|task| task["id"].clone())
        .collect();
    app.post("/v1/rounds", &json!({"on": "2026-03-03", "task_ids": ids})).await;
    let found = march(app, "").await;
    assert_eq!((rounds(&found).len(), &found["already_planned"]), (56, &json!(200)));
    assert_eq!(rounds(&found).iter().map(|round| tasks(round).len()).sum::<usize>(), 2000);
    assert_eq!((&found["cost"], &found["proven"]), (&json!(56.0 * 60.0), &json!(true)));
}
