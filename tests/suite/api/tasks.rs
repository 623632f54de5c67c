//! Tasks: lists by filter and page, and how the days go by.

use super::scenario::{
    Place, all_kinds, component, gauge, id_of, place, place_with, property, rain, system, texts, three,
};
use crate::support::app::{App, Reply, over_both};
use serde_json::{Value, json};
use std::time::Duration;

over_both! {
    pages_walk_the_whole_list_in_order;
    filters_narrow_the_list;
    a_week_ahead_counts_from_the_latest_day_on_earth;
    wrong_filters_are_refused;
    a_day_ends_at_midnight_of_the_property;
    states_follow_the_due_date;
    names_are_those_of_now;
    a_retired_system_has_no_tasks;
    the_loop_refreshes_by_itself;
    the_loop_notices_a_midnight_by_itself;
    a_task_keeps_its_id_and_its_tag;
}

async fn two_places(app: &App) -> (Place, Place) {
    let first = place(app, all_kinds()).await;
    let mut terrace = property();
    terrace["name"] = json!("Terrace");
    let second = place_with(app, &terrace, &gauge(), three()).await;
    rain(app, &first.gauge, "2025-01-01", 424, 1.5).await;
    app.refresh().await;
    (first, second)
}

async fn pages_walk_the_whole_list_in_order(app: &App) {
    two_places(app).await;
    let whole = app.walk("/v1/tasks", 500).await;
    assert_eq!(whole.len(), 23 + 4);
    for limit in [1, 3, 26, 27] {
        assert_eq!(app.walk("/v1/tasks", limit).await, whole, "by {limit}");
    }
    let dues = texts(&whole, "due_on");
    let dated: Vec<&String> = dues.iter().take_while(|due| !due.is_empty()).collect();
    assert!(dated.is_sorted(), "{dues:?}");
    assert!(dues[dated.len()..].iter().all(String::is_empty), "those without a date come last: {dues:?}");
    let mut ids = texts(&whole, "id");
    ids.sort();
    ids.dedup();
    assert_eq!(ids.len(), 27);
    for filter in ["from=2025-06-01", "to=2026-06-01", "state=late,due", "component_kind=tank"] {
        let path = format!("/v1/tasks?{filter}");
        assert_eq!(app.walk(&path, 2).await, app.walk(&path, 500).await, "{filter}");
    }
}

async fn filters_narrow_the_list(app: &App) {
    let (first, second) = two_places(app).await;
    let whole = app.walk("/v1/tasks", 500).await;
    let check = async |query: &str, right: &dyn Fn(&Value) -> bool| {
        let found = app.walk(&format!("/v1/tasks?{query}"), 500).await;
        let expected: Vec<Value> = whole.iter().filter(|task| right(task)).cloned().collect();
        assert!(!expected.is_empty() && expected.len() < whole.len(), "{query} shows nothing of the filter");
        assert_eq!(found, expected, "{query}");
    };
    let due = |task: &Value| task["due_on"].as_str().unwrap_or("none").to_owned();
    check(&format!("property_id={}", second.property), &|task| task["property_id"] == json!(second.property))
        .await;
    check(&format!("system_id={}", first.system_id()), &|task| task["system_id"] == first.system["id"]).await;
    for kind in ["tank", "valve", "debris_screen", "exposed_pipework"] {
        check(&format!("component_kind={kind}"), &|task| task["component_kind"] == kind).await;
    }
    check("state=late", &|task| task["state"] == "late").await;
    check("state=resting,%20near", &|task| task["state"] == "resting" || task["state"] == "near").await;
    check("from=2026-01-01", &|task| due(task).as_str() >= "2026-01-01" && due(task) != "none").await;
    check("to=2026-01-01", &|task| due(task).as_str() <= "2026-01-01").await;
    check("from=2026-01-01&to=2026-01-01", &|task| due(task) == "2026-01-01").await;
    // Up to a week from the latest civil date on earth, which is 2 March at this instant; what is due stays in.
    check("within=P7D", &|task| due(task).as_str() <= "2026-03-09").await;
    check("within=P8W", &|task| due(task).as_str() <= "2026-04-27").await;
    check("within=P0D", &|task| due(task).as_str() <= "2026-03-02").await;
    let both = format!("system_id={}&component_kind=coupling&state=resting", second.system_id());
    check(&both, &|task| {
        task["system_id"] == second.system["id"]
            && task["component_kind"] == "coupling"
            && task["state"] == "resting"
    })
    .await;
    let nobody = "/v1/tasks?system_id=00000000-0000-4000-8000-000000000000";
    assert_eq!(app.walk(nobody, 10).await, Vec::<Value>::new());
}

