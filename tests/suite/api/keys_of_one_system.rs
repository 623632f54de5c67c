//! Keys of one system: what they are shown, and that everything else is closed to them.

use super::document::{Overrides, operations};
use super::scenario::{id_of, items, place, three};
use crate::support::app::{App, Reply, over_both};
use serde_json::{Value, json};

over_both! {
    everything_but_the_own_system_is_closed;
    tasks_are_those_of_the_system;
    it_is_made_for_one_system_and_reads_alone;
}

/// What a key of one system may call. May only grow by what shows one system.
const OPEN: [&str; 6] = [
    "/v1/systems/{id}/status",
    "/v1/systems/{id}/status/events",
    "/v1/systems/{id}/forecast",
    "/v1/systems/{id}/components",
    "/v1/tasks",
    "/v1/tasks/{id}",
];

async fn key_of(app: &App, system: &str) -> String {
    let body = json!({"name": "hall display", "scopes": ["read"], "system_id": system});
    let made = app.post("/v1/keys", &body).await;
    assert_eq!(made["key"]["system_id"], system);
    made["secret"].as_str().expect("a secret").to_owned()
}

async fn everything_but_the_own_system_is_closed(app: &App) {
    let own = Overrides::of_first(app).await;
    let other = place(app, three()).await;
    app.refresh().await;
    let other_task = id_of(&other.tasks(app).await[0]);
    let system = own.system().to_owned();
    let key = key_of(app, &system).await;
    let (mut open, mut closed) = (0, 0);
    for operation in operations() {
        let what = format!("{} {}", operation.method, operation.path);
        let id = if operation.path.contains("{id}") { own.id(&operation) } else { "" };
        let reply = Reply::of(operation.request(app, &key, id, &own)).await;
        if operation.method == "GET" && OPEN.contains(&operation.path.as_str()) {
            assert_eq!(reply.status, 200, "{what}: {}", reply.text);
            open += 1;
            // The same of another system is not there, in the words for one that never was.
            if !operation.path.contains("{id}") {
                continue;
            }
            let foreign = if operation.noun() == "tasks" { other_task.as_str() } else { other.system_id() };
            let nobody = "00000000-0000-4000-8000-000000000000";
            let detail = async |id: &str| {
                let reply = Reply::of(operation.request(app, &key, id, &own)).await;
                assert_eq!(reply.status, 404, "{what}: {}", reply.text);
                reply.problem("not_found")["detail"].as_str().expect("a detail").replace(id, "ID")
            };
            assert_eq!(detail(foreign).await, detail(nobody).await, "{what}");
        } else {
            assert_eq!(reply.status, 403, "{what}: {}", reply.text);
            let problem = reply.problem("one_system_only");
            assert!(problem["detail"].as_str().expect("a detail").contains("whole account"), "{problem}");
            closed += 1;
        }
    }
    assert_eq!(open, OPEN.len());
    assert!(closed > 35, "{closed}");
    // Nothing was changed on the way.
    let system = app.get(&format!("/v1/systems/{system}")).await;
    assert_eq!(system["version"], 1);
    let keys = app.walk("/v1/keys", 100).await;
    assert!(keys.iter().all(|key| key["revoked_at"].is_null()), "{keys:?}");
}

async fn tasks_are_those_of_the_system(app: &App) {
    let (mine, other) = (place(app, three()).await, place(app, three()).await);
    app.refresh().await;
    let key = key_of(app, mine.system_id()).await;
    let list = async |query: &str| Reply::of(app.request_as(&key, "GET", &format!("/v1/tasks{query}"))).await;
    let whole = items(&list("").await.expect(200));
    assert_eq!(whole, mine.tasks(app).await);
    assert!(items(&app.get("/v1/tasks?limit=500").await).len() > whole.len());
    assert_eq!(items(&list(&format!("?system_id={}", mine.system_id())).await.expect(200)), whole);
    // Page by page, with a cursor that another key was given too.
    let first = list("?limit=1").await.expect(200);
    let all = app.get("/v1/tasks?limit=1").await;
    for cursor in [&first["next_cursor"], &all["next_cursor"]] {
        let rest = items(&list(&format!("?cursor={}", cursor.as_str().expect("a cursor"))).await.expect(200));
        assert!(rest.iter().all(|task| task["system_id"] == mine.system_id()), "{rest:?}");
    }
    let foreign = list(&format!("?system_id={}", other.system_id())).await;
    assert_eq!(foreign.status, 404);
    foreign.problem("not_found");
    let elsewhere = items(&list(&format!("?property_id={}", other.property)).await.expect(200));
    assert_eq!(elsewhere, Vec::<Value>::new());
}

async fn it_is_made_for_one_system_and_reads_alone(app: &App) {
    let place = place(app, three()).await;
    let make =
        async |key: &str, body: Value| Reply::of(app.request_as(key, "POST", "/v1/keys").json(&body)).await;
    for scopes in [json!(["read", "write"]), json!(["write"]), json!(["admin", "read"])] {
        let body = json!({"name": "display", "scopes": scopes, "system_id": place.system_id()});
        assert_eq!(make(&app.key, body).await.fields("invalid"), ["scopes"]);
    }
    let nobody = "00000000-0000-4000-8000-000000000000";
    let body = json!({"name": "display", "scopes": ["read"], "system_id": nobody});
    assert_eq!(make(&app.key, body).await.fields("invalid"), ["system_id"]);
    // A system of another account is none.
    let body = json!({"name": "display", "scopes": ["read"], "system_id": place.system_id()});
    let stranger = app.other_account().await;
    assert_eq!(make(&stranger, body.clone()).await.fields("invalid"), ["system_id"]);
    let made = make(&app.key, body).await.expect(201);
    let listed = items(&app.get("/v1/keys").await);
    assert_eq!((&listed[0]["system_id"], &listed[1]), (&Value::Null, &made["key"]));
    assert_eq!(made["key"]["system_id"], place.system_id());
}
