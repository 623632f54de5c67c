//! Visits that were logged wrongly: corrected or withdrawn, with the forecast as if the error had never been.

use super::scenario::{Place, id_of, items, place, rain, three, without_ids};
use crate::support::app::{App, Reply, over_both};
use serde_json::{Value, json};

over_both! {
    a_correction_leaves_no_trace_in_the_forecast;
    corrections_are_guarded_and_kept_as_revisions;
    a_withdrawn_visit_counts_for_nothing_and_stays_on_record;
    a_withdrawn_visit_cannot_be_corrected;
    a_correction_is_checked_like_a_visit;
}

fn body(place: &Place, on: &str, component: &str, duty: &str) -> Value {
    json!({"system_id": place.system_id(), "visited_on": on, "items": [
        {"component_id": place.component(component), "duty": duty, "done": true}]})
}

async fn forecasts(app: &App, place: &Place) -> Vec<Vec<Value>> {
    let mut all = Vec::new();
    for day in ["2025-09-01", "2026-01-20", "2026-02-15", "2026-03-01"] {
        all.push(without_ids(&place.forecast(app, day).await));
    }
    app.refresh().await;
    let mut tasks = place.tasks(app).await;
    tasks.sort_by_key(|task| (task["component_name"].to_string(), task["duty"].to_string()));
    for task in &mut tasks {
        for own in ["id", "property_id", "system_id", "component_id"] {
            task.as_object_mut().expect("a task").remove(own).expect("an id");
        }
    }
    all.push(tasks);
    all
}

async fn a_correction_leaves_no_trace_in_the_forecast(app: &App) {
    let (wrong, right) = (place(app, three()).await, place(app, three()).await);
    for place in [&wrong, &right] {
        rain(app, &place.gauge, "2024-01-01", 791, 1.5).await;
    }
    assert_eq!(
        forecasts(app, &wrong).await,
        forecasts(app, &right).await,
        "twins, before anything was logged"
    );
    // What was right from the start in one place ...
    app.post("/v1/visits", &body(&right, "2025-08-01", "diverter", "clear_weep_hole")).await;
    app.post("/v1/visits", &body(&right, "2026-02-10", "screen", "clean_screen")).await;
    // ... was the wrong day, the wrong component and a visit too many in the other.
    app.post("/v1/visits", &body(&wrong, "2025-08-01", "diverter", "clear_weep_hole")).await;
    let slip = app.post("/v1/visits", &body(&wrong, "2026-01-10", "coupling", "replace_coupling")).await;
    let phantom = app.post("/v1/visits", &body(&wrong, "2026-02-20", "diverter", "clear_weep_hole")).await;
    let expected = forecasts(app, &right).await;
    assert_ne!(forecasts(app, &wrong).await, expected, "the error shows");
    let path = format!("/v1/visits/{}", id_of(&slip));
    app.put(&path, 1, &body(&wrong, "2026-02-10", "screen", "clean_screen")).await.expect(200);
    assert_ne!(forecasts(app, &wrong).await, expected, "one error is left");
    let path = format!("/v1/visits/{}/withdraw", id_of(&phantom));
    app.send("POST", &path, &json!({"because": "it was next door"})).await.expect(200);
    assert_eq!(forecasts(app, &wrong).await, expected);
}

