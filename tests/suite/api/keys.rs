//! Keys: who is let in, what a key may do, and how keys come and go.

use super::document::{Overrides, operations};
use super::scenario::{id_of, items};
use crate::support::app::{App, Reply, over_both};
use eavesward_service::domain::background::key_uses;
use eavesward_service::domain::base::clock::Clock as _;
use eavesward_service::domain::base::ids::KeyId;
use serde_json::{Value, json};
use std::time::Duration;

over_both! {
    nobody_gets_in_without_a_key_that_counts;
    a_revoked_key_is_refused_and_revoking_twice_changes_nothing;
    a_key_ends_at_its_instant;
    each_scope_opens_its_own_operations_and_no_others;
    a_secret_is_shown_once;
    a_repeated_request_makes_no_second_key;
    a_wrong_key_request_names_every_field;
    a_key_makes_none_that_is_stronger_than_itself;
    a_weaker_key_may_end_a_stronger_one_and_itself;
    the_last_use_of_a_key_is_shown_to_the_minute;
    a_poll_that_waits_ends_with_its_key;
    a_poll_ends_when_another_replica_revokes_its_key;
}

async fn make(app: &App, body: Value) -> (String, String) {
    let made = app.post("/v1/keys", &body).await;
    (id_of(&made["key"]), made["secret"].as_str().expect("a secret").to_owned())
}

#[track_caller]
fn shut_out(reply: &Reply) {
    assert_eq!(reply.status, 401, "{}", reply.text);
    assert_eq!(reply.header("www-authenticate"), "Bearer");
    reply.problem("unauthorized");
}

async fn nobody_gets_in_without_a_key_that_counts(app: &App) {
    let headers = [
        None,
        Some(String::new()),
        Some("Bearer".to_owned()),
        Some("Bearer ".to_owned()),
        Some("Bearer ew_nonsense".to_owned()),
        Some(format!("Basic {}", app.key)),
        Some(app.key.clone()),
        Some(format!("Bearer {}x", app.key)),
        Some(format!("Bearer {}", &app.key[..app.key.len() - 1])),
    ];
    for header in headers {
        for operation in operations() {
            let path = operation
                .path
                .replace("{id}", "00000000-0000-4000-8000-000000000000")
                .replace("{duty}", "clear_roof");
            let mut request = app.anonymous(&operation.method, &path);
            if let Some(header) = &header {
                request = request.header("Authorization", header);
            }
            shut_out(&Reply::of(request).await);
        }
    }
    // The scheme is a word of HTTP and has no case.
    let request = app.anonymous("GET", "/v1/account").header("Authorization", format!("bearer {}", app.key));
    Reply::of(request).await.expect(200);
}

async fn a_revoked_key_is_refused_and_revoking_twice_changes_nothing(app: &App) {
    let (id, secret) = make(app, json!({"name": "terrace tablet", "scopes": ["read"]})).await;
    Reply::of(app.request_as(&secret, "GET", "/v1/account")).await.expect(200);
    let path = format!("/v1/keys/{id}");
    let revoked = async || {
        let keys = items(&app.get("/v1/keys").await);
        keys.iter().find(|key| key["id"] == id.as_str()).expect("it stays in the list")["revoked_at"].clone()
    };
    assert_eq!(revoked().await, Value::Null);
    let gone = Reply::of(app.request("DELETE", &path)).await;
    assert_eq!((gone.status, gone.text.as_str()), (204, ""));
    shut_out(&Reply::of(app.request_as(&secret, "GET", "/v1/account")).await);
    let first = revoked().await;
    assert_eq!(first, "2026-03-01T12:00:00Z");
    app.clock.set("2026-03-02T12:00:00Z".parse().expect("an instant"));
    assert_eq!(Reply::of(app.request("DELETE", &path)).await.status, 204);
    assert_eq!(revoked().await, first, "the first time counts");
}

async fn a_key_ends_at_its_instant(app: &App) {
    let body = json!({"name": "summer help", "scopes": ["read"], "expires_at": "2026-03-01T18:00:00Z"});
    let (_, secret) = make(app, body).await;
    let ask = async || Reply::of(app.request_as(&secret, "GET", "/v1/account")).await;
    app.clock.set("2026-03-01T17:59:59Z".parse().expect("an instant"));
    ask().await.expect(200);
    app.clock.set("2026-03-01T18:00:00Z".parse().expect("an instant"));
    shut_out(&ask().await);
}

async fn each_scope_opens_its_own_operations_and_no_others(app: &App) {
    let own = Overrides::of_first(app).await;
    for scope in ["read", "write", "admin"] {
        let (_, secret) = make(app, json!({"name": scope, "scopes": [scope]})).await;
        for operation in operations() {
            let what = format!("{} {} with {scope}", operation.method, operation.path);
            // An id that never was, so that nothing is changed on the way.
            let id = "00000000-0000-4000-8000-000000000000";
            let reply = Reply::of(operation.request(app, &secret, id, &own)).await;
            if operation.scope() == scope {
                assert!(![401, 403].contains(&reply.status), "{what}: {}", reply.text);
            } else {
                assert_eq!(reply.status, 403, "{what}: {}", reply.text);
                let problem = reply.problem("scope_missing");
                let detail = problem["detail"].as_str().expect("a detail");
                assert!(detail.contains(operation.scope()), "{what}: {detail}");
            }
        }
    }
}

