//! Headers: what the service sends of its own is declared at the operation and the status, and what is declared is sent.

use super::document::{Operation, Overrides, committed, operations};
use super::scenario::{place, three};
use crate::support::app::{App, Reply, over_both};
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::time::Duration;

over_both! {
    headers_are_declared_as_they_are_sent;
}

/// What belongs to the connection or the coding of a body and not to an operation.
const OF_THE_CONNECTION: [&str; 7] =
    ["connection", "content-encoding", "content-length", "content-type", "date", "transfer-encoding", "vary"];

fn sent(reply: &Reply) -> BTreeSet<String> {
    let names = reply.headers.keys().map(|name| name.as_str().to_owned());
    names.filter(|name| !OF_THE_CONNECTION.contains(&name.as_str())).collect()
}

/// The headers that the document has for an answer.
fn declared(document: &Value, method: &str, path: &str, status: u16) -> BTreeSet<String> {
    let operation = &document["paths"][path][method.to_lowercase()];
    let mut response = &operation["responses"][status.to_string()];
    assert!(response.is_object(), "{method} {path} has no {status}");
    if let Some(reference) = response["$ref"].as_str() {
        response = document.pointer(&reference[1..]).expect("an answer");
    }
    let headers = response["headers"].as_object().into_iter().flatten();
    let names = headers.map(|(name, header)| {
        let header = document.pointer(&header["$ref"].as_str().expect("a reference")[1..]).expect("a header");
        assert!(header["schema"]["type"].is_string() && header["description"].is_string(), "{name}");
        name.to_lowercase()
    });
    names.collect()
}

/// Holds the headers of answers to the document.
struct Held {
    document: Value,
    statuses: BTreeSet<u16>,
}

impl Held {
    fn hold(&mut self, method: &str, path: &str, reply: &Reply) {
        let (sent, mut declared) = (sent(reply), declared(&self.document, method, path, reply.status));
        // Of conflicts, only the one with a request that still runs asks to wait.
        if reply.status == 409 && !sent.contains("retry-after") {
            declared.remove("retry-after");
        }
        // Of media types, only a coding has others that are read.
        if reply.status == 415 && !sent.contains("accept-encoding") {
            declared.remove("accept-encoding");
        }
        assert_eq!(sent, declared, "{method} {path} {}: {}", reply.status, reply.text);
        self.statuses.insert(reply.status);
    }
}

async fn headers_are_declared_as_they_are_sent(app: &App) {
    let own = Overrides::of_first(app).await;
    let mut held = Held { document: committed(), statuses: BTreeSet::new() };
    let nobody = "00000000-0000-4000-8000-000000000000";
    let mut all = operations();
    // What takes something away comes last.
    let rank = |method: &str| ["GET", "POST", "PUT", "DELETE"].iter().position(|known| *known == method);
    all.sort_by_key(|operation| rank(&operation.method));
    for operation in &all {
        let (method, path) = (operation.method.as_str(), operation.path.as_str());
        let id = if path.contains("{id}") { own.id(operation) } else { "" };
        let reply = Reply::of(operation.request(app, &app.key, id, &own)).await;
        held.hold(method, path, &reply);
        if !reply.header("etag").is_empty() && method == "GET" {
            let again =
                operation.request(app, &app.key, id, &own).header("If-None-Match", reply.header("etag"));
            held.hold(method, path, &Reply::of(again).await);
        }
        held.hold(method, path, &Reply::of(operation.request(app, "ew_nobody", id, &own)).await);
        if path.contains("{id}") {
            held.hold(method, path, &Reply::of(operation.request(app, &app.key, nobody, &own)).await);
        }
        if operation.statuses.contains(&415) {
            let packed = operation.request(app, &app.key, nobody, &own).header("Content-Encoding", "br");
            let reply = Reply::of(packed).await;
            assert_eq!((reply.status, reply.header("accept-encoding")), (415, "identity"), "{}", reply.text);
            held.hold(method, path, &reply);
        }
        if operation.statuses.contains(&413) {
            let path = path.replace("{id}", nobody).replace("{duty}", "clear_roof");
            for (media_type, body) in [("text/html", "<p>"), ("application/json", "[]")] {
                let request = app.request(method, &path).header("If-Match", "\"1\"").body(body);
                refused(&mut held, operation, request.header("Content-Type", media_type)).await;
            }
        }
    }
    outside_of_v1(app, &mut held).await;
    while_it_is_busy(app, &mut held).await;
    for status in [200, 201, 204, 304, 400, 401, 404, 409, 415, 503] {
        assert!(held.statuses.contains(&status), "nothing was answered {status}: {:?}", held.statuses);
    }
}

async fn refused(held: &mut Held, operation: &Operation, request: reqwest::RequestBuilder) {
    let reply = Reply::of(request).await;
    assert!((400..500).contains(&reply.status), "{}", reply.text);
    held.hold(&operation.method, &operation.path, &reply);
}

async fn outside_of_v1(app: &App, held: &mut Held) {
    for path in ["/healthz", "/readyz", "/openapi.json"] {
        held.hold("GET", path, &Reply::of(app.anonymous("GET", path)).await);
    }
    let made = app.post("/v1/calendars", &json!({"name": "fence calendar"})).await;
    let feed = made["path"].as_str().expect("a path");
    let read = Reply::of(app.anonymous("GET", feed)).await;
    held.hold("GET", "/calendars/{token}.ics", &read);
    let again = app.anonymous("GET", feed).header("If-None-Match", read.header("etag"));
    held.hold("GET", "/calendars/{token}.ics", &Reply::of(again).await);
    held.hold(
        "GET",
        "/calendars/{token}.ics",
        &Reply::of(app.anonymous("GET", "/calendars/ewc_no.ics")).await,
    );
}

/// Answers of a service with room for one stream, which is taken.
async fn while_it_is_busy(app: &App, held: &mut Held) {
    let app = App::start_with(app.kind, |layer| {
        layer.streams = Some(1);
        layer.drain_s = Some(2);
    })
    .await;
    let place = place(&app, three()).await;
    app.refresh().await;
    let path = format!("/v1/systems/{}/status/events", place.system_id());
    let open = app.request("GET", &path).send().await.expect("a stream");
    held.hold("GET", "/v1/systems/{id}/status/events", &Reply::of(app.request("GET", &path)).await);
    let stopping = tokio::spawn(app.stopper().stop());
    let mut ready = Reply::of(app.anonymous("GET", "/readyz")).await;
    for _ in 0..50 {
        if ready.status != 200 {
            break;
        }
        tokio::time::sleep(Duration::from_millis(10)).await;
        ready = Reply::of(app.anonymous("GET", "/readyz")).await;
    }
    assert_eq!(ready.status, 503);
    held.hold("GET", "/readyz", &ready);
    drop(open);
    stopping.await.expect("it stops");
    app.stop().await;
}