async fn wrong_filters_are_refused(app: &App) {
    for (query, field) in [
        ("within=P7D&from=2026-01-01", "within"),
        ("within=P7D&to=2026-01-01", "within"),
        ("within=7", "within"),
        ("within=P1M", "within"),
        ("within=P-1D", "within"),
        ("within=P99999D", "within"),
        ("state=asleep", "state"),
        ("state=due,asleep", "state"),
        ("state=", "state"),
        ("component_kind=teapot", "component_kind"),
        ("component_kind=unknown", "component_kind"),
        ("from=2026-02-01&to=2026-01-01", "from"),
        ("limit=0", "limit"),
    ] {
        let reply = Reply::of(app.request("GET", &format!("/v1/tasks?{query}"))).await;
        assert_eq!((reply.status, reply.fields("invalid")), (422, vec![field.to_owned()]), "{query}");
    }
    for query in ["system_id=here", "from=soon", "to=2026-13-01", "system=x", "limit=many"] {
        let reply = Reply::of(app.request("GET", &format!("/v1/tasks?{query}"))).await;
        assert_eq!(reply.status, 400, "{query}");
        reply.problem("malformed_parameter");
    }
    Reply::of(app.request("GET", "/v1/tasks?cursor=nonsense")).await.problem("bad_cursor");
}

/// A vent whose yearly look falls on 10 March 2026, at a property in this zone.
async fn vent_in(app: &App, zone: &str) -> Place {
    let mut there = property();
    there["time_zone"] = json!(zone);
    let mut vent = component("vent", json!({"kind": "vent"}));
    vent["installed_on"] = json!("2025-03-10");
    place_with(app, &there, &gauge(), json!([vent])).await
}

async fn a_week_ahead_counts_from_the_latest_day_on_earth(app: &App) {
    // At 09:59 UTC on 2 March no place on earth has 3 March, a week before the vent is due; at 10:00 the first one has.
    let place = vent_in(app, "UTC").await;
    let within = async |instant: &str, span: &str| {
        app.at(instant).await;
        let path = format!("/v1/tasks?within={span}&system_id={}", place.system_id());
        app.walk(&path, 10).await.len()
    };
    assert_eq!(within("2026-03-02T09:59:59Z", "P7D").await, 0);
    assert_eq!(within("2026-03-02T10:00:00Z", "P7D").await, 1);
    assert_eq!(within("2026-03-02T10:00:00Z", "P6D").await, 0);
    assert_eq!(within("2026-03-02T10:00:00Z", "P1W").await, 1);
    assert_eq!(within("2026-04-02T10:00:00Z", "P0D").await, 1, "what is overdue stays in");
}

async fn a_day_ends_at_midnight_of_the_property(app: &App) {
    let auckland = vent_in(app, "Pacific/Auckland").await;
    let los_angeles = vent_in(app, "America/Los_Angeles").await;
    let check = async |place: &Place, as_of: &str, state: &str| {
        let task = place.task(app, "vent", "check_mesh").await;
        assert_eq!((&task["as_of"], &task["state"]), (&json!(as_of), &json!(state)), "{task}");
        let status = app.get(&format!("/v1/systems/{}/status", place.system_id())).await;
        assert_eq!((&status["as_of"], &status["state"]), (&json!(as_of), &json!(state)), "{status}");
        let forecast = app.get(&format!("/v1/systems/{}/forecast", place.system_id())).await;
        assert_eq!(forecast["as_of"], as_of);
    };
    // Auckland is 13 hours ahead of UTC in March, Los Angeles 8 behind.
    app.at("2026-03-02T10:59:59Z").await;
    check(&auckland, "2026-03-02", "resting").await;
    check(&los_angeles, "2026-03-02", "resting").await;
    app.at("2026-03-02T11:00:00Z").await;
    check(&auckland, "2026-03-03", "near").await;
    check(&los_angeles, "2026-03-02", "resting").await;
    app.at("2026-03-03T07:59:59Z").await;
    check(&los_angeles, "2026-03-02", "resting").await;
    app.at("2026-03-03T08:00:00Z").await;
    check(&los_angeles, "2026-03-03", "near").await;
    // Los Angeles put its clocks forward on 8 March 2026: from then on its day begins at 7:00 UTC.
    app.at("2026-03-10T06:59:59Z").await;
    check(&los_angeles, "2026-03-09", "near").await;
    app.at("2026-03-10T07:00:00Z").await;
    check(&los_angeles, "2026-03-10", "due").await;
}

async fn states_follow_the_due_date(app: &App) {
    let place = vent_in(app, "UTC").await;
    for (day, state) in [
        ("2026-03-02", "resting"),
        ("2026-03-03", "near"),
        ("2026-03-09", "near"),
        ("2026-03-10", "due"),
        ("2026-03-24", "due"),
        ("2026-03-25", "late"),
        ("2027-03-01", "late"),
    ] {
        app.at(&format!("{day}T00:00:00Z")).await;
        let task = place.task(app, "vent", "check_mesh").await;
        assert_eq!((&task["state"], &task["due_on"]), (&json!(state), &json!("2026-03-10")), "{day}");
        let listed = app.walk(&format!("/v1/tasks?state={state}"), 10).await;
        assert_eq!(listed, [task], "{day}");
    }
}

