//! Visits: what they count for, and what is refused.

use super::scenario::{
    Place, all_kinds, gauge, id_of, items, place, place_with, property, rain, texts, three,
};
use crate::support::app::{App, Reply, over_both};
use serde_json::{Value, json};

over_both! {
    what_is_done_resets_its_own_duty_alone;
    a_look_resets_nothing;
    findings_come_back_as_they_were_sent;
    wrong_items_are_refused_by_their_place;
    a_day_has_to_have_come_at_the_property;
    a_visit_has_to_fall_into_the_time_of_the_part;
    every_duty_of_a_kind_is_taken_and_no_other;
    visits_are_listed_latest_first_and_filtered;
    a_visit_late_in_the_book_counts_by_its_day;
    what_a_partial_cleaning_left_and_what_went_before_are_kept;
    what_was_left_is_checked;
}

fn visit(place: &Place, on: &str, items: Value) -> Value {
    let mut visit = json!({"system_id": place.system_id(), "visited_on": on});
    visit["items"] = items;
    visit
}

async fn refused(app: &App, place: &Place, on: &str, items: Value) -> Vec<String> {
    let reply = app.send("POST", "/v1/visits", &visit(place, on, items)).await;
    assert_eq!(reply.status, 422, "{}", reply.text);
    reply.fields("invalid")
}

/// Every duty by component, without what tells one refresh from another.
async fn duties(app: &App, place: &Place) -> Vec<Value> {
    app.refresh().await;
    let mut tasks = place.tasks(app).await;
    tasks.sort_by_key(|task| (task["component_name"].to_string(), task["duty"].to_string()));
    for task in &mut tasks {
        task.as_object_mut().expect("a task").remove("refreshed_at");
    }
    tasks
}

async fn what_is_done_resets_its_own_duty_alone(app: &App) {
    let place = place(app, all_kinds()).await;
    rain(app, &place.gauge, "2024-06-01", 639, 1.5).await;
    let before = duties(app, &place).await;
    let item = json!({"component_id": place.component("tank"), "duty": "measure_sediment", "done": true});
    let made = place.visit(app, "2026-02-20", item).await;
    let after = duties(app, &place).await;
    assert_eq!(before.len(), after.len());
    let changed: Vec<&Value> =
        before.iter().zip(&after).filter(|(old, new)| old != new).map(|(_, new)| new).collect();
    assert_eq!(changed.len(), 1, "{changed:?}");
    let one = changed[0];
    assert_eq!((&one["component_name"], &one["duty"]), (&json!("tank"), &json!("measure_sediment")));
    assert_eq!((&one["since"], &one["due_on"]), (&json!("2026-02-20"), &json!("2027-02-20")));
    assert_eq!((&made["version"], &made["withdrawn_at"]), (&json!(1), &Value::Null));
    // The accumulated figure begins anew; rain of the day itself counts as fallen before.
    let item =
        json!({"component_id": place.component("hand diverter"), "duty": "drain_diverter", "done": true});
    place.visit(app, "2026-02-26", item).await;
    app.refresh().await;
    let one = place.task(app, "hand diverter", "drain_diverter").await;
    assert_eq!(
        (&one["accumulated"]["days_read"], &one["accumulated"]["days_unread"]),
        (&json!(3), &json!(0))
    );
    // It rains every day, so the roof stays wet and three times 0.9 x 1.5 mm run off.
    let runoff = one["accumulated"]["from_readings"].as_f64().expect("a number");
    assert!((runoff - 3.0 * 0.9 * 1.5).abs() < 1e-9, "{runoff}");
    for other in ["weep diverter", "drip diverter"] {
        assert_eq!(place.task(app, other, "clear_weep_hole").await["since"], "2025-01-01");
    }
}

async fn a_look_resets_nothing(app: &App) {
    let place = place(app, three()).await;
    rain(app, &place.gauge, "2024-06-01", 639, 1.5).await;
    app.refresh().await;
    let before = place.task(app, "screen", "clean_screen").await;
    let item = json!({"component_id": place.component("screen"), "duty": "clean_screen", "done": false,
        "finding": {"found": "class", "fullness": "half"}});
    place.visit(app, "2026-02-20", item).await;
    app.refresh().await;
    let after = place.task(app, "screen", "clean_screen").await;
    for same in ["since", "longest_interval_on", "accumulated"] {
        assert_eq!(after[same], before[same], "{same}");
    }
}

