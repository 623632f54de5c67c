//! The audit: every change leaves one entry, and nothing else does.

use super::document::{Overrides, committed, operations};
use super::scenario::{id_of, items, property};
use crate::support::app::{App, Reply, over_both};
use serde_json::{Value, json};
use std::collections::BTreeSet;

over_both! {
    every_changing_operation_leaves_one_entry;
    what_is_refused_leaves_no_entry;
    a_repeated_request_leaves_one_entry;
    the_first_entries_say_how_the_account_was_made;
    entries_can_be_found_by_key_thing_and_time;
    wrong_questions_are_refused_by_field;
    another_account_sees_none_of_it;
    fifty_changes_at_once_leave_fifty_entries;
}

const NOBODY: &str = "00000000-0000-4000-8000-000000000000";

/// The word by which the document names an operation.
fn word(document: &Value, method: &str, path: &str) -> String {
    let word = &document["paths"][path][method.to_lowercase()]["operationId"];
    word.as_str().expect("an operation id").to_owned()
}

async fn entries(app: &App) -> Vec<Value> {
    app.walk("/v1/audit", 500).await
}

async fn every_changing_operation_leaves_one_entry(app: &App) {
    let document = committed();
    let (mut tried, mut things) = (0, BTreeSet::new());
    for operation in operations() {
        let (method, path) = (operation.method.as_str(), operation.path.as_str());
        if method == "GET" || path == "/v1/forecast" {
            continue;
        }
        let what = format!("{method} {path}");
        // These are in use here; see below.
        if ["DELETE /v1/properties/{id}", "DELETE /v1/gauges/{id}"].contains(&what.as_str()) {
            continue;
        }
        // All of it new, so that no operation is in another one's way.
        let own = Overrides::of_first(app).await;
        let id = if path.contains("{id}") { own.id(&operation).to_owned() } else { "clear_roof".to_owned() };
        if what == "POST /v1/subscriptions/{id}/resume" {
            // One that is not paused is not resumed.
            app.send("POST", &format!("/v1/subscriptions/{id}/pause"), &Value::Null).await.expect(200);
        }
        if what == "DELETE /v1/gauges/{id}/rain" {
            // Where nothing is removed, nothing is changed.
            let day = json!({"days": [{"date": "2020-01-01", "rain_mm": 1.0}]});
            app.send("PUT", &path.replace("{id}", &id), &day).await.expect(200);
        }
        let reply = Reply::of(operation.request(app, &app.key, &id, &own)).await;
        assert!((200..300).contains(&reply.status), "{what}: {} {}", reply.status, reply.text);
        let request = reply.header("x-request-id").to_owned();
        let all = entries(app).await;
        let of: Vec<&Value> = all.iter().filter(|entry| entry["request_id"] == request.as_str()).collect();
        let [entry] = of.as_slice() else { panic!("{what} left {} entries: {of:?}", of.len()) };
        assert_eq!(entry["operation"], word(&document, method, path), "{what}");
        assert_eq!((&entry["actor"]["kind"], &entry["actor"]["name"]), (&json!("key"), &json!("first key")));
        let place = reply.header("location").rsplit('/').next().unwrap_or_default();
        // Whoever tries a subscription asks for it later, not for the message.
        let made = !place.is_empty() && !path.ends_with("/test");
        assert_eq!(entry["thing"]["id"], if made { place } else { &id }, "{what}: {entry}");
        things.insert(entry["thing"]["kind"].as_str().expect("a kind").to_owned());
        tried += 1;
    }
    for path in ["/v1/properties", "/v1/gauges"] {
        let body = if path == "/v1/gauges" { super::scenario::gauge() } else { property() };
        let id = id_of(&app.post(path, &body).await);
        let gone = app.request("DELETE", &format!("{path}/{id}")).header("If-Match", "\"1\"");
        assert_eq!(Reply::of(gone).await.status, 204);
        let found = items(&app.get(&format!("/v1/audit?thing_id={id}")).await);
        let words: Vec<&str> = found.iter().filter_map(|entry| entry["operation"].as_str()).collect();
        let noun = &path[4..].trim_end_matches("ies").trim_end_matches('s');
        assert!(words.len() == 2 && words[0].starts_with(&format!("delete_{noun}")), "{words:?}");
        tried += 1;
    }
    assert!(tried >= 32, "only {tried} operations");
    let all: BTreeSet<String> = [
        "calendar",
        "component",
        "delivery",
        "duty",
        "gauge",
        "key",
        "property",
        "round",
        "subscription",
        "system",
        "visit",
    ]
    .map(str::to_owned)
    .into();
    assert_eq!(things, all);
    // What was sent is nowhere in it.
    let text = Value::from(entries(app).await).to_string();
    for sent in ["hooks.example", "orchard tablet", "terrace", "nobody was there", "ew_", "ewc_"] {
        assert!(!text.contains(sent), "{sent} is in the audit");
    }
}

