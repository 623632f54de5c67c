//! Versions, things that are not there, and requests that are sent twice.

use super::{client, client_as, day, gauge, place, property, screen, system};
use crate::support::app::{App, over_both};
use eavesward_client::contract::{
    Duty, DutySettingsRequest, ProblemCode, Property, ReplaceRequest, RetireRequest, VisitItem, VisitRequest,
    WithdrawRequest,
};
use eavesward_client::{Client, Error, ListQuery, requests, system_update_from};
use std::fmt::Debug;
use uuid::Uuid;

over_both! {
    the_slower_of_two_is_told_and_changes_nothing;
    what_is_not_there_is_not_found;
    what_is_in_use_stays;
    a_refused_body_names_its_fields;
    a_request_under_one_key_makes_one_thing;
}

#[track_caller]
fn outdated<T: Debug>(answer: Result<T, Error>) {
    let error = answer.expect_err("the version is old");
    assert!(error.is_version_mismatch() && error.is_refused(), "{error}");
    assert_eq!(error.code(), Some(&ProblemCode::VersionMismatch));
    assert!(!error.is_not_found() && !error.is_invalid() && !error.is_conflict(), "{error}");
    assert!(!error.may_have_been_applied(), "the answer to the only attempt came: {error}");
    assert_eq!(error.attempts(), 1, "{error}");
    assert!(error.request_id().is_some_and(|id| error.to_string().contains(id)), "{error}");
}

async fn the_slower_of_two_is_told_and_changes_nothing(app: &App) {
    let client = client(app);
    let place = place(&client).await;
    let (first, slow) = (property("greenhouse, faster"), property("greenhouse, slower"));
    let (id, version) = (place.property.id, place.property.version);
    let faster = client.properties().update(id, version, &first).await.expect("the first update");
    outdated(client.properties().update(id, version, &slow).await);
    outdated(client.properties().delete(id, version).await);
    assert_eq!(client.properties().get(id).await.expect("it"), faster);

    let (id, version) = (place.gauge.id, place.gauge.version);
    let faster = client.gauges().update(id, version, &gauge("faster")).await.expect("the first update");
    outdated(client.gauges().update(id, version, &gauge("slower")).await);
    outdated(client.gauges().delete(id, version).await);
    assert_eq!(client.gauges().get(id).await.expect("it"), faster);

    let (id, version) = (place.system.id, place.system.version);
    let mut update = system_update_from(&place.system).expect("one roof");
    "faster".clone_into(&mut update.name);
    client.systems().update(id, version, &update).await.expect("the first update");
    "slower".clone_into(&mut update.name);
    outdated(client.systems().update(id, version, &update).await);
    assert_eq!(client.systems().get(id).await.expect("it").name, "faster");

    let old = &place.system.components[0];
    client.components().update(old.id, old.version, &screen("faster")).await.expect("the first update");
    outdated(client.components().update(old.id, old.version, &screen("slower")).await);
    assert_eq!(client.components().get(old.id).await.expect("it").name, "faster");

    let own = DutySettingsRequest { longest_interval_months: Some(9), ..DutySettingsRequest::default() };
    let faster = client.duties().set(&Duty::CleanScreen, 0, &own).await.expect("the first setting");
    outdated(client.duties().set(&Duty::CleanScreen, 0, &DutySettingsRequest::default()).await);
    outdated(client.duties().reset(&Duty::CleanScreen, 2).await);
    assert_eq!(client.duties().get(&Duty::CleanScreen).await.expect("it"), faster);

    let visit = visit(place.system.id, old.id);
    let logged = client.visits().log(&visit).await.expect("a visit");
    let corrected =
        client.visits().correct(logged.id, logged.version, &visit).await.expect("the first correction");
    outdated(client.visits().correct(logged.id, logged.version, &visit).await);
    assert_eq!(client.visits().get(logged.id).await.expect("it"), corrected);
}

fn visit(system_id: Uuid, component_id: Uuid) -> VisitRequest {
    let item = VisitItem::done(component_id, Duty::CleanScreen);
    VisitRequest { system_id, visited_on: day("2026-02-20"), visited_by: None, items: vec![item], note: None }
}

#[track_caller]
fn absent<T: Debug>(answer: Result<T, Error>) {
    let error = answer.expect_err("there is no such thing");
    assert!(error.is_not_found() && error.is_refused() && !error.may_have_been_applied(), "{error}");
    assert_eq!(error.code(), Some(&ProblemCode::NotFound), "{error}");
    assert!(!error.is_unauthorized() && !error.is_timeout() && !error.is_connect(), "{error}");
}

