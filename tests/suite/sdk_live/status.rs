//! Polling a status.

use super::{client, place, rain_of};
use crate::support::app::{App, over_both};
use eavesward_client::contract::SystemStatus;
use eavesward_client::{Client, StatusChange};
use uuid::Uuid;

over_both! {
    a_poller_hears_of_rain_and_of_nothing_else;
}

async fn fresh(client: &Client, id: Uuid, etag: Option<&str>) -> (SystemStatus, String) {
    match client.systems().status_if_changed(id, etag).await.expect("a status") {
        StatusChange::Fresh { status, etag, .. } => (*status, etag),
        other => panic!("it has changed since {etag:?}, and the answer is {other:?}"),
    }
}

async fn a_poller_hears_of_rain_and_of_nothing_else(app: &App) {
    let client = client(app);
    let place = place(&client).await;
    let id = place.system.id;
    client
        .gauges()
        .send_rain(place.gauge.id, &rain_of("2026-02-01", 20, 0.0), &super::whole())
        .await
        .expect("rain");
    app.refresh().await;
    let (dry, etag) = fresh(&client, id, None).await;
    assert_eq!((dry.runoff_30_days_mm, dry.runoff_30_days_l), (0.0, 0.0));
    assert_eq!(dry, client.systems().status(id).await.expect("the same"));
    // The tag is the whole header, and stays good while nothing happens.
    for _ in 0..2 {
        let change = client.systems().status_if_changed(id, Some(&etag)).await.expect("a status");
        assert_eq!(change, StatusChange::Unchanged);
    }
    // The same rain once more changes nothing.
    client
        .gauges()
        .send_rain(place.gauge.id, &rain_of("2026-02-01", 20, 0.0), &super::whole())
        .await
        .expect("rain");
    app.refresh().await;
    let change = client.systems().status_if_changed(id, Some(&etag)).await.expect("a status");
    assert_eq!(change, StatusChange::Unchanged);
    client
        .gauges()
        .send_rain(place.gauge.id, &rain_of("2026-02-27", 1, 10.5), &super::whole())
        .await
        .expect("rain");
    app.refresh().await;
    let (wet, newer) = fresh(&client, id, Some(&etag)).await;
    // 0.9 of what comes after the first 0.5 mm, off 50 m2.
    assert!(
        (wet.runoff_7_days_mm - 9.0).abs() < 1e-9 && (wet.runoff_7_days_l - 450.0).abs() < 1e-6,
        "{wet:?}"
    );
    assert_ne!(etag, newer);
    let change = client.systems().status_if_changed(id, Some(&newer)).await.expect("a status");
    assert_eq!(change, StatusChange::Unchanged);
    let (back, _) = fresh(&client, id, Some("\"never seen\"")).await;
    assert_eq!(back, wet);
}