async fn what_is_refused_leaves_no_entry(app: &App) {
    let own = Overrides::of_first(app).await;
    let reader = app.post("/v1/keys", &json!({"name": "hall display", "scopes": ["read"]})).await;
    let reader = reader["secret"].as_str().expect("a secret").to_owned();
    let before = entries(app).await;
    for operation in operations() {
        if operation.method == "GET" || operation.path == "/v1/forecast" {
            continue;
        }
        let what = format!("{} {}", operation.method, operation.path);
        let id = if operation.path.contains("{id}") { own.id(&operation) } else { "" };
        let refused = Reply::of(operation.request(app, &reader, id, &own)).await;
        assert_eq!(refused.status, 403, "{what}");
        if operation.path.contains("{id}") {
            assert_eq!(Reply::of(operation.request(app, &app.key, NOBODY, &own)).await.status, 404, "{what}");
        }
        if operation.statuses.contains(&428) {
            let path = operation.path.replace("{id}", id).replace("{duty}", "clear_roof");
            let stale = app.request(&operation.method, &path).header("If-Match", "\"77\"");
            let body = own.body(&operation);
            let stale = if body.is_null() { stale } else { stale.json(&body) };
            Reply::of(stale).await.problem("version_mismatch");
        }
        let wrong = app.request(&operation.method, &operation.path.replace("{id}", id)).body("{");
        assert!((400..500).contains(&Reply::of(wrong).await.status), "{what}");
    }
    assert_eq!(entries(app).await, before);
    // A forecast of what is not registered stores nothing.
    let forecast = operations().into_iter().find(|operation| operation.path == "/v1/forecast");
    let forecast = forecast.expect("it is in the document");
    Reply::of(forecast.request(app, &app.key, "", &own)).await.expect(200);
    assert_eq!(entries(app).await, before);
}

async fn a_repeated_request_leaves_one_entry(app: &App) {
    let ask = async || {
        let request = app.request("POST", "/v1/properties").header("Idempotency-Key", "orchard-1");
        Reply::of(request.json(&property())).await
    };
    let first = ask().await;
    let id = id_of(&first.expect(201));
    assert_eq!(id_of(&ask().await.expect(201)), id);
    let found = items(&app.get(&format!("/v1/audit?thing_id={}", id.to_uppercase())).await);
    let [entry] = found.as_slice() else { panic!("{found:?}") };
    assert_eq!(entry["request_id"], first.header("x-request-id"), "that of the request which made it");
    assert_eq!(entry["at"], "2026-03-01T12:00:00Z");
}

async fn the_first_entries_say_how_the_account_was_made(app: &App) {
    let found = entries(app).await;
    let account = id_of(&app.get("/v1/account").await);
    let key = id_of(&items(&app.get("/v1/keys").await)[0]);
    let shown: Vec<Value> = found
        .iter()
        .map(|entry| json!([entry["actor"], entry["operation"], entry["thing"], entry["request_id"]]))
        .collect();
    let operator = json!({"kind": "operator", "id": null, "name": null});
    assert_eq!(
        shown,
        [
            json!([operator, "create_key", {"kind": "key", "id": key}, null]),
            json!([operator, "create_account", {"kind": "account", "id": account}, null]),
        ]
    );
}

