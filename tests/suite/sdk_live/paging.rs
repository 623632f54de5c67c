//! Lists as streams over several pages.

use super::{client, day, gauge, parts, place, property, rain_of};
use crate::support::app::{App, over_both};
use eavesward_client::contract::{Duty, KeyRequest, Scope, VisitItem, VisitRequest};
use eavesward_client::{Client, Items, ListQuery, RainQuery, SystemQuery, TaskQuery, VisitQuery};

over_both! {
    a_stream_gives_what_one_large_page_gives;
    a_stream_takes_up_where_a_page_ended;
    a_cursor_of_another_list_ends_the_stream_with_an_error;
}

/// Row by row over small pages is what one large page has, and the first small page is full and has a next.
macro_rules! same {
    ($handle:expr, $query:ident, $limit:literal) => {{
        let handle = $handle;
        let small = $query::builder().limit($limit).build();
        let page = handle.page(&small).await.expect("a page");
        let large = handle.list(&$query::builder().limit(500).build()).all().await.expect("the large page");
        assert!(large.len() > 2 * $limit, "{} rows are not three pages of {}", large.len(), $limit);
        assert_eq!(page.items, large[..$limit]);
        assert!(page.next_cursor.is_some(), "there is more");
        assert_eq!(handle.list(&small).all().await.expect("the small pages"), large);
    }};
}

async fn fill(app: &App, client: &Client) -> super::Place {
    let place = place(client).await;
    for name in ["orchard", "terrace", "tool shed", "seed store", "pump house", "bee garden"] {
        let made = client.properties().create(&property(name)).await.expect("a property");
        let under = client.gauges().create(&gauge(name)).await.expect("a gauge");
        client.systems().create(&super::system(&made, &under, name)).await.expect("a system");
        let key = KeyRequest::new(name, [Scope::Read]);
        client.keys().create(&key).await.expect("a key");
    }
    client
        .gauges()
        .send_rain(place.gauge.id, &rain_of("2026-01-01", 25, 1.0), &super::whole())
        .await
        .expect("rain");
    let screen = &place.system.components[0];
    let item = VisitItem::done(screen.id, Duty::CleanScreen);
    for on in 1..=7 {
        let on = day(&format!("2026-02-{on:02}"));
        let visit = VisitRequest {
            system_id: place.system.id,
            visited_on: on,
            visited_by: None,
            items: vec![item.clone()],
            note: None,
        };
        client.visits().log(&visit).await.expect("a visit");
    }
    app.refresh().await;
    place
}

async fn a_stream_gives_what_one_large_page_gives(app: &App) {
    let client = client(app);
    let place = fill(app, &client).await;
    same!(client.properties(), ListQuery, 2);
    same!(client.gauges(), ListQuery, 2);
    same!(client.keys(), ListQuery, 3);
    same!(client.systems(), SystemQuery, 3);
    same!(client.tasks(), TaskQuery, 5);
    same!(client.visits(), VisitQuery, 2);
    let rain = async |limit| {
        client
            .gauges()
            .rain(place.gauge.id, &RainQuery::builder().limit(limit).build())
            .all()
            .await
            .expect("days")
    };
    let large = rain(500).await;
    assert_eq!((large.len(), rain(4).await), (25, large));
}

async fn a_stream_takes_up_where_a_page_ended(app: &App) {
    let client = client(app);
    let place = place(&client).await;
    client
        .gauges()
        .send_rain(place.gauge.id, &rain_of("2026-01-01", 9, 1.0), &super::whole())
        .await
        .expect("rain");
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
