//! POST requests are carried out once, however often they are sent.

use super::document::{Overrides, operations};
use super::scenario::{component, id_of, items, place, property, system, three};
use crate::support::app::{App, Reply, over_both};
use chrono::TimeDelta;
use eavesward_service::domain::base::ids::AccountId;
use eavesward_service::domain::model::idempotency::{Attempt, Claim};
use serde_json::{Value, json};
use sha2::{Digest as _, Sha256};

over_both! {
    the_same_request_twice_makes_one_thing_and_one_answer;
    a_system_comes_once_with_its_components;
    actions_are_repeatable_too;
    another_request_under_the_same_key_is_refused;
    many_at_once_make_one;
    a_refusal_frees_the_key;
    after_a_day_the_key_is_forgotten;
    a_request_under_way_is_waited_for_and_then_taken_over;
    keys_of_two_accounts_do_not_meet;
    a_bad_key_is_refused;
}

async fn post(app: &App, path: &str, key: &str, body: &Value) -> Reply {
    Reply::of(app.request("POST", path).header("Idempotency-Key", key).json(body)).await
}

async fn the_same_request_twice_makes_one_thing_and_one_answer(app: &App) {
    let first = post(app, "/v1/properties", "a", &property()).await;
    first.expect(201);
    app.clock.set("2026-03-01T13:00:00Z".parse().expect("an instant"));
    // The answer is kept as it was, even where the thing has changed since.
    let own = first.header("location").to_owned();
    app.put(&own, 1, &property()).await.expect(200);
    let again = post(app, "/v1/properties", "a", &property()).await;
    assert_eq!((again.status, &again.text), (201, &first.text));
    for header in ["location", "etag", "content-type", "cache-control"] {
        assert_eq!(again.header(header), first.header(header), "{header}");
    }
    assert_eq!(app.walk("/v1/properties", 100).await.len(), 1);
    // Without a key every request is one of its own.
    app.post("/v1/properties", &property()).await;
    assert_eq!(app.walk("/v1/properties", 100).await.len(), 2);
}

async fn a_system_comes_once_with_its_components(app: &App) {
    let place = place(app, json!([])).await;
    let body = system(&place.property, &place.gauge, three());
    let first = post(app, "/v1/systems", "s", &body).await;
    let made = first.expect(201);
    assert_eq!(post(app, "/v1/systems", "s", &body).await.text, first.text);
    assert_eq!(app.walk("/v1/systems", 100).await.len(), 2);
    let list = items(&app.get(&format!("/v1/systems/{}/components", id_of(&made))).await);
    assert_eq!(&json!(list), &made["components"]);
    let path = format!("/v1/systems/{}/components", id_of(&made));
    let vent = component("vent", json!({"kind": "vent"}));
    let first = post(app, &path, "c", &vent).await.expect(201);
    assert_eq!(post(app, &path, "c", &vent).await.expect(201), first);
    assert_eq!(items(&app.get(&path).await).len(), 4);
}

async fn actions_are_repeatable_too(app: &App) {
    let place = place(app, three()).await;
    let screen = place.component("screen");
    let visit = json!({"system_id": place.system_id(), "visited_on": "2026-02-01", "items": [
        {"component_id": screen, "duty": "clean_screen", "done": true}]});
    let logged = post(app, "/v1/visits", "v", &visit).await.expect(201);
    assert_eq!(post(app, "/v1/visits", "v", &visit).await.expect(201), logged);
    assert_eq!(items(&app.get("/v1/visits").await).len(), 1);
    let path = format!("/v1/visits/{}/withdraw", id_of(&logged));
    let because = json!({"because": "nobody was there"});
    let withdrawn = post(app, &path, "w", &because).await.expect(200);
    assert_eq!(post(app, &path, "w", &because).await.expect(200), withdrawn);
    // A replacement that was carried out is not refused as a second one.
    let path = format!("/v1/components/{screen}/replace");
    let new = post(app, &path, "r", &json!({"on": "2026-02-01"})).await.expect(201);
    assert_eq!(post(app, &path, "r", &json!({"on": "2026-02-01"})).await.expect(201), new);
    let path = format!("/v1/components/{}/retire", id_of(&new));
    let retired = post(app, &path, "t", &json!({"on": "2026-02-02"})).await.expect(200);
    assert_eq!(post(app, &path, "t", &json!({"on": "2026-02-02"})).await.expect(200), retired);
    assert_eq!(app.walk("/v1/properties", 100).await.len(), 1);
}

async fn another_request_under_the_same_key_is_refused(app: &App) {
    post(app, "/v1/properties", "a", &property()).await.expect(201);
    let mut other = property();
    other["name"] = json!("Terrace");
    let refused = post(app, "/v1/properties", "a", &other).await;
    assert_eq!(refused.status, 422);
    refused.problem("idempotency_mismatch");
    // The same body to another path is another request as well.
    post(app, "/v1/gauges", "a", &super::scenario::gauge()).await.problem("idempotency_mismatch");
    assert_eq!(app.walk("/v1/properties", 100).await.len(), 1);
    post(app, "/v1/properties", "b", &other).await.expect(201);
}