async fn names_are_those_of_now(app: &App) {
    let place = place(app, three()).await;
    app.refresh().await;
    let mut renamed = property();
    renamed["name"] = json!("Glasshouse behind the school");
    app.put(&format!("/v1/properties/{}", place.property), 1, &renamed).await.expect(200);
    let mut facts = system(&place.property, &place.gauge, json!([]));
    facts.as_object_mut().expect("an object").remove("components");
    facts["name"] = json!("north roof");
    app.put(&format!("/v1/systems/{}", place.system_id()), 1, &facts).await.expect(200);
    app.refresh().await;
    for task in place.tasks(app).await {
        assert_eq!(task["property_name"], "Glasshouse behind the school");
        assert_eq!(task["system_name"], "north roof");
    }
    let status = app.get(&format!("/v1/systems/{}/status", place.system_id())).await;
    assert_eq!(status["system_name"], "north roof");
    // Moved to another property, its tasks are found there and no longer here.
    let elsewhere = id_of(&app.post("/v1/properties", &property()).await);
    facts["property_id"] = json!(elsewhere);
    app.put(&format!("/v1/systems/{}", place.system_id()), 2, &facts).await.expect(200);
    app.refresh().await;
    assert_eq!(app.walk(&format!("/v1/tasks?property_id={elsewhere}"), 10).await.len(), 4);
    assert_eq!(app.walk(&format!("/v1/tasks?property_id={}", place.property), 10).await.len(), 0);
}

async fn a_retired_system_has_no_tasks(app: &App) {
    let place = place(app, three()).await;
    app.refresh().await;
    assert_eq!(place.tasks(app).await.len(), 4);
    let mut facts = system(&place.property, &place.gauge, json!([]));
    facts.as_object_mut().expect("an object").remove("components");
    facts["retired_on"] = json!("2026-03-02");
    let path = format!("/v1/systems/{}", place.system_id());
    app.put(&path, 1, &facts).await.expect(200);
    app.refresh().await;
    assert_eq!(place.tasks(app).await.len(), 4, "not before that day");
    app.at("2026-03-02T00:00:00Z").await;
    assert_eq!(place.tasks(app).await.len(), 0);
    let status = app.get(&format!("{path}/status")).await;
    assert_eq!((&status["state"], &status["next"]), (&json!("resting"), &json!([])));
    facts["retired_on"] = Value::Null;
    app.put(&path, 2, &facts).await.expect(200);
    app.refresh().await;
    assert_eq!(place.tasks(app).await.len(), 4, "taken back");
}

/// Asks until something is so, for ten seconds at most.
async fn wait_for<T>(what: &str, mut ask: impl AsyncFnMut() -> Option<T>) -> T {
    for _ in 0..200 {
        if let Some(found) = ask().await {
            return found;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    panic!("{what} does not come");
}

async fn the_loop_refreshes_by_itself(app: &App) {
    let place = place(app, three()).await;
    wait_for("the first tasks", async || (place.tasks(app).await.len() == 4).then_some(())).await;
    let item = json!({"component_id": place.component("screen"), "duty": "clean_screen", "done": true});
    place.visit(app, "2026-02-27", item).await;
    wait_for("the visit's effect", async || {
        (place.task(app, "screen", "clean_screen").await["since"] == "2026-02-27").then_some(())
    })
    .await;
    rain(app, &place.gauge, "2025-01-01", 400, 1.0).await;
    wait_for("the rain's effect", async || {
        (!place.task(app, "diverter", "clear_weep_hole").await["accumulated"].is_null()).then_some(())
    })
    .await;
}

async fn the_loop_notices_a_midnight_by_itself(app: &App) {
    let app = App::start_with(app.kind, |layer| layer.refresh_every_s = Some(1)).await;
    let place = place(&app, three()).await;
    wait_for("today", async || (place.tasks(&app).await.len() == 4).then_some(())).await;
    app.clock.set("2026-03-02T00:00:00Z".parse().expect("an instant"));
    wait_for("tomorrow", async || {
        place.tasks(&app).await.iter().all(|task| task["as_of"] == "2026-03-02").then_some(())
    })
    .await;
    app.stop().await;
}

async fn a_task_keeps_its_id_and_its_tag(app: &App) {
    let place = place(app, three()).await;
    app.refresh().await;
    let task = place.task(app, "screen", "clean_screen").await;
    let path = format!("/v1/tasks/{}", id_of(&task));
    let reply = Reply::of(app.request("GET", &path)).await;
    assert_eq!(reply.expect(200), task);
    let again = async |path: &str, tag: &str| {
        Reply::of(app.request("GET", path).header("If-None-Match", tag)).await.status
    };
    let list = Reply::of(app.request("GET", "/v1/tasks")).await;
    assert_eq!(again(&path, reply.header("etag")).await, 304);
    assert_eq!(again("/v1/tasks", list.header("etag")).await, 304);
    app.at("2026-03-02T00:00:00Z").await;
    assert_eq!(again(&path, reply.header("etag")).await, 200);
    assert_eq!(again("/v1/tasks", list.header("etag")).await, 200);
    let tomorrow = place.task(app, "screen", "clean_screen").await;
    assert_eq!((&tomorrow["id"], &tomorrow["as_of"]), (&task["id"], &json!("2026-03-02")));
}