async fn findings_come_back_as_they_were_sent(app: &App) {
    let place = place(app, all_kinds()).await;
    let tank = place.component("tank");
    for finding in [
        json!({"found": "nothing"}),
        json!({"found": "fraction", "fraction": 0.0}),
        json!({"found": "fraction", "fraction": 10.0}),
        json!({"found": "class", "fullness": "light"}),
        json!({"found": "class", "fullness": "half"}),
        json!({"found": "class", "fullness": "heavy"}),
        json!({"found": "depth", "depth_mm": 20_000.0}),
        json!({"found": "blocked"}),
    ] {
        let item = json!({"component_id": tank, "duty": "measure_sediment", "done": true, "finding": finding,
            "cleaned_meanwhile": true, "note": "seen from the lid"});
        let mut body = visit(&place, "2026-02-01", json!([item]));
        body["visited_by"] = json!("the upkeep rota");
        body["note"] = json!("a dry week\nand a clear one");
        let reply = app.send("POST", "/v1/visits", &body).await;
        let made = reply.expect(201);
        for (field, sent) in body.as_object().expect("an object") {
            assert_eq!(&made[field], sent, "{field}");
        }
        let own = format!("/v1/visits/{}", id_of(&made));
        assert_eq!((reply.header("location"), reply.header("etag")), (own.as_str(), "\"1\""));
        let read = Reply::of(app.request("GET", &own)).await;
        assert_eq!((read.expect(200), read.header("etag")), (made, "\"1\""));
    }
    let bare = json!({"component_id": tank, "duty": "look_over_tank", "done": true});
    let made = place.visit(app, "2026-02-01", bare).await;
    assert_eq!((&made["visited_by"], &made["note"]), (&Value::Null, &Value::Null));
    for wrong in [
        json!({"found": "half"}),
        json!({"found": "class", "fullness": "enormous"}),
        json!({"found": "fraction"}),
        json!({"found": "fraction", "fraction": 0.5, "depth_mm": 1.0}),
        json!({"found": "nothing", "fraction": 0.5}),
        json!({}),
    ] {
        let item = json!({"component_id": tank, "duty": "measure_sediment", "done": true, "finding": wrong});
        let reply = app.send("POST", "/v1/visits", &visit(&place, "2026-02-01", json!([item]))).await;
        let fields = reply.fields("malformed_body");
        assert!(fields[0].starts_with("items[0].finding"), "{fields:?}");
    }
}

async fn wrong_items_are_refused_by_their_place(app: &App) {
    let place = place(app, three()).await;
    let (screen, coupling) = (place.component("screen"), place.component("coupling"));
    let item = |duty: &str, more: Value| {
        let mut item = json!({"component_id": screen, "duty": duty, "done": true});
        item.as_object_mut().expect("an object").extend(more.as_object().expect("an object").clone());
        item
    };
    let on = "2026-02-01";
    let good = item("clean_screen", json!({}));
    let idle = item("clean_screen", json!({"done": false}));
    assert_eq!(refused(app, &place, on, json!([idle])).await, ["items[0].finding"]);
    let foreign = item("check_bands", json!({}));
    let reply = app.send("POST", "/v1/visits", &visit(&place, on, json!([good, foreign]))).await;
    assert_eq!(reply.fields("invalid"), ["items[1].duty"]);
    assert!(reply.text.contains("its only duty is clean_screen"), "{}", reply.text);
    let unknown = item("polish", json!({}));
    assert_eq!(refused(app, &place, on, json!([good, unknown])).await, ["items[1].duty"]);
    let depth = item("clean_screen", json!({"finding": {"found": "depth", "depth_mm": 3.0}}));
    assert_eq!(refused(app, &place, on, json!([depth])).await, ["items[0].finding.found"]);
    for share in [-0.1, 10.1] {
        let finding = item("clean_screen", json!({"finding": {"found": "fraction", "fraction": share}}));
        assert_eq!(refused(app, &place, on, json!([finding])).await, ["items[0].finding.fraction"]);
    }
    assert_eq!(refused(app, &place, on, json!([good, good])).await, ["items[1].duty"], "twice");
    assert_eq!(refused(app, &place, on, json!([])).await, ["items"]);
    assert_eq!(refused(app, &place, on, json!(vec![good.clone(); 501])).await[0], "items");
    let long = item("clean_screen", json!({"note": "x".repeat(4001)}));
    assert_eq!(refused(app, &place, on, json!([long])).await, ["items[0].note"]);
    let nobody =
        json!({"component_id": "00000000-0000-4000-8000-000000000000", "duty": "clean_screen", "done": true});
    assert_eq!(refused(app, &place, on, json!([nobody])).await, ["items[0].component_id"]);
    let mut body = visit(&place, on, json!([good]));
    body["visited_by"] = json!("x".repeat(201));
    body["note"] = json!("\u{0}");
    assert_eq!(app.send("POST", "/v1/visits", &body).await.fields("invalid"), ["visited_by", "note"]);
    assert_eq!(items(&app.get("/v1/visits").await).len(), 0);
    // Two duties of one component, and one duty of two components, are as many items.
    let bands = |duty: &str| json!({"component_id": coupling, "duty": duty, "done": true});
    let all = json!([good, bands("check_bands"), bands("replace_coupling")]);
    app.post("/v1/visits", &visit(&place, on, all)).await;
}