async fn entries_can_be_found_by_key_thing_and_time(app: &App) {
    let made = app.post("/v1/keys", &json!({"name": "van", "scopes": ["read", "write"]})).await;
    let (van, secret) = (id_of(&made["key"]), made["secret"].as_str().expect("a secret").to_owned());
    app.clock.set("2026-03-02T09:00:00Z".parse().expect("an instant"));
    let reply = Reply::of(app.request_as(&secret, "POST", "/v1/properties").json(&property())).await;
    let property = id_of(&reply.expect(201));
    app.put("/v1/duties/clear_roof", 0, &json!({"longest_interval_months": 9})).await.expect(200);
    let find = async |query: &str| {
        let found = items(&app.get(&format!("/v1/audit?{query}")).await);
        found.iter().map(|entry| entry["operation"].as_str().expect("a word").to_owned()).collect::<Vec<_>>()
    };
    assert_eq!(find(&format!("key_id={van}")).await, ["create_property"]);
    assert_eq!(find(&format!("thing_id={property}")).await, ["create_property"]);
    assert_eq!(find("thing_id=clear_roof").await, ["update_duty"]);
    assert_eq!(find(&format!("thing_id={van}")).await, ["create_key"]);
    assert_eq!(find("from=2026-03-02T09:00:00Z").await, ["update_duty", "create_property"]);
    assert_eq!(find("until=2026-03-02T09:00:00Z").await, ["create_key", "create_key", "create_account"]);
    assert_eq!(
        find("from=2026-03-02T11:00:00%2B02:00&until=2026-03-02T09:00:00Z").await,
        Vec::<String>::new()
    );
    assert_eq!(app.walk("/v1/audit", 2).await, entries(app).await);
    // A key that was revoked keeps its name.
    Reply::of(app.request("DELETE", &format!("/v1/keys/{van}"))).await;
    let found = items(&app.get(&format!("/v1/audit?key_id={van}")).await);
    assert_eq!(found[0]["actor"], json!({"kind": "key", "id": van, "name": "van"}));
}

async fn wrong_questions_are_refused_by_field(app: &App) {
    let ask = async |query: &str| Reply::of(app.request("GET", &format!("/v1/audit?{query}"))).await;
    let long = format!("thing_id={}", "a".repeat(101));
    let backwards = "from=2026-03-02T09:00:00Z&until=2026-03-01T09:00:00Z";
    for (query, fields) in
        [(long.as_str(), ["thing_id"]), ("thing_id=%00", ["thing_id"]), (backwards, ["until"])]
    {
        assert_eq!(ask(query).await.fields("invalid"), fields, "{query}");
    }
    for (query, field) in [("key_id=van", "key_id"), ("from=yesterday", "from"), ("to=2026-03-01", "to")] {
        assert_eq!(ask(query).await.fields("malformed_parameter"), [field], "{query}");
    }
    for _ in 0..2 {
        app.post("/v1/keys", &json!({"name": "van", "scopes": ["read"]})).await;
    }
    let keys = app.get("/v1/keys?limit=1").await;
    let cursor = keys["next_cursor"].as_str().expect("a cursor");
    ask(&format!("cursor={cursor}")).await.problem("bad_cursor");
}

async fn another_account_sees_none_of_it(app: &App) {
    let other = app.other_account().await;
    let made = id_of(&app.post("/v1/properties", &property()).await);
    let key = id_of(&items(&app.get("/v1/keys").await)[0]);
    let page = app.get("/v1/audit?limit=1").await;
    let cursor = page["next_cursor"].as_str().expect("a cursor");
    let as_other = async |query: String| {
        items(&Reply::of(app.request_as(&other, "GET", &format!("/v1/audit{query}"))).await.expect(200))
    };
    assert_eq!(as_other(String::new()).await.len(), 2, "how that account was made");
    assert_eq!(as_other(format!("?thing_id={made}")).await, Vec::<Value>::new());
    assert_eq!(as_other(format!("?key_id={key}")).await, Vec::<Value>::new());
    // A cursor is an instant and an id, and shows the account that asks what is its own.
    let mine: BTreeSet<String> = entries(app).await.iter().map(id_of).collect();
    assert!(as_other(format!("?cursor={cursor}")).await.iter().all(|entry| !mine.contains(&id_of(entry))));
}

async fn fifty_changes_at_once_leave_fifty_entries(app: &App) {
    let ask = || async { Reply::of(app.request("POST", "/v1/properties").json(&property())).await };
    let replies = futures_util::future::join_all((0..50).map(|_| ask())).await;
    let made: BTreeSet<(String, String)> = replies
        .iter()
        .map(|reply| (id_of(&reply.expect(201)), reply.header("x-request-id").to_owned()))
        .collect();
    assert_eq!(made.len(), 50);
    let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
    let told: Vec<(String, String)> = entries(app)
        .await
        .iter()
        .filter(|entry| entry["operation"] == "create_property")
        .map(|entry| (text(&entry["thing"]["id"]), text(&entry["request_id"])))
        .collect();
    assert_eq!(told.len(), 50);
    assert_eq!(told.into_iter().collect::<BTreeSet<_>>(), made);
}
