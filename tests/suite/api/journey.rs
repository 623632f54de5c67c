//! The main job from end to end: register, put rain in, get due dates out, log a visit, see them move.

use super::scenario::{all_kinds, place, rain};
use crate::support::app::{App, over_both};
use serde_json::{Value, json};

over_both! {
    a_system_of_every_kind_gets_its_tasks;
    rain_fills_the_hand_emptied_chamber_and_draining_empties_it;
}

async fn a_system_of_every_kind_gets_its_tasks(app: &App) {
    let place = place(app, all_kinds()).await;
    rain(app, &place.gauge, "2025-01-01", 424, 2.0).await;
    app.refresh().await;
    let tasks = app.get(&format!("/v1/tasks?system_id={}&limit=500", place.system_id())).await;
    let tasks = tasks["items"].as_array().expect("tasks");
    // One row a component and duty: the tank has three, each coupling two, exposed pipework two, all others one.
    assert_eq!(tasks.len(), 19 + 2 + 1 + 1);
    let dues: Vec<&str> = tasks.iter().filter_map(|task| task["due_on"].as_str()).collect();
    assert!(dues.is_sorted(), "{dues:?}");
    for task in tasks {
        assert!(!task["reasons"].as_array().expect("reasons").is_empty(), "{task}");
        assert!(!task["cautions"].as_array().expect("cautions").is_empty(), "{task}");
        assert!(!task["bring"].as_array().expect("things").is_empty(), "{task}");
        assert_eq!(task["as_of"], "2026-03-01");
        assert_eq!(task["property_name"], "School greenhouse");
    }
    let one = tasks.iter().find(|task| task["duty"] == "replace_coupling").expect("a coupling");
    assert_eq!(one["decided_by"], "prediction");
    assert_eq!(one["accumulated"]["unit"], "MJ/m2");
    assert_eq!(one["limit"]["judgement"], true);
    assert_eq!(app.get(&format!("/v1/tasks/{}", one["id"].as_str().expect("an id"))).await, *one);
}

async fn rain_fills_the_hand_emptied_chamber_and_draining_empties_it(app: &App) {
    // 50 L over 50 m2 are 1 mm of runoff; 0.9 x (2 - 0.5) = 1.35 mm fill it on the first wet day.
    let diverter = json!([{"name": "diverter", "installed_on": "2025-01-01",
        "part": {"kind": "first_flush_diverter", "chamber_volume_l": 50.0, "emptying": {"by": "hand"}}}]);
    let place = place(app, diverter).await;
    rain(app, &place.gauge, "2025-01-01", 365, 0.0).await;
    rain(app, &place.gauge, "2026-01-01", 55, 0.0).await;
    rain(app, &place.gauge, "2026-02-25", 1, 2.0).await;
    app.refresh().await;
    let task = async || {
        let found = app.get(&format!("/v1/tasks?system_id={}", place.system_id())).await;
        found["items"][0].clone()
    };
    let full: Value = task().await;
    assert_eq!((&full["due_on"], &full["state"]), (&json!("2026-02-25"), &json!("due")), "{full}");
    let visit = json!({"system_id": place.system_id(), "visited_on": "2026-02-26", "visited_by": "the upkeep rota",
        "items": [{"component_id": place.component("diverter"), "duty": "drain_diverter", "done": true,
                   "finding": {"found": "fraction", "fraction": 1.0}}]});
    let visit = app.post("/v1/visits", &visit).await;
    app.refresh().await;
    let drained = task().await;
    assert_eq!(
        (&drained["since"], &drained["accumulated"]["from_readings"]),
        (&json!("2026-02-26"), &json!(0.0))
    );
    assert_ne!(drained["due_on"], full["due_on"]);
    let withdraw = format!("/v1/visits/{}/withdraw", visit["id"].as_str().expect("an id"));
    app.send("POST", &withdraw, &json!({"because": "it was the wrong diverter"})).await.expect(200);
    app.refresh().await;
    assert_eq!(task().await["due_on"], full["due_on"], "a withdrawn visit counts for nothing");
}
