//! Lists as streams over several pages.

use super::{client, day, gauge, parts, place, property, rain_of, screen};
use crate::support::app::{App, over_both};
use eavesward_client::contract::{KeyRequest, Scope, VisitItem, VisitRequest};
use eavesward_client::{Client, Error, Items, ListQuery, RainQuery, SystemQuery, TaskQuery, VisitQuery};
use std::fmt::Debug;

over_both! {
    a_stream_gives_what_one_large_page_gives;
    a_stream_takes_up_where_a_page_ended;
    a_cursor_of_another_list_ends_the_stream_with_an_error;
}

/// Both are the same and there was more than one page.
#[track_caller]
fn same<T: PartialEq + Debug>(small: Result<Vec<T>, Error>, large: Result<Vec<T>, Error>, limit: usize) {
    let (small, large) = (small.expect("the small pages"), large.expect("the large page"));
    assert!(large.len() > 2 * limit, "{} rows are not three pages of {limit}", large.len());
    assert_eq!(small, large);
}

async fn fill(app: &App, client: &Client) -> super::Place {
    let place = place(client).await;
    for name in ["orchard", "terrace", "tool shed", "seed store", "pump house", "bee garden"] {
        let made = client.properties().create(&property(name)).await.expect("a property");
        let under = client.gauges().create(&gauge(name)).await.expect("a gauge");
        client.systems().create(&super::system(&made, &under, name)).await.expect("a system");
        let key = KeyRequest { name: name.to_owned(), scopes: vec![Scope::Read], expires_at: None };
        client.keys().create(&key).await.expect("a key");
    }
    client.gauges().send_rain(place.gauge.id, &rain_of("2026-01-01", 25, 1.0), true).await.expect("rain");
    let items =
        place.system.components.iter().filter(|component| component.name == screen("north screen").name);
    let items: Vec<VisitItem> = items
        .map(|screen| VisitItem {
            component_id: screen.id,
            duty: eavesward_client::contract::Duty::CleanScreen,
            done: true,
            finding: None,
            note: None,
        })
        .collect();
    for on in 1..=7 {
        let on = day(&format!("2026-02-{on:02}"));
        let visit = VisitRequest {
            system_id: place.system.id,
            visited_on: on,
            visited_by: None,
            items: items.clone(),
            note: None,
        };
        let logged = client.visits().log(&visit).await.expect("a visit");
        if on == day("2026-02-07") {
            let mut version = logged.version;
            for note in ["one", "two", "three", "four", "five", "six"] {
                let again = VisitRequest { note: Some(note.to_owned()), ..visit.clone() };
                version =
                    client.visits().correct(logged.id, version, &again).await.expect("a correction").version;
            }
        }
    }
    app.refresh().await;
    place
}

async fn a_stream_gives_what_one_large_page_gives(app: &App) {
    let client = client(app);
    let place = fill(app, &client).await;
    let query = |limit| ListQuery::builder().limit(limit).build();
    same(
        client.properties().list(&query(2)).all().await,
        client.properties().list(&query(500)).all().await,
        2,
    );
    same(client.gauges().list(&query(2)).all().await, client.gauges().list(&query(500)).all().await, 2);
    same(client.keys().list(&query(3)).all().await, client.keys().list(&query(500)).all().await, 3);
    let query = |limit| SystemQuery::builder().limit(limit).build();
    same(client.systems().list(&query(3)).all().await, client.systems().list(&query(500)).all().await, 3);
    let query = |limit| TaskQuery::builder().limit(limit).build();
    same(client.tasks().list(&query(5)).all().await, client.tasks().list(&query(500)).all().await, 5);
    let query = |limit| VisitQuery::builder().limit(limit).build();
    same(client.visits().list(&query(1)).all().await, client.visits().list(&query(500)).all().await, 1);
    let query = |limit| RainQuery::builder().limit(limit).build();
    let rain = |limit| client.gauges().rain(place.gauge.id, &query(limit)).all();
    same(rain(4).await, rain(500).await, 4);
    let last = client.visits().list(&VisitQuery::builder().from(day("2026-02-07")).build()).next().await;
    let last = last.expect("one").expect("the corrected visit");
    let query = |limit| ListQuery::builder().limit(limit).build();
    let revisions = |limit| client.visits().revisions(last.id, &query(limit)).all();
    same(revisions(2).await, revisions(500).await, 2);
}

async fn a_stream_takes_up_where_a_page_ended(app: &App) {
    let client = client(app);
    let place = place(&client).await;
    client.gauges().send_rain(place.gauge.id, &rain_of("2026-01-01", 9, 1.0), true).await.expect("rain");
    let page = client
        .gauges()
        .rain_page(place.gauge.id, &RainQuery::builder().limit(4).build())
        .await
        .expect("a page");
    assert_eq!(page.items.len(), 4);
    let rest = RainQuery::builder().limit(4).cursor(page.next_cursor.expect("there is more")).build();
    let rest = client.gauges().rain(place.gauge.id, &rest).all().await.expect("the rest");
    let dates: Vec<_> = page.items.iter().chain(&rest).map(|reading| reading.date).collect();
    assert_eq!(dates, day("2026-01-01").iter_days().take(9).collect::<Vec<_>>());
}

async fn a_cursor_of_another_list_ends_the_stream_with_an_error(app: &App) {
    let client = client(app);
    let place = place(&client).await;
    for one in parts() {
        client.systems().add_component(place.system.id, &one).await.expect("a component");
    }
    client.properties().create(&property("orchard")).await.expect("a second property");
    let page = client.properties().page(&ListQuery::builder().limit(1).build()).await.expect("a page");
    let cursor = page.next_cursor.expect("there is more");
    let mut gauges: Items<_> = client.gauges().list(&ListQuery::builder().cursor(cursor).build());
    let error = gauges.next().await.expect("an answer").expect_err("a refusal");
    assert!(error.is_invalid() && error.status() == Some(400), "{error}");
    assert!(gauges.next().await.is_none(), "the stream ends");
}
