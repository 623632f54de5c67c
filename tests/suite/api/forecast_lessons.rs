//! Findings in a history: which of them teach, in what order, and that an error put right leaves no trace in what was
//! learned.

use super::scenario::{Place, all_kinds, component, duty, id_of, place, rain, texts, without_ids};
use crate::support::app::{App, over_both};
use serde_json::{Value, json};

over_both! {
    lessons_come_by_day_in_whatever_order_they_were_logged;
    a_corrected_finding_leaves_no_trace;
    a_withdrawn_finding_leaves_no_trace;
    findings_on_other_duties_do_not_teach;
    what_a_partial_cleaning_left_brings_the_next_date_forward;
    after_a_cleaning_nobody_noted_nothing_found_teaches_nothing;
    a_finding_before_anything_was_taken_teaches_nothing;
    care_before_the_service_knew_of_a_part_counts_like_a_visit;
    what_was_found_past_its_mark_is_due_until_it_is_seen_to;
    of_two_findings_on_one_visit_one_counts;
}

/// Screens that all take the same, under rain that is the same every day.
async fn screens(app: &App, names: &[&str]) -> Place {
    let screens = names.iter().map(|name| component(name, json!({"kind": "debris_screen", "area_m2": 0.2})));
    let place = place(app, json!(screens.collect::<Vec<_>>())).await;
    rain(app, &place.gauge, "2024-06-01", 639, 5.0).await;
    place
}

fn item(place: &Place, name: &str, done: bool, finding: Value) -> Value {
    let mut item = json!({"component_id": place.component(name), "duty": "clean_screen", "done": done});
    item["finding"] = finding;
    item
}

fn body(place: &Place, on: &str, item: Value) -> Value {
    let mut visit = json!({"system_id": place.system_id(), "visited_on": on});
    visit["items"] = Value::Array(vec![item]);
    visit
}

fn share(share: f64) -> Value {
    json!({"found": "fraction", "fraction": share})
}

async fn screen(app: &App, place: &Place, name: &str, as_of: &str) -> Value {
    duty(&place.forecast(app, as_of).await, name, "clean_screen")
}

