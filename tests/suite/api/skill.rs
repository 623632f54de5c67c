//! Past forecasts beside what visits found: kept as they were, counted by duty.

use super::scenario::{Place, component, id_of, items, place, place_with, property, rain, texts, three};
use crate::support::app::{App, Reply, over_both};
use serde_json::{Value, json};

over_both! {
    a_finding_answers_the_forecast_of_the_look_before_it;
    what_was_kept_stays_when_rain_and_visits_follow;
    a_corrected_visit_leaves_no_trace_in_what_was_answered;
    where_nothing_was_predicted_nothing_is_answered;
    measured_sediment_answers_for_its_removal;
    a_duty_that_is_predicted_too_early_says_so;
    answers_are_filtered_and_paged;
    what_is_asked_wrongly_is_named;
}

fn gauge() -> Value {
    let mut gauge = super::scenario::gauge();
    gauge["normals"] = json!({"rain_mm": [60, 50, 50, 45, 50, 45, 45, 50, 50, 70, 70, 65],
        "wet_days": [11, 9, 10, 9, 9, 8, 8, 9, 8, 11, 11, 11]});
    gauge
}

/// A roof under trees, so that screens fill.
async fn under_trees(app: &App, components: Value) -> Place {
    let place = place_with(app, &property(), &gauge(), components).await;
    let mut facts = super::scenario::system(&place.property, &place.gauge, json!([]));
    facts.as_object_mut().expect("an object").remove("components");
    facts["roof"]["canopy"] = json!("deciduous");
    facts["roof"]["canopy_share"] = json!(0.5);
    app.put(&format!("/v1/systems/{}", place.system_id()), 1, &facts).await.expect(200);
    place
}

fn screen(name: &str) -> Value {
    component(name, json!({"kind": "debris_screen", "area_m2": 0.2}))
}

fn found(place: &Place, part: &str, finding: Value, done: bool) -> Value {
    let mut item = json!({"component_id": place.component(part), "duty": "clean_screen", "done": done});
    item["finding"] = finding;
    item
}

fn half() -> Value {
    json!({"found": "class", "fullness": "half"})
}

async fn answers(app: &App) -> Vec<Value> {
    app.score().await;
    items(&app.get("/v1/skill/answers").await)
}

#[track_caller]
fn number(value: &Value, field: &str) -> f64 {
    value[field].as_f64().unwrap_or_else(|| panic!("no number {field} in {value}"))
}

async fn a_finding_answers_the_forecast_of_the_look_before_it(app: &App) {
    let place = under_trees(app, json!([screen("screen")])).await;
    rain(app, &place.gauge, "2024-01-01", 700, 1.5).await;
    let on =
        async |day: &str| super::scenario::duty(&place.forecast(app, day).await, "screen", "clean_screen");
    // What the service says on the two days, before anything was found.
    let first = on("2025-01-01").await;
    let visit = id_of(&place.visit(app, "2025-05-20", found(&place, "screen", half(), true)).await);
    place
        .visit(
            app,
            "2025-08-03",
            found(&place, "screen", json!({"found": "fraction", "fraction": 0.4}), false),
        )
        .await;
    let all = answers(app).await;
    assert_eq!(texts(&all, "visited_on"), ["2025-08-03", "2025-05-20"]);
    assert_eq!(texts(&all, "made_on"), ["2025-05-20", "2025-01-01"]);
    let old = &all[1];
    assert_eq!(old["window"], first["window"], "the forecast of the first day, from what was read by then");
    for (field, value) in [
        ("visit_id", json!(visit)),
        ("system_id", json!(place.system_id())),
        ("component_id", json!(place.component("screen"))),
        ("component_name", json!("screen")),
        ("duty", json!("clean_screen")),
        ("title", json!("clean the debris screen")),
        ("finding", half()),
    ] {
        assert_eq!(old[field], value, "{field}");
    }
    // The geometric middle of 25 to 75 %.
    assert!((number(old, "found") - (0.25_f64 * 0.75).sqrt()).abs() < 1e-5);
    let expected = &old["expected"];
    let [low, likely, high] = ["low", "likely", "high"].map(|end| number(expected, end));
    assert!(0.0 < low && low < likely && likely < high, "{expected}");
    assert!(number(old, "position_from") < number(old, "position_to"), "a class is a range");
    // The second forecast had learned from the first finding, and counts from the cleaning.
    let second = on("2025-05-20").await;
    assert_eq!((&all[0]["window"], &second["limit"]["findings"]), (&second["window"], &json!(1)));
    assert_eq!((number(&all[0], "found"), all[0]["position_from"] == all[0]["position_to"]), (0.4, true));
    let duties = items(&app.get("/v1/skill").await);
    assert_eq!(duties.len(), 1);
    let skill = &duties[0];
    assert_eq!(
        (&skill["duty"], &skill["title"]),
        (&json!("clean_screen"), &json!("clean the debris screen"))
    );
    assert_eq!((&skill["answered"], &skill["measured"]), (&json!(2), &json!(2)));
    let mean = |f: &dyn Fn(&Value) -> f64| all.iter().map(f).sum::<f64>() / 2.0;
    let close = |field: &str, value: f64| {
        assert!((number(skill, field) - value).abs() < 1e-5, "{field}: {} instead of {value}", skill[field]);
    };
    close("coverage", mean(&|one| number(one, "inside")));
    close("mean_position", mean(&|one| 0.5 * (number(one, "position_from") + number(one, "position_to"))));
    close(
        "found_to_expected",
        mean(&|one| (number(one, "found") / number(&one["expected"], "likely")).ln()).exp(),
    );
    close("emptier", 1.0 - number(skill, "coverage") - number(skill, "fuller"));
    assert_eq!(skill["reading"]["text"], "Too few findings to say.");
}

