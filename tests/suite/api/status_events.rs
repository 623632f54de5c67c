//! Following a status: what comes over a connection that stays open, and when it ends.

use super::scenario::{id_of, place, rain, three};
use crate::support::app::{App, Kind, Reply, over_both};
use eavesward_service::domain::background::refresh;
use serde_json::{Value, json};
use std::time::Duration;

over_both! {
    it_comes_at_once_and_again_when_it_changes;
    who_has_it_already_is_not_told_again;
    what_another_replica_wrote_is_told_too;
    it_ends_when_the_key_does;
    it_ends_when_the_service_stops;
}

/// Longer than a stream looks at the store by itself, and than a revoked key may go on.
const LOOKED: Duration = Duration::from_secs(12);

/// Somebody who reads a stream.
struct Reader {
    response: reqwest::Response,
    text: String,
}

/// One event.
#[derive(Debug)]
struct Event {
    id: String,
    data: Value,
    raw: String,
}

impl Reader {
    async fn of(request: reqwest::RequestBuilder) -> Self {
        let response = request.send().await.expect("an answer");
        assert_eq!(response.status(), 200);
        let header = |name: &str| response.headers()[name].to_str().expect("text").to_owned();
        assert_eq!(header("content-type"), "text/event-stream");
        assert_eq!(header("cache-control"), "no-store");
        assert!(
            !response.headers().contains_key("content-encoding"),
            "plain, and `identity` is not to be named"
        );
        Self { response, text: String::new() }
    }

    /// The next block of lines; nothing at the end of the stream.
    async fn block(&mut self) -> Option<String> {
        loop {
            if let Some((block, rest)) = self.text.split_once("\n\n") {
                let (block, rest) = (block.to_owned(), rest.to_owned());
                self.text = rest;
                return Some(block);
            }
            let piece =
                tokio::time::timeout(LOOKED, self.response.chunk()).await.expect("in time").ok().flatten()?;
            self.text.push_str(std::str::from_utf8(&piece).expect("UTF-8"));
        }
    }

    /// The next event.
    async fn event(&mut self) -> Event {
        loop {
            let block = self.block().await.expect("the stream goes on");
            let Some(rest) = block.strip_prefix("event: status\n") else {
                assert!(block.starts_with(':') || block.starts_with("retry: "), "{block}");
                continue;
            };
            let lines: Vec<&str> = rest.lines().collect();
            assert_eq!(lines.len(), 2, "{block}");
            let raw = lines[1].strip_prefix("data: ").expect("data").to_owned();
            let id = lines[0].strip_prefix("id: ").expect("an id").to_owned();
            return Event { id, data: serde_json::from_str(&raw).expect("JSON"), raw };
        }
    }

    /// Reads on until the stream ends; gives the events that came by then.
    async fn end(mut self) -> usize {
        let mut events = 0;
        while let Some(block) = self.block().await {
            events += usize::from(block.starts_with("event: "));
        }
        events
    }
}

fn path(system: &str) -> String {
    format!("/v1/systems/{system}/status/events")
}

async fn it_comes_at_once_and_again_when_it_changes(app: &App) {
    let place = place(app, three()).await;
    app.refresh().await;
    // Whoever would take it compressed gets it plain, for a compression waits for more.
    let request = app.request("GET", &path(place.system_id())).header("Accept-Encoding", "br, gzip");
    let mut reader = Reader::of(request).await;
    assert_eq!(reader.block().await.as_deref(), Some("retry: 5000"));
    let first = reader.event().await;
    // What is polled and what is followed are the same, tag and bytes.
    let polled = Reply::of(app.request("GET", &format!("/v1/systems/{}/status", place.system_id()))).await;
    assert_eq!((polled.header("etag"), polled.text.as_str()), (first.id.as_str(), first.raw.as_str()));
    // A refresh that finds the same tells nothing, so the next event is the rain.
    let body = super::scenario::property();
    app.put(&format!("/v1/properties/{}", place.property), 1, &body).await.expect(200);
    app.refresh().await;
    rain(app, &place.gauge, "2026-02-20", 5, 3.0).await;
    app.refresh().await;
    let second = reader.event().await;
    assert_eq!(second.data["rain_through"], "2026-02-24");
    assert_ne!(first.id, second.id);
    app.at("2026-03-02T00:00:00Z").await;
    assert_eq!(reader.event().await.data["as_of"], "2026-03-02");
    let unknown = Reply::of(app.request("GET", &path("00000000-0000-4000-8000-000000000000"))).await;
    assert_eq!(unknown.status, 404);
    unknown.problem("not_found");
    let head = Reply::of(app.request("HEAD", &path(place.system_id()))).await;
    assert_eq!((head.status, head.text.as_str()), (200, ""), "an answer without a body ends");
}