async fn many_at_once_make_one(app: &App) {
    let body = property();
    let all = futures_util::future::join_all((0..8).map(|_| post(app, "/v1/properties", "a", &body))).await;
    let mut ids = Vec::new();
    for reply in &all {
        if reply.status == 201 {
            ids.push(id_of(&reply.expect(201)));
        } else {
            reply.problem("idempotency_in_progress");
            assert_eq!(reply.header("retry-after"), "10");
        }
    }
    assert!(!ids.is_empty(), "one of them has to get through");
    let settled = id_of(&post(app, "/v1/properties", "a", &body).await.expect(201));
    assert!(ids.iter().all(|id| *id == settled), "{ids:?}");
    assert_eq!(app.walk("/v1/properties", 100).await.len(), 1);
}

async fn a_refusal_frees_the_key(app: &App) {
    let mut wrong = property();
    wrong["latitude_deg"] = json!(91.0);
    assert_eq!(post(app, "/v1/properties", "a", &wrong).await.fields("invalid"), ["latitude_deg"]);
    assert_eq!(post(app, "/v1/properties", "a", &wrong).await.fields("invalid"), ["latitude_deg"]);
    post(app, "/v1/properties", "a", &property()).await.expect(201);
    assert_eq!(app.walk("/v1/properties", 100).await.len(), 1);
    post(app, "/v1/properties", "a", &wrong).await.problem("idempotency_mismatch");
}

async fn after_a_day_the_key_is_forgotten(app: &App) {
    let first = post(app, "/v1/properties", "a", &property()).await.expect(201);
    app.clock.set("2026-03-02T12:00:00Z".parse().expect("an instant"));
    let kept = post(app, "/v1/properties", "a", &property()).await.expect(201);
    assert_eq!(id_of(&kept), id_of(&first));
    app.clock.set("2026-03-02T12:00:01Z".parse().expect("an instant"));
    let new = post(app, "/v1/properties", "a", &property()).await.expect(201);
    assert_ne!(id_of(&new), id_of(&first));
    assert_eq!(app.walk("/v1/properties", 100).await.len(), 2);
}

async fn a_request_under_way_is_waited_for_and_then_taken_over(app: &App) {
    // As if a first attempt had been cut off after its claim: the same request claims the key under a seed of its own.
    let body = property().to_string();
    let mut hash = Sha256::new();
    hash.update(b"POST\0/v1/properties\0");
    hash.update(Sha256::digest(body.as_bytes()));
    let account: AccountId =
        serde_json::from_value(app.get("/v1/account").await["id"].clone()).expect("an account's id");
    let seed = uuid::Uuid::now_v7();
    let now = "2026-03-01T12:00:00Z".parse().expect("an instant");
    let fingerprint = hash.finalize().into();
    let attempt = Attempt { account_id: account, key: "a".to_owned(), fingerprint, seed, now };
    assert_eq!(app.cx.store.claim(&attempt).await.expect("a claim"), Claim::Go { seed });
    let ask = async || {
        let request = app.request("POST", "/v1/properties").header("Idempotency-Key", "a");
        Reply::of(request.header("Content-Type", "application/json").body(body.clone())).await
    };
    let waiting = ask().await;
    assert_eq!((waiting.status, waiting.header("retry-after")), (409, "10"));
    waiting.problem("idempotency_in_progress");
    app.clock.set(now + TimeDelta::milliseconds(6_300));
    assert_eq!(ask().await.header("retry-after"), "4", "whole seconds, rounded up");
    app.clock.set(now + TimeDelta::seconds(11));
    assert_eq!(id_of(&ask().await.expect(201)), seed.to_string(), "it goes on where the first one stopped");
    assert_eq!(id_of(&ask().await.expect(201)), seed.to_string());
    assert_eq!(app.walk("/v1/properties", 100).await.len(), 1);
}

async fn keys_of_two_accounts_do_not_meet(app: &App) {
    let first = post(app, "/v1/properties", "a", &property()).await.expect(201);
    let other = app.other_account().await;
    let request = app.request_as(&other, "POST", "/v1/properties").header("Idempotency-Key", "a");
    let second = Reply::of(request.json(&property())).await.expect(201);
    assert_ne!(id_of(&first), id_of(&second));
}

async fn a_bad_key_is_refused(app: &App) {
    let own = Overrides::of_first(app).await;
    for key in ["", "a b", &"x".repeat(201)] {
        for operation in operations() {
            if operation.method != "POST" || operation.path == "/v1/forecast" {
                continue;
            }
            let id = "00000000-0000-4000-8000-000000000000";
            let request = operation.request(app, &app.key, id, &own).header("Idempotency-Key", key);
            let reply = Reply::of(request).await;
            assert_eq!(reply.status, 400, "{key:?} {}: {}", operation.path, reply.text);
            reply.problem("malformed_parameter");
        }
    }
    post(app, "/v1/properties", &"x".repeat(200), &property()).await.expect(201);
}