async fn what_was_kept_stays_when_rain_and_visits_follow(app: &App) {
    let place = under_trees(app, json!([screen("screen")])).await;
    rain(app, &place.gauge, "2024-01-01", 500, 1.5).await;
    place.visit(app, "2025-05-20", found(&place, "screen", half(), true)).await;
    let kept = answers(app).await;
    assert_eq!(kept.len(), 1);
    // Readings of days before the forecast are corrected, and a later visit comes: what was predicted is on record.
    rain(app, &place.gauge, "2024-06-01", 100, 9.0).await;
    place.visit(app, "2025-11-20", found(&place, "screen", half(), true)).await;
    let all = answers(app).await;
    assert_eq!((all.len(), &all[1]), (2, &kept[0]));
    // Scoring again, and on another replica, changes nothing.
    assert_eq!(eavesward_service::domain::background::scoring::run(&app.cx).await.expect("scoring"), 0);
    assert_eq!(answers(app).await, all);
}

async fn a_corrected_visit_leaves_no_trace_in_what_was_answered(app: &App) {
    let (wrong, right) = (
        under_trees(app, json!([screen("screen")])).await,
        under_trees(app, json!([screen("screen")])).await,
    );
    for place in [&wrong, &right] {
        rain(app, &place.gauge, "2024-01-01", 700, 1.5).await;
    }
    let of = async |place: &Place| {
        app.score().await;
        let mut all = items(&app.get(&format!("/v1/skill/answers?system_id={}", place.system_id())).await);
        for one in &mut all {
            for own in ["id", "visit_id", "system_id", "component_id"] {
                one.as_object_mut().expect("an answer").remove(own).expect("an id");
            }
        }
        all
    };
    place_visits(app, &right, "2025-04-11", half()).await;
    let slip = place_visits(app, &wrong, "2025-03-01", json!({"found": "blocked"})).await;
    let phantom = id_of(&wrong.visit(app, "2025-10-01", found(&wrong, "screen", half(), true)).await);
    assert_ne!(of(&wrong).await, of(&right).await, "the errors show");
    let body = json!({"system_id": wrong.system_id(), "visited_on": "2025-04-11",
        "items": [found(&wrong, "screen", half(), true)]});
    app.put(&format!("/v1/visits/{slip}"), 1, &body).await.expect(200);
    assert_ne!(of(&wrong).await, of(&right).await, "one error is left");
    let gone = format!("/v1/visits/{phantom}/withdraw");
    app.send("POST", &gone, &json!({"because": "it was next door"})).await.expect(200);
    let expected = of(&right).await;
    assert_eq!((of(&wrong).await, expected.len()), (expected, 2));
}

/// A visit on a day and another on 20 August 2025; the id of the first.
async fn place_visits(app: &App, place: &Place, on: &str, finding: Value) -> String {
    let first = id_of(&place.visit(app, on, found(place, "screen", finding, true)).await);
    place
        .visit(app, "2025-08-20", found(place, "screen", json!({"found": "fraction", "fraction": 0.7}), true))
        .await;
    first
}

async fn where_nothing_was_predicted_nothing_is_answered(app: &App) {
    // No rain and no normals; a part that somebody cleaned meanwhile; the day of the installation; no finding.
    let dry = place(app, three()).await;
    dry.visit(app, "2025-05-20", found(&dry, "screen", half(), true)).await;
    let wet = under_trees(app, json!([screen("one"), screen("two"), screen("three")])).await;
    let mut meanwhile = found(&wet, "one", half(), true);
    meanwhile["cleaned_meanwhile"] = json!(true);
    wet.visit(app, "2025-05-20", meanwhile).await;
    wet.visit(app, "2025-01-01", found(&wet, "two", half(), true)).await;
    wet.visit(app, "2025-05-20", found(&wet, "three", Value::Null, true)).await;
    assert_eq!(answers(app).await, Vec::<Value>::new());
    assert_eq!(app.get("/v1/skill").await, json!({"items": []}));
    // The next finding after each of them is answered again.
    wet.visit(app, "2025-09-20", found(&wet, "one", json!({"found": "nothing"}), true)).await;
    let all = answers(app).await;
    assert_eq!(texts(&all, "made_on"), ["2025-05-20"]);
    assert_eq!((&all[0]["found"], &all[0]["position_from"]), (&Value::Null, &json!(0.0)), "no number");
    let skill = &items(&app.get("/v1/skill").await)[0];
    assert_eq!((&skill["measured"], &skill["found_to_expected"]), (&json!(0), &Value::Null));
}