async fn a_secret_is_shown_once(app: &App) {
    let body = json!({"name": "orchard tablet", "scopes": ["write", "read", "read"]});
    let reply = app.send("POST", "/v1/keys", &body).await;
    let made = reply.expect(201);
    assert_eq!(reply.header("cache-control"), "no-store");
    assert_eq!(reply.header("location"), format!("/v1/keys/{}", id_of(&made["key"])));
    let secret = made["secret"].as_str().expect("a secret");
    // 256 random bits in base64.
    assert_eq!(secret.strip_prefix("ew_").expect("a prefix").len(), 43);
    let key = &made["key"];
    assert_eq!(key["scopes"], json!(["read", "write"]));
    assert_eq!(
        (&key["name"], &key["created_at"]),
        (&json!("orchard tablet"), &json!("2026-03-01T12:00:00Z"))
    );
    assert_eq!((&key["expires_at"], &key["revoked_at"]), (&Value::Null, &Value::Null));
    let hint = key["hint"].as_str().expect("a hint");
    assert!(secret.starts_with(hint) && hint.len() <= 9, "{hint}");
    let list = Reply::of(app.request("GET", "/v1/keys")).await;
    let listed = items(&list.expect(200));
    assert_eq!((listed.len(), &listed[1]), (2, key), "oldest first, and the same but for the secret");
    assert!(!list.text.contains(secret) && !list.text.contains(&app.key) && !list.text.contains("secret"));
    let other = app.post("/v1/keys", &body).await;
    assert_ne!(other["secret"], made["secret"]);
}

async fn a_repeated_request_makes_no_second_key(app: &App) {
    let body = json!({"name": "orchard tablet", "scopes": ["read"]});
    let ask = async || {
        Reply::of(app.request("POST", "/v1/keys").header("Idempotency-Key", "tablet-1").json(&body)).await
    };
    let secret = ask().await.expect(201)["secret"].as_str().expect("a secret").to_owned();
    let again = ask().await;
    assert_eq!(again.status, 409);
    let problem = again.problem("conflict");
    assert!(problem["detail"].as_str().expect("a detail").contains("revoke"), "{problem}");
    assert!(!again.text.contains(&secret));
    assert_eq!(items(&app.get("/v1/keys").await).len(), 2);
    Reply::of(app.request_as(&secret, "GET", "/v1/account")).await.expect(200);
}

async fn a_wrong_key_request_names_every_field(app: &App) {
    let wrong = json!({"name": " ", "scopes": [], "expires_at": "2026-03-01T12:00:00Z"});
    let reply = app.send("POST", "/v1/keys", &wrong).await;
    assert_eq!(reply.fields("invalid"), ["name", "scopes", "expires_at"]);
    let unknown = json!({"name": "tablet", "scopes": ["read", "everything"]});
    assert_eq!(app.send("POST", "/v1/keys", &unknown).await.fields("malformed_body"), ["scopes[1]"]);
    assert_eq!(items(&app.get("/v1/keys").await).len(), 1);
}

async fn a_key_makes_none_that_is_stronger_than_itself(app: &App) {
    let as_key = async |secret: &str, body: Value| {
        Reply::of(app.request_as(secret, "POST", "/v1/keys").json(&body)).await
    };
    let (_, keeper) = make(app, json!({"name": "keeper", "scopes": ["admin"]})).await;
    for scopes in
        [json!(["read"]), json!(["write"]), json!(["admin", "write"]), json!(["read", "write", "admin"])]
    {
        let refused = as_key(&keeper, json!({"name": "van", "scopes": scopes})).await;
        assert_eq!((refused.status, refused.fields("invalid")), (422, vec!["scopes".to_owned()]), "{scopes}");
        assert!(refused.text.contains("keeper"), "{}", refused.text);
    }
    as_key(&keeper, json!({"name": "deputy", "scopes": ["admin"]})).await.expect(201);

    let end = "2026-03-01T18:00:00Z";
    let body = json!({"name": "summer help", "scopes": ["read", "admin"], "expires_at": end});
    let (_, summer) = make(app, body).await;
    let draft = |end: Value| json!({"name": "van", "scopes": ["read"], "expires_at": end});
    for later in [Value::Null, json!("2026-03-01T18:00:00.000001Z"), json!("2032-01-01T00:00:00Z")] {
        let refused = as_key(&summer, draft(later.clone())).await;
        assert_eq!(refused.fields("invalid"), ["expires_at"], "{later}");
        assert!(refused.text.contains("2026-03-01 18:00:00"), "it names the end: {}", refused.text);
    }
    // Without the field as well, and both faults are told at once.
    let refused = as_key(&summer, json!({"name": "van", "scopes": ["write"]})).await;
    assert_eq!(refused.fields("invalid"), ["scopes", "expires_at"]);
    // The same instant in another zone.
    let made = as_key(&summer, draft(json!("2026-03-01T19:00:00+01:00"))).await.expect(201);
    assert_eq!(made["key"]["expires_at"], end);
    assert_eq!(items(&app.get("/v1/keys").await).len(), 5, "the refused ones were not made");
}

