//! Quotas: the account sees what it has used, and what is beyond is refused with the way out.

use super::scenario::{gauge, id_of, property, rain};
use crate::support::app::{App, Kind, Reply};
use serde_json::{Value, json};

async fn quota(app: &App, of: &str) -> Value {
    let account = app.get("/v1/account").await;
    let quotas = account["quotas"].as_array().expect("quotas");
    quotas.iter().find(|quota| quota["of"] == of).unwrap_or_else(|| panic!("no {of} in {account}")).clone()
}

async fn refused(app: &App, method: &str, path: &str, body: Value, words: &str) {
    let reply = app.send(method, path, &body).await;
    assert_eq!(reply.status, 409, "{}", reply.text);
    let detail = reply.problem("quota_reached")["detail"].as_str().expect("a detail").to_owned();
    assert!(detail.contains(words) && detail.contains("Nothing was stored"), "{detail}");
}

async fn a_quota_that_is_used_up_is_told(kind: Kind) {
    let app = App::start_with(kind, |layer| {
        layer.account_properties = Some(1);
        layer.account_gauges = Some(2);
        layer.account_rain_days = Some(10);
        layer.account_systems = Some(0);
        layer.account_keys = Some(2);
        layer.account_subscriptions = Some(1);
        layer.account_test_messages = Some(2);
        layer.local_webhooks = Some(true);
    })
    .await;
    assert_eq!(quota(&app, "properties").await, json!({"of": "properties", "used": 0, "most": 1}));
    assert_eq!(quota(&app, "systems").await, json!({"of": "systems", "used": 0}));
    assert_eq!(quota(&app, "streams").await, json!({"of": "streams", "used": 0, "most": 64}));
    let house = app.post("/v1/properties", &property()).await;
    assert_eq!(quota(&app, "properties").await["used"], 1);
    refused(&app, "POST", "/v1/properties", property(), "1 property: remove one").await;

    // A quota goes back with what it counted, and the refused request may be sent again.
    let retry = app.request("POST", "/v1/properties").header("Idempotency-Key", "again").json(&property());
    assert_eq!(Reply::of(retry.try_clone().expect("a copy")).await.status, 409);
    let path = format!("/v1/properties/{}", id_of(&house));
    let gone = app.request("DELETE", &path).header("If-Match", "\"1\"");
    assert_eq!(Reply::of(gone).await.status, 204);
    Reply::of(retry).await.expect(201);

    let weir = id_of(&app.post("/v1/gauges", &gauge()).await);
    rain(&app, &weir, "2026-01-01", 10, 1.0).await;
    let eleventh = json!({"days": [{"date": "2026-01-11", "rain_mm": 1.0}]});
    let path = format!("/v1/gauges/{weir}/rain");
    refused(&app, "PUT", &path, eleventh, "10 days of rain: send fewer").await;
    assert_eq!(quota(&app, "rain_days").await["used"], 10);

    let key = json!({"name": "rota", "scopes": ["read"]});
    let made = app.post("/v1/keys", &key).await;
    refused(&app, "POST", "/v1/keys", key.clone(), "2 keys: revoke one").await;
    let revoke = app.request("DELETE", &format!("/v1/keys/{}", id_of(&made["key"])));
    assert_eq!(Reply::of(revoke).await.status, 204);
    app.post("/v1/keys", &key).await;

    let letters = json!({"name": "upkeep rota", "to": "http://127.0.0.1:9/eaves", "sends": "reminders"});
    let made = app.post("/v1/subscriptions", &letters).await;
    refused(&app, "POST", "/v1/subscriptions", letters, "1 subscription: remove one").await;
    let test = format!("/v1/subscriptions/{}/test", id_of(&made["subscription"]));
    for _ in 0..2 {
        let reply = app.send("POST", &test, &Value::Null).await;
        assert!(reply.status < 300, "{}", reply.text);
    }
    refused(&app, "POST", &test, Value::Null, "2 test messages a day: send the next one tomorrow").await;
    assert_eq!(quota(&app, "test_messages").await["used"], 2);
    app.at("2026-03-15T00:00:01Z").await;
    assert_eq!(quota(&app, "test_messages").await["used"], 0, "another day");
    let reply = app.send("POST", &test, &Value::Null).await;
    assert!(reply.status < 300, "{}", reply.text);

    // Another account has its own.
    let other = app.other_account().await;
    let theirs = app.request_as(&other, "POST", "/v1/properties").json(&property());
    Reply::of(theirs).await.expect(201);
    app.stop().await;
}

#[tokio::test]
async fn a_quota_that_is_used_up_is_told_on_sqlite() {
    a_quota_that_is_used_up_is_told(Kind::Sqlite).await;
}

#[tokio::test]
async fn a_quota_that_is_used_up_is_told_on_postgres() {
    a_quota_that_is_used_up_is_told(Kind::Postgres).await;
}
