//! Metrics on an address of their own, read by somebody else's reader of the format.

use super::scenario::{place, three};
use crate::support::app::{App, Kind, Reply};
use crate::support::python::read_with;
use serde_json::{Value, json};

async fn start(kind: Kind) -> App {
    App::start_with(kind, |layer| {
        layer.metrics_bind = Some("127.0.0.1:0".to_owned());
        layer.requests_per_s = Some(1);
        layer.requests_burst = Some(60);
        layer.account_streams = Some(1);
    })
    .await
}

/// The samples of the text, by name and labels.
async fn read(app: &App) -> Value {
    read_with("read_metrics.py", &app.metrics().await)
}

fn sample(read: &Value, name: &str) -> f64 {
    read["samples"][name].as_f64().unwrap_or_else(|| panic!("no {name} in {read:#}"))
}

async fn what_stops_is_seen(kind: Kind) {
    let app = start(kind).await;
    let before = read(&app).await;
    assert_eq!(sample(&before, "eavesward_stale_systems"), 0.0);
    assert_eq!(sample(&before, "eavesward_refreshed_systems_total"), 0.0);
    let home = place(&app, three()).await;
    assert_eq!(sample(&read(&app).await, "eavesward_stale_systems"), 1.0);
    app.refresh().await;
    let fresh = read(&app).await;
    assert_eq!(sample(&fresh, "eavesward_stale_systems"), 0.0);
    assert_eq!(sample(&fresh, "eavesward_oldest_stale_seconds"), 0.0);
    assert!(sample(&fresh, "eavesward_feed_entries") > 0.0, "{fresh:#}");
    // Nobody refreshes for two days.
    app.clock.set("2026-03-03T12:00:00Z".parse().expect("an instant"));
    let late = read(&app).await;
    assert_eq!(sample(&late, "eavesward_stale_systems"), 1.0);
    let waited = sample(&late, "eavesward_oldest_stale_seconds");
    assert!((36.0 * 3600.0..=37.0 * 3600.0).contains(&waited), "since midnight of the day before: {waited}");
    assert_eq!(sample(&late, "eavesward_newer_model_systems"), 0.0);
    // The job loop refreshes it, and that is counted.
    app.cx.wake_jobs();
    crate::support::until("a refresh", async || {
        (sample(&read(&app).await, "eavesward_refreshed_systems_total") >= 1.0).then_some(())
    })
    .await;
    let body = json!({"name": "rota", "to": "https://hooks.invalid/eaves"});
    let made = app.post("/v1/subscriptions", &body).await;
    let id = super::scenario::id_of(&made["subscription"]);
    app.send("POST", &format!("/v1/subscriptions/{id}/test"), &Value::Null).await;
    assert_eq!(sample(&read(&app).await, "eavesward_deliveries{state=waiting}"), 1.0);
    assert_eq!(sample(&read(&app).await, "eavesward_deliveries{state=parked}"), 0.0);
    assert!(sample(&read(&app).await, "eavesward_database_connections{state=idle}") >= 1.0);

    let path = format!("/v1/systems/{}/status/events", home.system_id());
    let stream = app.request("GET", &path).send().await.expect("a stream");
    assert_eq!(sample(&read(&app).await, "eavesward_streams_open"), 1.0);
    assert_eq!(Reply::of(app.request("GET", &path)).await.status, 429);
    assert_eq!(sample(&read(&app).await, "eavesward_refused_requests_total{bound=streams}"), 1.0);
    drop(stream);
    crate::support::until("a refusal", async || {
        (Reply::of(app.request("GET", "/v1/account")).await.status == 429).then_some(())
    })
    .await;
    assert!(sample(&read(&app).await, "eavesward_refused_requests_total{bound=rate}") >= 1.0);
    app.stop().await;
}

#[tokio::test]
async fn what_stops_is_seen_on_sqlite() {
    what_stops_is_seen(Kind::Sqlite).await;
}

#[tokio::test]
async fn what_stops_is_seen_on_postgres() {
    what_stops_is_seen(Kind::Postgres).await;
}

/// Requests are counted by their pattern: no id, name or secret becomes a label. The public address serves no metrics.
#[tokio::test]
async fn requests_are_counted_by_pattern() {
    let app =
        App::start_with(Kind::Sqlite, |layer| layer.metrics_bind = Some("127.0.0.1:0".to_owned())).await;
    let place = place(&app, json!([])).await;
    let ids = [place.property.as_str(), place.gauge.as_str(), place.system_id()];
    app.get(&format!("/v1/properties/{}", place.property)).await;
    app.get(&format!("/v1/systems/{}/status", place.system_id())).await;
    Reply::of(app.request("GET", &format!("/v1/nowhere/{}", place.gauge))).await.problem("not_found");
    Reply::of(app.anonymous("GET", "/some/path/nobody/knows")).await.problem("not_found");
    Reply::of(app.anonymous("GET", &format!("/v1/gauges/{}", place.gauge))).await.problem("unauthorized");
    Reply::of(app.anonymous("GET", "/metrics")).await.problem("not_found");
    for method in ["EAVES", "GETT", "PURGE"] {
        let made_up = Reply::of(app.request(method, "/v1/account")).await;
        assert_eq!((made_up.status, made_up.header("allow")), (405, "GET, HEAD, POST, PUT, DELETE"));
        made_up.problem("method_not_allowed");
    }
    let text = app.metrics().await;
    assert!(text.contains("eavesward_http_requests_total"), "{text}");
    for pattern in ["\"/v1/properties/{id}\"", "\"/v1/systems/{id}/status\""] {
        assert!(text.contains(pattern), "{pattern} is missing:\n{text}");
    }
    for raw in ids.iter().chain(&["nobody", "nowhere", "EAVES", "GETT", app.key.as_str()]) {
        assert!(!text.contains(raw), "{raw} is in the labels");
    }
    let read = read_with("read_metrics.py", &text);
    let page = include_str!("../../../deploy/README.md");
    for (name, help) in read["help"].as_object().expect("helps") {
        assert!(help.as_str().is_some_and(|help| help.len() > 10), "{name}");
        // The reader takes the end of a counter's name off.
        let listed =
            [format!("| `{name}` |"), format!("| `{name}_total` |")].iter().any(|row| page.contains(row));
        assert!(listed || name.starts_with("process_"), "{name} is not in the table of deploy/README.md");
    }
    app.stop().await;
}