async fn a_weaker_key_may_end_a_stronger_one_and_itself(app: &App) {
    let (own, keeper) = make(app, json!({"name": "keeper", "scopes": ["admin"]})).await;
    let (leaked, secret) = make(app, json!({"name": "leaked", "scopes": ["read", "write", "admin"]})).await;
    let end = async |id: &str| Reply::of(app.request_as(&keeper, "DELETE", &format!("/v1/keys/{id}"))).await;
    assert_eq!(end(&leaked).await.status, 204);
    shut_out(&Reply::of(app.request_as(&secret, "GET", "/v1/account")).await);
    assert_eq!(end(&own).await.status, 204);
    shut_out(&end(&own).await);
}

async fn the_last_use_of_a_key_is_shown_to_the_minute(app: &App) {
    let (id, secret) = make(app, json!({"name": "van", "scopes": ["read"]})).await;
    let shown = async || {
        let keys = items(&app.get("/v1/keys").await);
        keys.iter().find(|key| key["id"] == id.as_str()).expect("it is listed")["last_used_at"].clone()
    };
    let ask = async || Reply::of(app.request_as(&secret, "GET", "/v1/account")).await;
    assert_eq!(shown().await, Value::Null);
    app.clock.set("2026-03-01T12:34:56Z".parse().expect("an instant"));
    ask().await.expect(200);
    assert_eq!(shown().await, Value::Null, "no request writes it");
    key_uses::write(&app.cx).await.expect("written");
    assert_eq!(shown().await, "2026-03-01T12:34:00Z");
    // A refusal for want of a scope is a use; a key that is not accepted is not used.
    app.clock.set("2026-03-01T12:35:10Z".parse().expect("an instant"));
    assert_eq!(Reply::of(app.request_as(&secret, "GET", "/v1/keys")).await.status, 403);
    key_uses::write(&app.cx).await.expect("written");
    assert_eq!(shown().await, "2026-03-01T12:35:00Z");
    Reply::of(app.request("DELETE", &format!("/v1/keys/{id}"))).await;
    app.clock.set("2026-03-01T12:40:00Z".parse().expect("an instant"));
    shut_out(&ask().await);
    key_uses::write(&app.cx).await.expect("written");
    assert_eq!(shown().await, "2026-03-01T12:35:00Z");
}

/// Sends a request that waits for half a minute, and returns when it waits.
async fn waiting(app: &App, secret: &str) -> tokio::task::JoinHandle<Reply> {
    let request = app.request_as(secret, "GET", "/v1/reminders?after=now&wait=30");
    let before = app.cx.keys_revoked.receiver_count();
    let reply = tokio::spawn(Reply::of(request));
    for _ in 0..400 {
        if app.cx.keys_revoked.receiver_count() > before {
            return reply;
        }
        tokio::time::sleep(Duration::from_millis(25)).await;
    }
    panic!("the request does not wait");
}

/// The answer, which has to come long before the wait is over.
async fn soon(reply: tokio::task::JoinHandle<Reply>) -> Reply {
    tokio::time::timeout(Duration::from_secs(15), reply).await.expect("within seconds").expect("a task")
}

async fn a_poll_that_waits_ends_with_its_key(app: &App) {
    let (id, revoked) = make(app, json!({"name": "van", "scopes": ["read"]})).await;
    let brief = json!({"name": "visitor", "scopes": ["read"], "expires_at": "2026-03-01T12:10:00Z"});
    let (_, expiring) = make(app, brief).await;
    let (_, other) = make(app, json!({"name": "hall", "scopes": ["read"]})).await;
    let polls = [waiting(app, &revoked).await, waiting(app, &expiring).await, waiting(app, &other).await];
    assert_eq!(Reply::of(app.request("DELETE", &format!("/v1/keys/{id}"))).await.status, 204);
    let [revoked, expiring, other] = polls;
    shut_out(&soon(revoked).await);
    app.clock.set("2026-03-01T12:10:00Z".parse().expect("an instant"));
    shut_out(&soon(expiring).await);
    assert!(!other.is_finished(), "a poll with another key goes on");
    other.abort();
}

async fn a_poll_ends_when_another_replica_revokes_its_key(app: &App) {
    let (id, secret) = make(app, json!({"name": "van", "scopes": ["read"]})).await;
    let poll = waiting(app, &secret).await;
    let account = app.cx.store.accounts().await.expect("accounts")[0].id;
    let key = KeyId(id.parse().expect("a UUID"));
    // Past this process: nothing tells it.
    assert!(app.cx.store.revoke_key(account, key, app.clock.now()).await.expect("revoked"));
    shut_out(&soon(poll).await);
}