async fn measured_sediment_answers_for_its_removal(app: &App) {
    let tank = component(
        "tank",
        json!({"kind": "tank", "capacity_l": 3000.0, "floor_area_m2": 1.5, "outlet_height_mm": 100.0,
        "calmed_inlet": true}),
    );
    let place = under_trees(app, json!([tank])).await;
    let item = json!({"component_id": place.component("tank"), "duty": "measure_sediment", "done": true,
        "finding": {"found": "depth", "depth_mm": 5.0}});
    place.visit(app, "2026-01-10", item).await;
    let all = answers(app).await;
    assert_eq!(texts(&all, "duty"), ["remove_sediment"]);
    // 5 mm of the usual 50: the limit is the depth, not what is learned of it.
    assert!((number(&all[0], "found") - 0.1).abs() < 1e-9, "{}", all[0]);
}

async fn a_duty_that_is_predicted_too_early_says_so(app: &App) {
    let names: Vec<String> = (0..9).map(|n| format!("screen {n}")).collect();
    let place = under_trees(app, names.iter().map(|name| screen(name)).collect()).await;
    rain(app, &place.gauge, "2024-01-01", 700, 2.5).await;
    for name in &names {
        place.visit(app, "2025-12-20", found(&place, name, json!({"found": "nothing"}), true)).await;
    }
    app.score().await;
    let skill = &items(&app.get("/v1/skill").await)[0];
    assert_eq!(skill["answered"], 9);
    assert!(number(skill, "emptier") > 0.99 && number(skill, "mean_position") < 0.1, "{skill}");
    assert_eq!(skill["reading"]["text"], "Parts fill more slowly than predicted: dates come too early.");
}

async fn answers_are_filtered_and_paged(app: &App) {
    let first = under_trees(app, json!([screen("screen"), screen("other")])).await;
    let second = under_trees(app, json!([screen("screen")])).await;
    for (place, part, on) in [
        (&first, "screen", "2025-03-01"),
        (&first, "other", "2025-03-01"),
        (&first, "screen", "2025-07-01"),
        (&second, "screen", "2025-03-01"),
        (&second, "screen", "2025-09-01"),
    ] {
        place.visit(app, on, found(place, part, half(), true)).await;
    }
    app.score().await;
    let all = items(&app.get("/v1/skill/answers").await);
    assert_eq!(all.len(), 5);
    assert_eq!(app.walk("/v1/skill/answers", 2).await, all, "page by page it is the same");
    let of = async |filter: &str| {
        let list = items(&app.get(&format!("/v1/skill/answers?{filter}")).await).len();
        let without_duty = !filter.contains("duty");
        let counted = if without_duty {
            items(&app.get(&format!("/v1/skill?{filter}")).await)
                .iter()
                .map(|one| one["answered"].as_i64())
                .sum()
        } else {
            Some(list as i64)
        };
        assert_eq!(counted.unwrap_or(0), list as i64, "{filter}");
        list
    };
    assert_eq!(of(&format!("system_id={}", first.system_id())).await, 3);
    assert_eq!(of("from=2025-07-01").await, 2);
    assert_eq!(of("to=2025-07-01").await, 4);
    assert_eq!(of("from=2025-07-01&to=2025-07-01").await, 1);
    assert_eq!(of("duty=clean_screen").await, 5);
    assert_eq!(of("duty=remove_sediment").await, 0);
    assert_eq!(of("system_id=00000000-0000-4000-8000-000000000000").await, 0);
}

async fn what_is_asked_wrongly_is_named(app: &App) {
    for path in ["/v1/skill", "/v1/skill/answers"] {
        let reply = app.request("GET", &format!("{path}?from=2025-03-01&to=2025-02-01"));
        assert_eq!(Reply::of(reply).await.fields("invalid"), ["from"]);
        let reply = Reply::of(app.request("GET", &format!("{path}?system=1"))).await;
        assert_eq!(reply.status, 400, "{}", reply.text);
        reply.problem("malformed_parameter");
    }
    let reply = Reply::of(app.request("GET", "/v1/skill/answers?duty=polish")).await;
    assert_eq!(reply.fields("invalid"), ["duty"]);
    Reply::of(app.request("GET", "/v1/skill/answers?cursor=x")).await.problem("bad_cursor");
}
