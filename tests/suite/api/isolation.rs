//! Nothing of one account is seen or touched by another: asked for over every documented operation.

use super::document::{Overrides, counts, operations};
use super::scenario::{component, id_of, place, system, three};
use crate::support::app::{App, Reply, over_both};
use serde_json::{Value, json};

over_both! {
    an_id_of_another_account_is_not_found;
    lists_of_another_account_are_empty;
    references_to_another_account_are_refused_by_field;
    a_filter_by_another_accounts_id_finds_nothing;
}

async fn an_id_of_another_account_is_not_found(app: &App) {
    let theirs = Overrides::of_first(app).await;
    let key = app.other_account().await;
    let own = Overrides::of_other(app, &key).await;
    let mut tried = 0;
    for operation in operations().into_iter().filter(|operation| operation.path.contains("{id}")) {
        let what = format!("{} {}", operation.method, operation.path);
        let reply = Reply::of(operation.request(app, &key, theirs.id(&operation), &own)).await;
        assert_eq!(reply.status, 404, "{what}: {}", reply.text);
        let problem = reply.problem("not_found");
        // The same words as for an id that never was: nothing tells that it exists.
        let nobody = "00000000-0000-4000-8000-000000000000";
        let other = Reply::of(operation.request(app, &key, nobody, &own)).await.problem("not_found");
        let detail =
            |problem: &Value, id: &str| problem["detail"].as_str().expect("a detail").replace(id, "ID");
        assert_eq!(detail(&problem, theirs.id(&operation)), detail(&other, nobody), "{what}");
        tried += 1;
    }
    assert!(tried >= 25, "only {tried} operations");
    // All of it was refused without leaving a trace: each thing still answers its owner at its first version.
    for operation in operations() {
        let one = operation.path.ends_with("/{id}");
        if operation.method == "GET" && one {
            let found = app.get(&operation.path.replace("{id}", theirs.id(&operation))).await;
            assert!(found["version"].is_null() || found["version"] == 1, "{found}");
            assert!(found["withdrawn_at"].is_null() && found["retired_on"].is_null(), "{found}");
        }
    }
    let keys = app.walk("/v1/keys", 100).await;
    assert!(keys.len() == 2 && keys.iter().all(|key| key["revoked_at"].is_null()), "{keys:?}");
}

async fn lists_of_another_account_are_empty(app: &App) {
    Overrides::of_first(app).await;
    let key = app.other_account().await;
    for (path, count) in counts(app, &app.key).await {
        assert!(count > 0, "{path} shows nothing to its owner, so this test shows nothing");
    }
    for (path, count) in counts(app, &key).await {
        // The account's own first key, and the entries of how both were made.
        let own = match path.as_str() {
            "/v1/keys" => 1,
            "/v1/audit" => 2,
            _ => 0,
        };
        assert_eq!(count, own, "{path}");
    }
    let mine = Reply::of(app.request_as(&key, "GET", "/v1/account")).await.expect(200);
    assert_eq!(mine["name"], "another account");
    assert_ne!(mine["id"], app.get("/v1/account").await["id"]);
}

async fn references_to_another_account_are_refused_by_field(app: &App) {
    let theirs = place(app, three()).await;
    let key = app.other_account().await;
    let as_other = async |method: &str, path: &str, body: &Value| {
        Reply::of(app.request_as(&key, method, path).header("If-Match", "\"1\"").json(body)).await
    };
    let own_property =
        id_of(&as_other("POST", "/v1/properties", &super::scenario::property()).await.expect(201));
    let own_gauge = id_of(&as_other("POST", "/v1/gauges", &super::scenario::gauge()).await.expect(201));
    let made = as_other("POST", "/v1/systems", &system(&own_property, &own_gauge, three())).await.expect(201);
    for (property, gauge, fields) in [
        (&theirs.property, &own_gauge, vec!["property_id"]),
        (&own_property, &theirs.gauge, vec!["gauge_id"]),
        (&theirs.property, &theirs.gauge, vec!["property_id", "gauge_id"]),
    ] {
        let mut body = system(property, gauge, json!([]));
        assert_eq!(as_other("POST", "/v1/systems", &body).await.fields("invalid"), fields);
        body.as_object_mut().expect("an object").remove("components");
        let path = format!("/v1/systems/{}", id_of(&made));
        assert_eq!(as_other("PUT", &path, &body).await.fields("invalid"), fields);
    }
    let visit = |system: &str, component: &str| {
        json!({"system_id": system, "visited_on": "2026-02-01", "items": [
            {"component_id": component, "duty": "clean_screen", "done": true}]})
    };
    let foreign = visit(&id_of(&made), &theirs.component("screen"));
    let refused = as_other("POST", "/v1/visits", &foreign).await;
    assert_eq!(refused.fields("invalid"), ["items[0].component_id"]);
    let foreign = visit(theirs.system_id(), &theirs.component("screen"));
    assert_eq!(as_other("POST", "/v1/visits", &foreign).await.fields("invalid"), ["system_id"]);
    // Nor does a component of a second system of the same account belong in the visit.
    let body = system(&own_property, &own_gauge, json!([component("vent", json!({"kind": "vent"}))]));
    let second = as_other("POST", "/v1/systems", &body).await.expect(201);
    let mixed = visit(&id_of(&made), &id_of(&second["components"][0]));
    let refused = as_other("POST", "/v1/visits", &mixed).await;
    assert_eq!(refused.fields("invalid"), ["items[0].component_id"]);
}

async fn a_filter_by_another_accounts_id_finds_nothing(app: &App) {
    let theirs = place(app, three()).await;
    app.refresh().await;
    let key = app.other_account().await;
    for path in [
        format!("/v1/tasks?system_id={}", theirs.system_id()),
        format!("/v1/tasks?property_id={}", theirs.property),
        format!("/v1/systems?property_id={}", theirs.property),
        format!("/v1/systems?gauge_id={}", theirs.gauge),
    ] {
        let count = |page: Value| page["items"].as_array().expect("items").len();
        assert!(count(app.get(&path).await) > 0, "{path}");
        assert_eq!(count(Reply::of(app.request_as(&key, "GET", &path)).await.expect(200)), 0, "{path}");
    }
}