async fn who_has_it_already_is_not_told_again(app: &App) {
    let place = place(app, three()).await;
    app.refresh().await;
    let path = path(place.system_id());
    let known = Reader::of(app.request("GET", &path)).await.event().await;
    for id in [known.id.as_str(), known.id.trim_matches('"')] {
        let mut reader = Reader::of(app.request("GET", &path).header("Last-Event-ID", id)).await;
        assert_eq!(reader.block().await.as_deref(), Some("retry: 5000"));
        rain(app, &place.gauge, "2026-02-20", 1, if id.starts_with('"') { 2.0 } else { 3.0 }).await;
        app.refresh().await;
        let event = reader.event().await;
        assert_ne!(event.id, known.id, "the first event is one that is new");
        rain(app, &place.gauge, "2026-02-20", 1, 0.0).await;
        app.refresh().await;
        let polled = app.get(&format!("/v1/systems/{}/status", place.system_id())).await;
        assert_eq!(reader.event().await.data, polled);
        // Back to where nothing was read.
        let days = "/rain?from=2026-02-20&to=2026-02-20";
        let gone = app.request("DELETE", &format!("/v1/gauges/{}{days}", place.gauge));
        assert_eq!(Reply::of(gone).await.status, 204);
        app.refresh().await;
        assert_eq!(reader.event().await.id, known.id);
    }
    let other =
        Reader::of(app.request("GET", &path).header("Last-Event-ID", "never seen")).await.event().await;
    assert_eq!(other.id, known.id);
}

async fn what_another_replica_wrote_is_told_too(app: &App) {
    let place = place(app, three()).await;
    app.refresh().await;
    let mut reader = Reader::of(app.request("GET", &path(place.system_id()))).await;
    let first = reader.event().await;
    // A context of its own over the same store: what it writes rings nobody here.
    let replica =
        eavesward_service::domain::context::Context::new(app.cx.store.clone(), app.cx.clock.clone());
    let day = chrono::NaiveDate::from_ymd_opt(2026, 2, 25).expect("a day");
    let rain = eavesward_service::domain::model::rain::RainDay { date: day, rain_mm: 7.0 };
    let account = replica.store.accounts().await.expect("accounts")[0].id;
    let gauge = eavesward_service::domain::base::ids::GaugeId(place.gauge.parse().expect("an id"));
    replica.store.put_rain(account, gauge, &[rain]).await.expect("stored").expect("a gauge");
    refresh::run(&replica).await.expect("refreshing");
    let second = reader.event().await;
    assert_ne!(first.id, second.id);
    assert_eq!(second.data["rain_through"], "2026-02-25");
}