async fn a_day_has_to_have_come_at_the_property(app: &App) {
    for (zone, today, tomorrow) in [
        ("Pacific/Auckland", "2026-03-02", "2026-03-03"),
        ("UTC", "2026-03-01", "2026-03-02"),
        ("Pacific/Honolulu", "2026-03-01", "2026-03-02"),
    ] {
        let mut there = property();
        there["time_zone"] = json!(zone);
        let place = place_with(app, &there, &gauge(), three()).await;
        let item = json!({"component_id": place.component("screen"), "duty": "clean_screen", "done": true});
        assert_eq!(refused(app, &place, tomorrow, json!([item])).await, ["visited_on"], "{zone}");
        place.visit(app, today, item).await;
    }
}

async fn a_visit_has_to_fall_into_the_time_of_the_part(app: &App) {
    let place = place(app, three()).await;
    let screen = place.component("screen");
    let item = json!({"component_id": screen, "duty": "clean_screen", "done": true});
    assert_eq!(refused(app, &place, "2024-12-31", json!([item])).await, ["items[0].component_id"]);
    place.visit(app, "2025-01-01", item.clone()).await;
    let early = refused(app, &place, "1899-12-31", json!([item])).await;
    assert_eq!(early, ["visited_on", "items[0].component_id"]);
    let new = app.post(&format!("/v1/components/{screen}/replace"), &json!({"on": "2025-06-01"})).await;
    place.visit(app, "2025-05-31", item.clone()).await;
    place.visit(app, "2025-06-01", item.clone()).await;
    assert_eq!(refused(app, &place, "2025-06-02", json!([item])).await, ["items[0].component_id"]);
    let item = json!({"component_id": id_of(&new), "duty": "clean_screen", "done": true});
    assert_eq!(refused(app, &place, "2025-05-31", json!([item])).await, ["items[0].component_id"]);
}

async fn every_duty_of_a_kind_is_taken_and_no_other(app: &App) {
    let place = place(app, all_kinds()).await;
    app.refresh().await;
    let tasks = place.tasks(app).await;
    let item = |task: &Value, duty: &Value| json!({"component_id": task["component_id"], "duty": duty, "done": true, "cleaned_meanwhile": false});
    let all: Vec<Value> = tasks.iter().map(|task| item(task, &task["duty"])).collect();
    let made = app.post("/v1/visits", &visit(&place, "2026-03-01", json!(all))).await;
    assert_eq!(made["items"], json!(all));
    app.refresh().await;
    for task in place.tasks(app).await {
        assert_eq!(task["since"], "2026-03-01", "{task}");
    }
    let mut known = texts(&tasks, "duty");
    known.sort();
    known.dedup();
    assert_eq!(known.len(), 21, "the scenario has every duty");
    for task in &tasks {
        let own: Vec<&Value> = tasks
            .iter()
            .filter(|other| other["component_id"] == task["component_id"])
            .map(|other| &other["duty"])
            .collect();
        let foreign: Vec<Value> =
            known.iter().map(|duty| json!(duty)).filter(|duty| !own.contains(&duty)).collect();
        let items: Vec<Value> = foreign.iter().map(|duty| item(task, duty)).collect();
        let expected: Vec<String> = (0..items.len()).map(|index| format!("items[{index}].duty")).collect();
        assert_eq!(refused(app, &place, "2026-03-01", json!(items)).await, expected, "{task}");
    }
}

