//! POST requests are carried out once, however often they are sent.

use super::document::{Overrides, operations};
use super::scenario::{component, id_of, items, place, property, system, three};
use crate::support::app::{App, Reply, over_both};
use chrono::{DateTime, TimeDelta, Utc};
use eavesward_service::domain::base::ids::{AccountId, CalendarId, KeyId, RoundId, TaskId};
use eavesward_service::domain::model::account::{KeyDraft, Scope};
use eavesward_service::domain::model::calendar::CalendarDraft;
use eavesward_service::domain::model::idempotency::{Attempt, Claim};
use eavesward_service::domain::model::round::RoundDraft;
use eavesward_service::domain::use_cases::rounds::keep;
use eavesward_service::domain::use_cases::{accounts, calendars};
use serde_json::{Value, json};
use sha2::{Digest as _, Sha256};
use uuid::Uuid;

over_both! {
    the_same_request_twice_makes_one_thing_and_one_answer;
    a_system_comes_once_with_its_components;
    actions_are_repeatable_too;
    another_request_under_the_same_key_is_refused;
    many_at_once_make_one;
    a_refusal_frees_the_key;
    after_a_day_the_key_is_forgotten;
    a_request_under_way_is_waited_for_and_then_taken_over;
    a_key_that_was_made_before_the_cut_gets_a_new_secret;
    a_key_that_was_revoked_since_the_cut_stays_revoked;
    a_calendar_that_was_made_before_the_cut_gets_a_new_address;
    a_round_that_was_kept_before_the_cut_is_kept;
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

async fn account_id(app: &App) -> AccountId {
    serde_json::from_value(app.get("/v1/account").await["id"].clone()).expect("an account's id")
}

/// As if a first attempt under the key "a" had been cut off after its claim: the same request claims the key under a
/// seed of its own.
async fn cut_off(app: &App, path: &str, body: &Value) -> Uuid {
    let mut hash = Sha256::new();
    hash.update(format!("POST\0{path}\0"));
    hash.update(Sha256::digest(body.to_string().as_bytes()));
    let (seed, now) = (Uuid::now_v7(), "2026-03-01T12:00:00Z".parse().expect("an instant"));
    let (account_id, fingerprint) = (account_id(app).await, hash.finalize().into());
    let attempt = Attempt { account_id, key: "a".to_owned(), fingerprint, seed, now };
    assert_eq!(app.cx.store.claim(&attempt).await.expect("a claim"), Claim::Go { seed });
    seed
}

/// The same request again.
async fn ask(app: &App, path: &str, body: &Value) -> Reply {
    let request = app.request("POST", path).header("Idempotency-Key", "a");
    Reply::of(request.header("Content-Type", "application/json").body(body.to_string())).await
}

fn later(app: &App) {
    app.clock.set("2026-03-01T12:01:01Z".parse().expect("an instant"));
}

async fn a_request_under_way_is_waited_for_and_then_taken_over(app: &App) {
    let body = property();
    let seed = cut_off(app, "/v1/properties", &body).await;
    let waiting = ask(app, "/v1/properties", &body).await;
    assert_eq!((waiting.status, waiting.header("retry-after")), (409, "10"));
    waiting.problem("idempotency_in_progress");
    let now: DateTime<Utc> = "2026-03-01T12:00:00Z".parse().expect("an instant");
    app.clock.set(now + TimeDelta::milliseconds(6_300));
    let waiting = ask(app, "/v1/properties", &body).await;
    assert_eq!(waiting.header("retry-after"), "4", "whole seconds, rounded up");
    later(app);
    let made = ask(app, "/v1/properties", &body).await.expect(201);
    assert_eq!(id_of(&made), seed.to_string(), "it goes on where the first one stopped");
    assert_eq!(id_of(&ask(app, "/v1/properties", &body).await.expect(201)), seed.to_string());
    assert_eq!(app.walk("/v1/properties", 100).await.len(), 1);
}

async fn a_key_that_was_made_before_the_cut_gets_a_new_secret(app: &App) {
    let body = json!({"name": "gatehouse", "scopes": ["read"]});
    let seed = cut_off(app, "/v1/keys", &body).await;
    let draft = KeyDraft {
        name: "gatehouse".to_owned(),
        scopes: vec![Scope::Read],
        system_id: None,
        expires_at: None,
    };
    let account = account_id(app).await;
    let (made, unheard) = accounts::create_key(&app.cx, account, KeyId(seed), draft).await.expect("a key");
    later(app);
    let shown = ask(app, "/v1/keys", &body).await.expect(201);
    assert_eq!((id_of(&shown["key"]), app.walk("/v1/keys", 100).await.len()), (seed.to_string(), 2));
    assert_eq!(shown["key"]["created_at"], json!(made.created_at), "it is the same key");
    let read = async |secret: &str| Reply::of(app.request_as(secret, "GET", "/v1/account")).await.status;
    assert_eq!(read(shown["secret"].as_str().expect("a secret")).await, 200);
    assert_eq!(read(unheard.reveal()).await, 401, "nobody was told it");
    assert_eq!(ask(app, "/v1/keys", &body).await.status, 409, "its secret was shown");
}

async fn a_key_that_was_revoked_since_the_cut_stays_revoked(app: &App) {
    let body = json!({"name": "gatehouse", "scopes": ["read"]});
    let seed = cut_off(app, "/v1/keys", &body).await;
    let draft = KeyDraft {
        name: "gatehouse".to_owned(),
        scopes: vec![Scope::Read],
        system_id: None,
        expires_at: None,
    };
    let account = account_id(app).await;
    accounts::create_key(&app.cx, account, KeyId(seed), draft).await.expect("a key");
    Reply::of(app.request("DELETE", &format!("/v1/keys/{seed}"))).await.expect(204);
    later(app);
    let refused = ask(app, "/v1/keys", &body).await;
    let problem = refused.problem("conflict");
    assert!(problem["detail"].as_str().expect("words").contains("revoked since"), "{}", refused.text);
    assert_ne!(id_of(&ask(app, "/v1/keys", &body).await.expect(201)["key"]), seed.to_string());
}

async fn a_calendar_that_was_made_before_the_cut_gets_a_new_address(app: &App) {
    let body = json!({"name": "Upkeep"});
    let seed = cut_off(app, "/v1/calendars", &body).await;
    let draft = CalendarDraft { name: "Upkeep".to_owned(), property_id: None, horizon_days: None };
    let account = account_id(app).await;
    let made = calendars::create(&app.cx, account, CalendarId(seed), draft).await.expect("a calendar");
    later(app);
    let shown = ask(app, "/v1/calendars", &body).await.expect(201);
    assert_eq!(
        (id_of(&shown["calendar"]), app.walk("/v1/calendars", 100).await.len()),
        (seed.to_string(), 1)
    );
    let read = async |path: &str| Reply::of(app.anonymous("GET", path)).await.status;
    assert_eq!(read(shown["path"].as_str().expect("a path")).await, 200);
    assert_eq!(read(&format!("/calendars/{}.ics", made.1.reveal())).await, 404, "nobody was told it");
}

async fn a_round_that_was_kept_before_the_cut_is_kept(app: &App) {
    let place = place(app, three()).await;
    app.refresh().await;
    let task = id_of(&place.tasks(app).await[0]);
    let body = json!({"on": "2026-03-05", "task_ids": [task]});
    let seed = cut_off(app, "/v1/rounds", &body).await;
    let draft = RoundDraft {
        on: "2026-03-05".parse().expect("a day"),
        note: None,
        task_ids: vec![TaskId(task.parse().expect("an id"))],
    };
    let account = account_id(app).await;
    keep::keep(&app.cx, account, RoundId(seed), draft).await.expect("a round");
    // Its task is gone by the time of the repetition.
    for component in ["screen", "diverter", "coupling"] {
        let path = format!("/v1/components/{}/retire", place.component(component));
        app.send("POST", &path, &json!({"on": "2026-03-01"})).await.expect(200);
    }
    later(app);
    app.refresh().await;
    assert!(place.tasks(app).await.iter().all(|one| id_of(one) != task), "it is gone");
    let kept = ask(app, "/v1/rounds", &body).await.expect(201);
    assert_eq!((id_of(&kept), app.walk("/v1/rounds", 50).await.len()), (seed.to_string(), 1));
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