/// What was found and forecast on some days, without what tells twins apart.
async fn story(app: &App, place: &Place) -> Vec<Vec<Value>> {
    let mut all = Vec::new();
    for day in ["2025-06-01", "2025-08-01", "2025-11-11", "2026-03-01"] {
        let mut duties = without_ids(&place.forecast(app, day).await);
        for lesson in duties.iter_mut().filter_map(|duty| duty["lessons"].as_array_mut()).flatten() {
            lesson.as_object_mut().expect("a lesson").remove("visit_id").expect("an id");
        }
        all.push(duties);
    }
    all
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

async fn lessons_come_by_day_in_whatever_order_they_were_logged(app: &App) {
    let (first, second) = (screens(app, &["screen"]).await, screens(app, &["screen"]).await);
    let days = [
        ("2025-03-01", false, 0.3),
        ("2025-05-01", true, 0.9),
        ("2025-07-15", false, 0.2),
        ("2025-11-10", true, 0.7),
    ];
    for (on, done, found) in days {
        app.post("/v1/visits", &body(&first, on, item(&first, "screen", done, share(found)))).await;
    }
    for index in [2, 0, 3, 1] {
        let (on, done, found) = days[index];
        app.post("/v1/visits", &body(&second, on, item(&second, "screen", done, share(found)))).await;
    }
    assert_eq!(story(app, &first).await, story(app, &second).await);
    let one = screen(app, &second, "screen", "2026-03-01").await;
    let lessons = one["lessons"].as_array().expect("lessons");
    assert_eq!(texts(lessons, "visited_on"), days.map(|(on, ..)| on));
    assert_eq!(one["limit"]["findings"], 4);
    // Each begins with what the one before had left, and a look goes on counting where a cleaning begins anew.
    for pair in lessons.windows(2) {
        assert_eq!(pair[1]["limit_before"], pair[0]["limit_after"]);
    }
    assert_eq!(lessons[3]["limit_after"], one["limit"]["value"]);
    // 59, 120, 75 and 193 days: the same leaves fall every day but for the length of the months.
    let taken: Vec<f64> = lessons.iter().map(|lesson| number(&lesson["accumulated_value"])).collect();
    for (taken, days) in taken.iter().zip([59.0, 120.0, 75.0, 193.0]) {
        assert!((taken / taken_in(days) - 1.0).abs() < 0.03, "{taken} in {days}");
    }
    assert_eq!(
        screen(app, &second, "screen", "2025-06-01").await["lessons"].as_array().map(Vec::len),
        Some(2)
    );
}

/// Wind-blown leaves: 0.02 kg/m2 a year, of which a twentieth of those on 50 m2 come to lie on 0.2 m2.
fn taken_in(days: f64) -> f64 {
    0.02 * 0.05 * 50.0 / 0.2 * days / 365.25
}

async fn a_corrected_finding_leaves_no_trace(app: &App) {
    let names = ["north", "south"];
    let (wrong, right) = (screens(app, &names).await, screens(app, &names).await);
    for place in [&wrong, &right] {
        app.post("/v1/visits", &body(place, "2025-05-01", item(place, "north", true, share(0.6)))).await;
    }
    app.post("/v1/visits", &body(&right, "2025-07-15", item(&right, "south", true, share(0.8)))).await;
    // Logged of the other screen, on another day, with another finding; each put right in turn.
    let slip =
        app.post("/v1/visits", &body(&wrong, "2025-10-15", item(&wrong, "north", false, share(0.1)))).await;
    let path = format!("/v1/visits/{}", id_of(&slip));
    let expected = story(app, &right).await;
    assert_ne!(story(app, &wrong).await, expected, "the error shows");
    for (version, on, name, done, found) in [
        (1, "2025-10-15", "south", false, 0.1),
        (2, "2025-07-15", "south", false, 0.1),
        (3, "2025-07-15", "south", true, 0.1),
    ] {
        let change = body(&wrong, on, item(&wrong, name, done, share(found)));
        app.put(&path, version, &change).await.expect(200);
        assert_ne!(story(app, &wrong).await, expected, "one error is left");
    }
    let change = body(&wrong, "2025-07-15", item(&wrong, "south", true, share(0.8)));
    app.put(&path, 4, &change).await.expect(200);
    assert_eq!(story(app, &wrong).await, expected);
}

async fn a_withdrawn_finding_leaves_no_trace(app: &App) {
    let place = screens(app, &["screen"]).await;
    app.post("/v1/visits", &body(&place, "2025-05-01", item(&place, "screen", true, share(0.6)))).await;
    let before = story(app, &place).await;
    let made =
        app.post("/v1/visits", &body(&place, "2025-07-15", item(&place, "screen", true, share(0.1)))).await;
    assert_ne!(story(app, &place).await, before);
    let path = format!("/v1/visits/{}/withdraw", id_of(&made));
    app.send("POST", &path, &json!({"because": "it was the barn's screen"})).await.expect(200);
    assert_eq!(story(app, &place).await, before);
}

async fn findings_on_other_duties_do_not_teach(app: &App) {
    let place = place(app, all_kinds()).await;
    rain(app, &place.gauge, "2024-06-01", 639, 5.0).await;
    let predicted = async || {
        let forecast = place.forecast(app, "2026-02-01").await;
        let duties = forecast["duties"].as_array().expect("duties").clone();
        duties.into_iter().filter(|one| !one["limit"].is_null()).collect::<Vec<_>>()
    };
    let before = predicted().await;
    assert_eq!(before.len(), 10);
    let blocked = |name: &str, what: &str| {
        json!({"component_id": place.component(name), "duty": what, "done": false,
            "finding": {"found": "blocked"}})
    };
    let items = [
        blocked("coupling", "check_bands"),
        blocked("tank", "look_over_tank"),
        blocked("pump", "check_pump"),
        blocked("vent", "check_mesh"),
        blocked("lamp", "change_lamp"),
    ];
    let visit = json!({"system_id": place.system_id(), "visited_on": "2026-02-01", "items": items});
    app.post("/v1/visits", &visit).await;
    assert_eq!(predicted().await, before);
    // On its own duty the same finding teaches.
    place.visit(app, "2026-02-01", blocked("coupling", "replace_coupling")).await;
    let changed: Vec<String> = predicted()
        .await
        .iter()
        .filter(|one| !before.contains(one))
        .map(|one| one["duty"].as_str().expect("a word").to_owned())
        .collect();
    assert_eq!(changed, ["replace_coupling"]);
}

async fn what_a_partial_cleaning_left_brings_the_next_date_forward(app: &App) {
    // One whose chamber every day's rain fills, as it drips slowly: 120 fills are 120 days.
    let drips = component(
        "diverter",
        json!({"kind": "first_flush_diverter", "chamber_volume_l": 50.0,
            "emptying": {"by": "drip", "litres_per_hour": 1.0}}),
    );
    for (left, likely) in [
        (None, "2025-12-30"),
        (Some(0.0), "2025-12-30"),
        (Some(0.25), "2025-11-30"),
        (Some(0.5), "2025-10-31"),
    ] {
        let place = place(app, json!([drips])).await;
        rain(app, &place.gauge, "2024-06-01", 639, 5.0).await;
        let mut item =
            json!({"component_id": place.component("diverter"), "duty": "clear_weep_hole", "done": true});
        if let Some(left) = left {
            item["left_fraction"] = json!(left);
        }
        place.visit(app, "2025-09-01", item).await;
        let one = duty(&place.forecast(app, "2026-03-01").await, "diverter", "clear_weep_hole");
        assert_eq!(
            (&one["since"], &one["window"]["likely_on"]),
            (&json!("2025-09-01"), &json!(likely)),
            "{one}"
        );
        assert_eq!(one["limit"]["findings"], 0, "what was left is no finding");
    }
}

async fn after_a_cleaning_nobody_noted_nothing_found_teaches_nothing(app: &App) {
    let place = screens(app, &["screen", "other", "third"]).await;
    let before = screen(app, &place, "screen", "2025-10-15").await;
    let mut items = [
        item(&place, "screen", false, json!({"found": "nothing"})),
        item(&place, "other", false, json!({"found": "nothing"})),
        item(&place, "third", false, share(0.9)),
    ];
    items[0]["cleaned_meanwhile"] = json!(true);
    items[2]["cleaned_meanwhile"] = json!(true);
    let visit = json!({"system_id": place.system_id(), "visited_on": "2025-10-15", "items": items});
    app.post("/v1/visits", &visit).await;
    let one = screen(app, &place, "screen", "2025-10-15").await;
    assert_eq!((&one["limit"], one["limit"]["findings"].as_u64()), (&before["limit"], Some(0)));
    let lesson = &one["lessons"][0];
    assert_eq!((&lesson["weight"], &lesson["limit_after"]), (&json!(0.0), &lesson["limit_before"]));
    let remark = lesson["remark"]["text"].as_str().expect("a remark");
    assert!(remark.contains("on an unknown day") && remark.contains("taught nothing"), "{remark}");
    assert!(!one["reasons"].to_string().contains("moved the limit"), "{one}");
    // Without that cleaning the same finding counts, and with it a high one does: it got that far in no longer.
    let other = screen(app, &place, "other", "2025-10-15").await;
    assert!(number(&other["limit"]["value"]) > number(&before["limit"]["value"]), "{other}");
    let third = screen(app, &place, "third", "2025-10-15").await;
    assert_eq!(third["limit"]["findings"], 1);
    assert!(number(&third["limit"]["value"]) < number(&before["limit"]["value"]), "{third}");
}

async fn a_finding_before_anything_was_taken_teaches_nothing(app: &App) {
    let place = screens(app, &["screen"]).await;
    app.post("/v1/visits", &body(&place, "2025-05-01", item(&place, "screen", true, share(0.6)))).await;
    let before = screen(app, &place, "screen", "2025-05-01").await;
    app.post("/v1/visits", &body(&place, "2025-05-01", item(&place, "screen", false, share(0.9)))).await;
    let after = screen(app, &place, "screen", "2025-05-01").await;
    assert_eq!(after["limit"], before["limit"]);
    let lesson = &after["lessons"][1];
    assert_eq!((&lesson["accumulated_value"], &lesson["weight"]), (&json!(0.0), &json!(0.0)));
    assert!(
        lesson["remark"]["text"].as_str().expect("a remark").contains("had accumulated nothing"),
        "{lesson}"
    );
}

async fn care_before_the_service_knew_of_a_part_counts_like_a_visit(app: &App) {
    let mut served = component("screen", json!({"kind": "debris_screen", "area_m2": 0.2}));
    served["last_served_on"] = json!("2025-05-01");
    let told = place(app, json!([served])).await;
    rain(app, &told.gauge, "2024-06-01", 639, 5.0).await;
    let logged = screens(app, &["screen"]).await;
    let item_done = json!({"component_id": logged.component("screen"), "duty": "clean_screen", "done": true});
    logged.visit(app, "2025-05-01", item_done).await;
    for place in [&told, &logged] {
        for (on, found) in [("2025-03-01", 0.3), ("2025-07-15", 0.2)] {
            app.post("/v1/visits", &body(place, on, item(place, "screen", false, share(found)))).await;
        }
    }
    let [told, logged] = [story(app, &told).await, story(app, &logged).await];
    assert_eq!(told, logged);
    let lessons = &told[1][0]["lessons"];
    for (index, days) in [(0, 59.0), (1, 75.0)] {
        let taken = number(&lessons[index]["accumulated_value"]);
        assert!((taken / taken_in(days) - 1.0).abs() < 0.03, "{lessons}");
    }
}

async fn what_was_found_past_its_mark_is_due_until_it_is_seen_to(app: &App) {
    let place = place(app, all_kinds()).await;
    rain(app, &place.gauge, "2024-06-01", 600, 0.0).await;
    let look = async |part: &str, what: &str, on: &str, done: bool, finding: Value| {
        let item =
            json!({"component_id": place.component(part), "duty": what, "done": done, "finding": finding});
        place.visit(app, on, item).await;
    };
    for (part, what, mark_of, finding) in [
        ("screen", "clean_screen", "clean_screen", json!({"found": "blocked"})),
        ("coupling", "replace_coupling", "replace_coupling", json!({"found": "fraction", "fraction": 1.25})),
        ("tank", "measure_sediment", "remove_sediment", json!({"found": "depth", "depth_mm": 55.0})),
    ] {
        look(part, what, "2025-02-10", what == "measure_sediment", finding).await;
        let on = async |day: &str| duty(&place.forecast(app, day).await, part, mark_of);
        assert_ne!(on("2025-02-09").await["due_on"], "2025-02-10", "{part}: before it was found");
        for day in ["2025-02-10", "2025-03-20"] {
            let one = on(day).await;
            assert_eq!(
                (&one["due_on"], &one["decided_by"]),
                (&json!("2025-02-10"), &json!("prediction")),
                "{one}"
            );
            assert_eq!(one["chance_past_limit"]["today"], 1.0);
            assert_eq!(one["window"]["late_on"], "2025-02-10");
            assert!(
                one["reasons"][0]["figures"][0]["on"] == "2025-02-10"
                    && one["reasons"][0]["code"] == "found_past_limit",
                "{one}"
            );
        }
        // A later look that found less takes it back; so does the work.
        look(
            part,
            what,
            "2025-03-25",
            what == "measure_sediment",
            json!({"found": "fraction", "fraction": 0.5}),
        )
        .await;
        assert_ne!(
            on("2025-03-25").await["due_on"],
            "2025-02-10",
            "{part}: it was not past its limit after all"
        );
        look(part, what, "2025-03-26", what == "measure_sediment", json!({"found": "blocked"})).await;
        look(part, mark_of, "2025-03-27", true, Value::Null).await;
        let one = on("2025-03-27").await;
        assert!(one["due_on"].as_str().is_none_or(|due| due > "2025-03-27"), "{one}");
        assert!(!one["reasons"].to_string().contains("found_past_limit"), "{one}");
    }
}

async fn of_two_findings_on_one_visit_one_counts(app: &App) {
    let (both, one) = (place(app, all_kinds()).await, place(app, all_kinds()).await);
    let depth = json!({"found": "depth", "depth_mm": 20.0});
    for (place, order) in [(&both, true), (&one, false)] {
        super::scenario::storms(app, &place.gauge, "2023-03-01", 1000).await;
        let measured = json!({"component_id": place.component("tank"), "duty": "measure_sediment", "done": true,
            "finding": depth});
        let mut removed =
            json!({"component_id": place.component("tank"), "duty": "remove_sediment", "done": true});
        if order {
            removed["finding"] = json!({"found": "class", "fullness": "half"});
        }
        let items = if order { [removed, measured] } else { [measured, removed] };
        let visit = json!({"system_id": place.system_id(), "visited_on": "2025-09-10", "items": items});
        app.post("/v1/visits", &visit).await;
    }
    let of = async |place: &Place| duty(&place.forecast(app, "2025-10-01").await, "tank", "remove_sediment");
    let (both, one) = (of(&both).await, of(&one).await);
    assert_eq!(
        (&both["limit"], &both["accumulated"], &both["due_on"]),
        (&one["limit"], &one["accumulated"], &one["due_on"])
    );
    let lessons = both["lessons"].as_array().expect("lessons");
    assert_eq!((lessons.len(), &lessons[0]["finding"]), (1, &depth), "what was measured counts");
    // What was measured is told in the measure's own terms, too.
    let figure = |field: &str| both["limit"][field].as_f64().expect("a figure");
    let share = figure("prior_value") / figure("value");
    let reasons = both["reasons"].to_string();
    assert!(reasons.contains(&format!("gathers {share:.2} times as fast")), "{share}: {reasons}");
}