async fn visits_are_listed_latest_first_and_filtered(app: &App) {
    let (here, there) = (place(app, three()).await, place(app, three()).await);
    let item = |place: &Place| json!({"component_id": place.component("screen"), "duty": "clean_screen", "done": true});
    for day in ["2026-02-03", "2026-02-01", "2026-02-02", "2026-02-02"] {
        here.visit(app, day, item(&here)).await;
    }
    let other = there.visit(app, "2026-02-02", item(&there)).await;
    let gone = there.visit(app, "2026-02-04", item(&there)).await;
    let because = json!({"because": "nobody was there"});
    app.send("POST", &format!("/v1/visits/{}/withdraw", id_of(&gone)), &because).await.expect(200);
    let days = async |query: &str| texts(&app.walk(&format!("/v1/visits?{query}"), 2).await, "visited_on");
    assert_eq!(days("").await, ["2026-02-03", "2026-02-02", "2026-02-02", "2026-02-02", "2026-02-01"]);
    let own = format!("system_id={}", here.system_id());
    assert_eq!(days(&own).await, ["2026-02-03", "2026-02-02", "2026-02-02", "2026-02-01"]);
    assert_eq!(days("from=2026-02-03").await, ["2026-02-03"]);
    assert_eq!(days("to=2026-02-01").await, ["2026-02-01"]);
    assert_eq!(days(&format!("{own}&from=2026-02-02&to=2026-02-02")).await.len(), 2);
    assert_eq!(days("include_withdrawn=true").await[0], "2026-02-04");
    assert_eq!(days("include_withdrawn=true").await.len(), 6);
    let whole = app.walk("/v1/visits", 500).await;
    for limit in [1, 2, 3, 5] {
        assert_eq!(app.walk("/v1/visits", limit).await, whole, "by {limit}");
    }
    assert!(whole.contains(&other));
    let backwards = Reply::of(app.request("GET", "/v1/visits?from=2026-02-02&to=2026-02-01")).await;
    assert_eq!(backwards.fields("invalid"), ["from"]);
    for wrong in ["from=soon", "include_withdrawn=perhaps", "system_id=here", "day=1"] {
        Reply::of(app.request("GET", &format!("/v1/visits?{wrong}"))).await.problem("malformed_parameter");
    }
}

async fn what_a_partial_cleaning_left_and_what_went_before_are_kept(app: &App) {
    let place = place(app, all_kinds()).await;
    let parts = [
        ("screen", "clean_screen"),
        ("weep diverter", "clear_weep_hole"),
        ("drip diverter", "clear_weep_hole"),
        ("tank", "remove_sediment"),
        ("gutter", "clear_gutter"),
        ("roof", "clear_roof"),
    ];
    for (number, (name, duty)) in (0_i32..).zip(parts) {
        let component = place.component(name);
        let item = |more: Value| {
            let mut item = json!({"component_id": component, "duty": duty, "done": true});
            item.as_object_mut().expect("an object").extend(more.as_object().expect("an object").clone());
            item
        };
        for more in [
            json!({"left_fraction": 0.0, "cleaned_meanwhile": false}),
            json!({"left_fraction": 0.999, "cleaned_meanwhile": true}),
            json!({"left_fraction": 0.3, "cleaned_meanwhile": false, "finding": {"found": "fraction", "fraction": 0.3}}),
            json!({"left_fraction": 0.75, "cleaned_meanwhile": false, "finding": {"found": "class", "fullness": "half"}}),
            json!({"left_fraction": 0.5, "cleaned_meanwhile": false, "finding": {"found": "blocked"}}),
        ] {
            let made = place.visit(app, "2026-02-01", item(more.clone())).await;
            assert_eq!(made["items"], json!([item(more)]));
            assert_eq!(app.get(&format!("/v1/visits/{}", id_of(&made))).await, made);
        }
        // It starts anew like any cleaning.
        let on = format!("2026-02-{:02}", 10 + number);
        place.visit(app, &on, item(json!({"left_fraction": 0.2}))).await;
        app.refresh().await;
        assert_eq!(place.task(app, name, duty).await["since"], on);
    }
    // What is left out is filled in, and a share that was not given is not made up.
    let made = place
        .visit(
            app,
            "2026-02-20",
            json!({"component_id": place.component("tank"), "duty": "remove_sediment", "done": true}),
        )
        .await;
    let item = made["items"][0].as_object().expect("an item");
    assert_eq!((item.get("cleaned_meanwhile"), item.get("left_fraction")), (Some(&json!(false)), None));
    // A correction can take both away; the revision keeps them.
    let path = format!("/v1/visits/{}", id_of(&made));
    let mut body =
        json!({"system_id": place.system_id(), "visited_on": "2026-02-20", "items": made["items"]});
    body["items"][0]["left_fraction"] = json!(0.1);
    body["items"][0]["cleaned_meanwhile"] = json!(true);
    let corrected = app.put(&path, 1, &body).await.expect(200);
    assert_eq!(corrected["items"], body["items"]);
    app.put(
        &path,
        2,
        &json!({"system_id": place.system_id(), "visited_on": "2026-02-20", "items": made["items"]}),
    )
    .await
    .expect(200);
    let revisions = items(&app.get(&format!("{path}/revisions")).await);
    assert_eq!(revisions[1]["visit"]["items"], body["items"]);
}

