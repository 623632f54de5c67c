//! What a key may do, as the SDK tells it.

use super::{client, client_as, place, property, rain_of};
use crate::support::app::{App, over_both};
use eavesward_client::contract::{Duty, KeyRequest, ProblemCode, Scope};
use eavesward_client::{Client, Error, ListQuery, SystemQuery, TaskQuery};
use std::fmt::Debug;

over_both! {
    a_key_that_reads_cannot_write;
    a_key_that_is_no_longer_good_is_not_let_in;
}

async fn key(client: &Client, scopes: Vec<Scope>) -> (uuid::Uuid, String) {
    let request = KeyRequest::new("terrace tablet", scopes);
    let made = client.keys().create(&request).await.expect("a key");
    (made.key.id, made.secret)
}

#[track_caller]
fn lacks<T: Debug>(answer: Result<T, Error>, scope: &str) {
    let error = answer.expect_err("the scope is missing");
    assert!(error.is_scope_missing() && error.is_refused(), "{error}");
    assert!(!error.is_unauthorized() && !error.is_not_found(), "{error}");
    assert_eq!(error.code(), Some(&ProblemCode::ScopeMissing));
    assert!(error.to_string().contains(scope), "it names the scope: {error}");
    assert_eq!(error.attempts(), 1, "nothing is gained by repeating it: {error}");
}

async fn a_key_that_reads_cannot_write(app: &App) {
    let all = client(app);
    let place = place(&all).await;
    let (_, secret) = key(&all, vec![Scope::Read]).await;
    let reader = client_as(app, &secret);
    assert_eq!(reader.systems().list(&SystemQuery::default()).all().await.expect("reading").len(), 1);
    reader.tasks().page(&TaskQuery::default()).await.expect("reading");
    lacks(reader.properties().create(&property("orchard")).await, "write");
    lacks(reader.properties().delete(place.property.id, place.property.version).await, "write");
    lacks(
        reader.gauges().send_rain(place.gauge.id, &rain_of("2026-01-01", 1, 1.0), &super::whole()).await,
        "write",
    );
    lacks(reader.duties().reset(&Duty::CleanScreen, 0).await, "write");
    assert_eq!(
        reader.duties().list(&eavesward_client::DutyQuery::default()).all().await.expect("reading").len(),
        21
    );
    lacks(reader.keys().list(&ListQuery::default()).all().await, "admin");
    let (_, secret) = key(&all, vec![Scope::Write]).await;
    let writer = client_as(app, &secret);
    writer
        .gauges()
        .send_rain(place.gauge.id, &rain_of("2026-01-01", 1, 1.0), &super::whole())
        .await
        .expect("a gauge's own key");
    lacks(writer.systems().get(place.system.id).await, "read");
    assert_eq!(
        all.properties().list(&ListQuery::default()).all().await.expect("properties"),
        [place.property]
    );
}

#[track_caller]
fn shut_out<T: Debug>(answer: Result<T, Error>, secret: &str) {
    let error = answer.expect_err("the key is no good");
    assert!(error.is_unauthorized() && error.is_refused() && !error.is_scope_missing(), "{error}");
    assert_eq!(error.code(), Some(&ProblemCode::Unauthorized));
    assert!(!format!("{error} {error:?}").contains(secret), "no secret is told");
}

async fn a_key_that_is_no_longer_good_is_not_let_in(app: &App) {
    let all = client(app);
    let (id, secret) = key(&all, vec![Scope::Read, Scope::Write]).await;
    let tablet = client_as(app, &secret);
    tablet.account().await.expect("it is let in");
    all.keys().revoke(id).await.expect("revoking");
    shut_out(tablet.account().await, &secret);
    shut_out(tablet.properties().create(&property("orchard")).await, &secret);
    shut_out(client_as(app, "ew_nonsense").account().await, "ew_nonsense");
}
