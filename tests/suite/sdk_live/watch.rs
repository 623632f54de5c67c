//! Watching a status of the live service, both ways.

use super::{client, client_as, place, rain_of};
use crate::support::app::{App, over_both};
use eavesward_client::contract::KeyRequest;
use eavesward_client::{StatusSeen, SystemQuery, Watch, WatchOptions};
use std::time::Duration;

over_both! {
    a_change_is_seen_by_those_who_ask_and_by_those_who_stay;
    a_key_of_one_system_is_enough_and_ends_the_watch_when_it_is_revoked;
}

fn quick() -> WatchOptions {
    WatchOptions::builder().at_least(Duration::from_millis(20)).at_most(Duration::from_millis(100)).build()
}

async fn next(watch: &mut Watch) -> StatusSeen {
    let next = tokio::time::timeout(Duration::from_secs(20), watch.next());
    next.await.expect("in time").expect("goes on").expect("a status")
}

async fn a_change_is_seen_by_those_who_ask_and_by_those_who_stay(app: &App) {
    let client = client(app);
    let place = place(&client).await;
    app.refresh().await;
    let (asks, stays) = (
        client.systems().watch(place.system.id, &quick()),
        client.systems().events(place.system.id, &quick()),
    );
    let mut watches = [asks, stays];
    let first = next(&mut watches[0]).await;
    assert_eq!(next(&mut watches[1]).await, first);
    client
        .gauges()
        .send_rain(place.gauge.id, &rain_of("2026-02-20", 5, 3.0), &super::whole())
        .await
        .expect("rain");
    app.refresh().await;
    let second = next(&mut watches[0]).await;
    assert_eq!(next(&mut watches[1]).await, second);
    assert!(second.etag != first.etag && second.status.rain_through.is_some(), "{second:?}");
    // Whoever kept the tag is told of what comes after it alone.
    let mut kept = quick();
    kept.known = Some(second.etag.clone());
    let systems = client.systems();
    let mut watches = [systems.watch(place.system.id, &kept), systems.events(place.system.id, &kept)];
    let waits = tokio::time::timeout(Duration::from_millis(600), watches[0].next());
    waits.await.expect_err("nothing is new");
    app.at("2026-03-02T00:00:01Z").await;
    let third = next(&mut watches[0]).await;
    assert_eq!(third.status.as_of.to_string(), "2026-03-02");
    assert_eq!(next(&mut watches[1]).await, third);
}

async fn a_key_of_one_system_is_enough_and_ends_the_watch_when_it_is_revoked(app: &App) {
    let all = client(app);
    let place = place(&all).await;
    app.refresh().await;
    let made =
        all.keys().create(&KeyRequest::of_system("hall display", place.system.id)).await.expect("a key");
    assert_eq!(made.key.system_id, Some(place.system.id));
    let display = client_as(app, &made.secret);
    let refused = display.systems().page(&SystemQuery::default()).await.expect_err("not for a display");
    assert!(refused.is_one_system_only() && refused.is_scope_missing() && refused.is_refused(), "{refused}");
    let systems = display.systems();
    for mut watch in [systems.watch(place.system.id, &quick()), systems.events(place.system.id, &quick())] {
        assert_eq!(next(&mut watch).await.status.system_id, place.system.id);
    }
    let mut watches = [systems.watch(place.system.id, &quick()), systems.events(place.system.id, &quick())];
    for watch in &mut watches {
        next(watch).await;
    }
    all.keys().revoke(made.key.id).await.expect("revoking");
    for watch in &mut watches {
        let last = tokio::time::timeout(Duration::from_secs(20), watch.next()).await.expect("in time");
        assert!(last.expect("an item").expect_err("shut out").is_unauthorized());
        assert!(watch.next().await.is_none());
    }
}