async fn nothing_is_found(
    client: &Client,
    property_id: Uuid,
    gauge_id: Uuid,
    system_id: Uuid,
    component: Uuid,
) {
    let on = day("2026-02-20");
    absent(client.properties().get(property_id).await);
    absent(client.properties().update(property_id, 1, &property("x")).await);
    absent(client.properties().delete(property_id, 1).await);
    absent(client.gauges().get(gauge_id).await);
    absent(client.gauges().rain(gauge_id, &eavesward_client::RainQuery::default()).all().await);
    absent(client.gauges().delete_rain(gauge_id, on, on).await);
    absent(client.gauges().delete(gauge_id, 1).await);
    absent(client.systems().get(system_id).await);
    absent(client.systems().status(system_id).await);
    absent(client.systems().status_if_changed(system_id, Some("\"x\"")).await);
    absent(client.systems().forecast(system_id, &eavesward_client::ForecastQuery::default()).await);
    absent(client.systems().components(system_id, &eavesward_client::ComponentQuery::default()).all().await);
    absent(client.systems().add_component(system_id, &screen("x")).await);
    absent(client.components().get(component).await);
    absent(client.components().replace(component, &ReplaceRequest { on, part: None, name: None }).await);
    absent(client.components().retire(component, &RetireRequest { on }).await);
    absent(client.tasks().get(component).await);
}

async fn what_is_not_there_is_not_found(app: &App) {
    let client = client(app);
    let unknown = Uuid::from_u128(0x0193_0000_0000_7000_8000_0000_0000_0001);
    nothing_is_found(&client, unknown, unknown, unknown, unknown).await;
    absent(client.visits().get(unknown).await);
    absent(client.visits().withdraw(unknown, &WithdrawRequest { because: "x".to_owned() }).await);
    absent(client.keys().revoke(unknown).await);
    absent(client.duties().get(&Duty::from("polish")).await);
    // What another account has is not there either.
    let place = place(&client).await;
    let other = client_as(app, &app.other_account().await);
    let component = place.system.components[0].id;
    nothing_is_found(&other, place.property.id, place.gauge.id, place.system.id, component).await;
    assert_eq!(client.systems().get(place.system.id).await.expect("it is untouched"), place.system);
}

async fn what_is_in_use_stays(app: &App) {
    let client = client(app);
    let place = place(&client).await;
    for error in [
        client
            .properties()
            .delete(place.property.id, place.property.version)
            .await
            .expect_err("a system is there"),
        client.gauges().delete(place.gauge.id, place.gauge.version).await.expect_err("a system uses it"),
    ] {
        assert!(error.is_conflict() && error.code() == Some(&ProblemCode::InUse), "{error}");
        assert!(error.to_string().contains("system"), "it says what uses it: {error}");
    }
    client.properties().get(place.property.id).await.expect("it is still there");
}

async fn a_refused_body_names_its_fields(app: &App) {
    let client = client(app);
    let mut wrong = property("x");
    (wrong.latitude_deg, wrong.time_zone) = (91.0, "Alder/Row".to_owned());
    let error = client.properties().create(&wrong).await.expect_err("two wrong fields");
    assert!(error.is_invalid() && error.code() == Some(&ProblemCode::Invalid), "{error}");
    let mut fields: Vec<&str> =
        error.problem().expect("a problem").errors.iter().map(|field| field.field.as_str()).collect();
    fields.sort_unstable();
    assert_eq!(fields, ["latitude_deg", "time_zone"], "{error}");
    assert!(error.to_string().contains("Alder/Row"), "its text has the value: {error}");
}

async fn a_request_under_one_key_makes_one_thing(app: &App) {
    let client = client(app);
    let request = requests::create_property(&property("orchard")).expect("JSON");
    let keyed = request.clone().idempotency_key("job-4711-orchard").expect("a key");
    let first: Property = client.call(keyed.clone()).await.expect("it is made");
    let second: Property = client.call(keyed).await.expect("it was made");
    assert_eq!(first, second);
    let all = client.properties().list(&ListQuery::default()).all().await.expect("properties");
    assert_eq!(all, std::slice::from_ref(&first));
    let other = requests::create_property(&property("terrace")).expect("JSON");
    let other = other.idempotency_key("job-4711-orchard").expect("a key");
    let error = client.call::<Property>(other).await.expect_err("the key is used");
    assert!(error.is_invalid() && error.code() == Some(&ProblemCode::IdempotencyMismatch), "{error}");
    // Without a key each call is one of its own, and visits and systems are kept apart in the same way.
    let third: Property = client.call(request).await.expect("another one");
    assert_ne!(first.id, third.id);
    let under = client.gauges().create(&gauge("orchard gauge")).await.expect("a gauge");
    let request = requests::create_system(&system(&first, &under, "orchard shed")).expect("JSON");
    let keyed = request.idempotency_key("job-4712").expect("a key");
    let made: eavesward_client::contract::System = client.call(keyed.clone()).await.expect("it is made");
    let again: eavesward_client::contract::System = client.call(keyed).await.expect("it was made");
    assert_eq!(made, again, "with its components");
    let logged = requests::log_visit(&visit(made.id, made.components[0].id)).expect("JSON");
    let keyed = logged.idempotency_key("job-4713").expect("a key");
    let once: eavesward_client::contract::Visit = client.call(keyed.clone()).await.expect("it is logged");
    let twice: eavesward_client::contract::Visit = client.call(keyed).await.expect("it was logged");
    assert_eq!(once, twice);
}