async fn corrections_are_guarded_and_kept_as_revisions(app: &App) {
    let place = place(app, three()).await;
    let first = app.post("/v1/visits", &body(&place, "2026-01-10", "screen", "clean_screen")).await;
    let path = format!("/v1/visits/{}", id_of(&first));
    let revisions = async || items(&app.get(&format!("{path}/revisions")).await);
    assert_eq!(revisions().await, Vec::<Value>::new());
    let mut change = body(&place, "2026-01-11", "screen", "clean_screen");
    change["note"] = json!("it was a day later");
    assert_eq!(app.send("PUT", &path, &change).await.status, 428);
    app.put(&path, 2, &change).await.problem("version_mismatch");
    app.clock.set("2026-03-01T13:00:00Z".parse().expect("an instant"));
    let second = app.put(&path, 1, &change).await.expect(200);
    assert_eq!((&second["version"], &second["visited_on"]), (&json!(2), &json!("2026-01-11")));
    assert_eq!(
        (&second["created_at"], &second["updated_at"]),
        (&json!("2026-03-01T12:00:00Z"), &json!("2026-03-01T13:00:00Z"))
    );
    assert_eq!(app.get(&path).await, second);
    app.put(&path, 1, &change).await.problem("version_mismatch");
    app.clock.set("2026-03-01T14:00:00Z".parse().expect("an instant"));
    let because = json!({"because": "nobody was there"});
    app.send("POST", &format!("{path}/withdraw"), &because).await.expect(200);
    let kept = revisions().await;
    let expected = [
        json!({"version": 1, "replaced_at": "2026-03-01T13:00:00Z", "visit": first}),
        json!({"version": 2, "replaced_at": "2026-03-01T14:00:00Z", "visit": second}),
    ];
    assert_eq!(kept, expected);
}

async fn a_withdrawn_visit_counts_for_nothing_and_stays_on_record(app: &App) {
    let place = place(app, three()).await;
    let before = place.forecast(app, "2026-03-01").await;
    let made = app.post("/v1/visits", &body(&place, "2026-02-10", "screen", "clean_screen")).await;
    assert_ne!(place.forecast(app, "2026-03-01").await, before);
    let path = format!("/v1/visits/{}", id_of(&made));
    let withdraw = async |because: &str| {
        app.send("POST", &format!("{path}/withdraw"), &json!({"because": because})).await
    };
    for blank in ["", "  ", &"x".repeat(4001)] {
        assert_eq!(withdraw(blank).await.fields("invalid"), ["because"]);
    }
    let gone = withdraw("nobody was there").await.expect(200);
    assert_eq!(
        (&gone["withdrawn_because"], &gone["withdrawn_at"]),
        (&json!("nobody was there"), &json!("2026-03-01T12:00:00Z"))
    );
    assert_eq!((&gone["version"], &gone["items"]), (&json!(2), &made["items"]));
    assert_eq!(withdraw("again").await.expect(200), gone, "twice changes nothing");
    assert_eq!(place.forecast(app, "2026-03-01").await, before);
    assert_eq!(app.get(&path).await, gone);
    assert_eq!(items(&app.get("/v1/visits").await).len(), 0);
    assert_eq!(items(&app.get("/v1/visits?include_withdrawn=true").await), [gone]);
}

async fn a_withdrawn_visit_cannot_be_corrected(app: &App) {
    let place = place(app, three()).await;
    let made = app.post("/v1/visits", &body(&place, "2026-02-10", "screen", "clean_screen")).await;
    let path = format!("/v1/visits/{}", id_of(&made));
    app.send("POST", &format!("{path}/withdraw"), &json!({"because": "nobody was there"})).await.expect(200);
    let reply = app.put(&path, 2, &body(&place, "2026-02-11", "screen", "clean_screen")).await;
    assert_eq!(reply.status, 409);
    reply.problem("conflict");
}

async fn a_correction_is_checked_like_a_visit(app: &App) {
    let (here, there) = (place(app, three()).await, place(app, three()).await);
    let made = app.post("/v1/visits", &body(&here, "2026-02-10", "screen", "clean_screen")).await;
    let path = format!("/v1/visits/{}", id_of(&made));
    let tomorrow = body(&here, "2026-03-02", "screen", "clean_screen");
    assert_eq!(app.put(&path, 1, &tomorrow).await.fields("invalid"), ["visited_on"]);
    let foreign = body(&here, "2026-02-10", "screen", "check_bands");
    assert_eq!(app.put(&path, 1, &foreign).await.fields("invalid"), ["items[0].duty"]);
    let elsewhere = body(&there, "2026-02-10", "screen", "clean_screen");
    assert_eq!(app.put(&path, 1, &elsewhere).await.fields("invalid"), ["system_id"]);
    let reply = Reply::of(app.request("GET", &path)).await;
    assert_eq!((reply.expect(200), reply.header("etag")), (made, "\"1\""), "nothing of it was kept");
}