async fn what_was_left_is_checked(app: &App) {
    let place = place(app, all_kinds()).await;
    let item = |name: &str, duty: &str, more: Value| {
        let mut item = json!({"component_id": place.component(name), "duty": duty, "done": true});
        item.as_object_mut().expect("an object").extend(more.as_object().expect("an object").clone());
        item
    };
    let send =
        async |item: Value| app.send("POST", "/v1/visits", &visit(&place, "2026-02-01", json!([item]))).await;
    let left = |share: f64| json!({"left_fraction": share});
    for share in [-0.01, 1.0, 1.5] {
        let reply = send(item("screen", "clean_screen", left(share))).await;
        assert_eq!(reply.fields("invalid"), ["items[0].left_fraction"], "{share}");
    }
    for (name, duty) in [
        ("hand diverter", "drain_diverter"),
        ("tank", "measure_sediment"),
        ("coupling", "replace_coupling"),
        ("trap", "check_trap"),
        ("pump", "check_pump"),
    ] {
        let reply = send(item(name, duty, left(0.2))).await;
        assert_eq!(reply.fields("invalid"), ["items[0].left_fraction"], "{duty}");
        for taken in ["clean_screen", "clear_weep_hole", "remove_sediment", "clear_gutter", "clear_roof"] {
            assert!(reply.text.contains(taken), "it says where it can be said: {}", reply.text);
        }
    }
    let looked =
        json!({"done": false, "left_fraction": 0.2, "finding": {"found": "class", "fullness": "half"}});
    let reply = send(item("screen", "clean_screen", looked)).await;
    assert_eq!(reply.fields("invalid"), ["items[0].left_fraction"]);
    assert!(reply.text.contains("it was not done"), "{}", reply.text);
    for (finding, most) in [
        (json!({"found": "nothing"}), 0.05),
        (json!({"found": "fraction", "fraction": 0.3}), 0.3),
        (json!({"found": "class", "fullness": "light"}), 0.25),
        (json!({"found": "class", "fullness": "half"}), 0.75),
    ] {
        let more = |share: f64| json!({"left_fraction": share, "finding": finding});
        let reply = send(item("screen", "clean_screen", more(most + 0.01))).await;
        assert_eq!(reply.fields("invalid"), ["items[0].left_fraction"], "{finding}");
        assert!(reply.text.contains("what was found"), "{}", reply.text);
        send(item("screen", "clean_screen", more(most))).await.expect(201);
    }
    // Said of nothing else, it needs what was done or found beside it.
    let idle = json!({"done": false, "cleaned_meanwhile": true});
    assert_eq!(send(item("screen", "clean_screen", idle)).await.fields("invalid"), ["items[0].finding"]);
    for (more, field) in [
        (json!({"cleaned_meanwhile": "yes"}), "cleaned_meanwhile"),
        (json!({"left_fraction": "half"}), "left_fraction"),
    ] {
        let fields = send(item("screen", "clean_screen", more)).await.fields("malformed_body");
        assert_eq!(fields, [format!("items[0].{field}")]);
    }
    assert_eq!(items(&app.get("/v1/visits").await).len(), 4);
}

async fn a_visit_late_in_the_book_counts_by_its_day(app: &App) {
    let place = place(app, three()).await;
    let item = json!({"component_id": place.component("screen"), "duty": "clean_screen", "done": true});
    place.visit(app, "2026-02-10", item.clone()).await;
    place.visit(app, "2026-01-10", item).await;
    app.refresh().await;
    assert_eq!(place.task(app, "screen", "clean_screen").await["since"], "2026-02-10");
    assert_eq!(
        super::scenario::duty(&place.forecast(app, "2026-01-15").await, "screen", "clean_screen")["since"],
        "2026-01-10"
    );
}