async fn it_ends_when_the_key_does(app: &App) {
    let place = place(app, three()).await;
    app.refresh().await;
    let made = app.post("/v1/keys", &json!({"name": "hall display", "scopes": ["read"]})).await;
    let brief = json!({"name": "visitor", "scopes": ["read"], "expires_at": "2026-03-01T12:10:00Z"});
    let brief = app.post("/v1/keys", &brief).await;
    let follow = async |made: &Value| {
        let secret = made["secret"].as_str().expect("a secret");
        let mut reader = Reader::of(app.request_as(secret, "GET", &path(place.system_id()))).await;
        reader.event().await;
        reader
    };
    let (revoked, expired) = (follow(&made).await, follow(&brief).await);
    let gone = app.request("DELETE", &format!("/v1/keys/{}", id_of(&made["key"])));
    assert_eq!(Reply::of(gone).await.status, 204);
    app.clock.set("2026-03-01T12:10:00Z".parse().expect("an instant"));
    let ended = tokio::time::timeout(LOOKED, async { tokio::join!(revoked.end(), expired.end()) });
    assert_eq!(ended.await.expect("both end within seconds"), (0, 0), "and nothing more is told");
}

async fn it_ends_when_the_service_stops(app: &App) {
    let place = place(app, three()).await;
    app.refresh().await;
    let mut reader = Reader::of(app.request("GET", &path(place.system_id()))).await;
    reader.event().await;
    let stopping = tokio::spawn(app.stopper().stop());
    let ended = tokio::time::timeout(Duration::from_secs(3), reader.end());
    assert_eq!(ended.await.expect("at once, and not after the longest wait"), 0);
    stopping.await.expect("it stopped");
}

#[tokio::test]
async fn a_quiet_stream_shows_that_it_lives() {
    let app = App::start(Kind::Sqlite).await;
    let place = place(&app, three()).await;
    app.refresh().await;
    let mut reader = Reader::of(app.request("GET", &path(place.system_id()))).await;
    reader.event().await;
    // Between two beats there is more than one look, and none of them says anything.
    tokio::time::sleep(Duration::from_secs(10)).await;
    assert_eq!(reader.block().await.as_deref(), Some(": nothing new"));
    app.stop().await;
}

#[tokio::test]
async fn one_key_leaves_room_for_another() {
    let app = App::start(Kind::Sqlite).await;
    let place = place(&app, three()).await;
    app.refresh().await;
    let path = path(place.system_id());
    let mut held = Vec::new();
    for _ in 0..8 {
        held.push(Reader::of(app.request("GET", &path)).await);
    }
    let full = Reply::of(app.request("GET", &path)).await;
    assert_eq!((full.status, full.header("retry-after")), (429, "60"));
    let problem = full.problem("rate_limited");
    assert!(problem["detail"].as_str().expect("a detail").contains("The key has its 8 streams"), "{problem}");
    let made = app.post("/v1/keys", &json!({"name": "hall display", "scopes": ["read"]})).await;
    let secret = made["secret"].as_str().expect("a secret");
    Reader::of(app.request_as(secret, "GET", &path)).await.event().await;
    app.stop().await;
}

#[tokio::test]
async fn there_is_room_for_so_many_and_a_place_that_is_left_is_free_again() {
    let app = App::start_with(Kind::Sqlite, |layer| layer.streams = Some(2)).await;
    let place = place(&app, three()).await;
    app.refresh().await;
    let path = path(place.system_id());
    let follow = async || Reader::of(app.request("GET", &path)).await;
    let (first, _second) = (follow().await, follow().await);
    let full = Reply::of(app.request("GET", &path)).await;
    assert_eq!((full.status, full.header("retry-after")), (503, "60"));
    let problem = full.problem("unavailable");
    assert!(problem["detail"].as_str().expect("a detail").contains("poll"), "{problem}");
    app.get(&format!("/v1/systems/{}/status", place.system_id())).await;
    drop(first);
    for mm in 1..100 {
        // That a reader left is noticed when something is written to it.
        rain(&app, &place.gauge, "2026-02-20", 1, f64::from(mm)).await;
        app.refresh().await;
        if app.request("GET", &path).send().await.expect("an answer").status() == 200 {
            app.stop().await;
            return;
        }
        tokio::time::sleep(Duration::from_millis(300)).await;
    }
    panic!("the place of somebody who left stays taken");
}
