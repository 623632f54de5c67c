//! Traces: the service as a process, and a receiver of OTLP that takes its spans.

use super::receiver::Receiver;
use super::scenario::{gauge, id_of, property, system, three};
use crate::support::app::Reply;
use crate::support::served::Served;
use crate::support::{http_client, until};
use opentelemetry_proto::tonic::collector::trace::v1::ExportTraceServiceRequest;
use opentelemetry_proto::tonic::common::v1::any_value::Value as Any;
use opentelemetry_proto::tonic::common::v1::{AnyValue, KeyValue};
use opentelemetry_proto::tonic::trace::v1::span::SpanKind;
use opentelemetry_proto::tonic::trace::v1::status::StatusCode;
use opentelemetry_proto::tonic::trace::v1::{ResourceSpans, Span, Status};
use prost::Message as _;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::net::TcpListener;
use std::process::Command;
use wiremock::matchers::{header, method, path};
use wiremock::{Mock, MockServer, ResponseTemplate};

/// The standard's own example.
const TRACE: &str = "4bf92f3577b34da6a3ce929d0e0e4736";
const PARENT: &str = "00f067aa0ba902b7";

fn traceparent(flags: &str) -> String {
    format!("00-{TRACE}-{PARENT}-{flags}")
}

/// The service, and a client of it.
struct Sending {
    served: Served,
    key: String,
    http: reqwest::Client,
    _folder: tempfile::TempDir,
}

impl Sending {
    fn to(endpoint: &str, more: &[&str]) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let url = format!("sqlite://{}", folder.path().join("traces.db").display());
        let mut command = Command::new(env!("CARGO_BIN_EXE_served"));
        command.args(["serve", "--bind", "127.0.0.1:0", "--drain-s", "0", "--log-format", "json"]);
        command.args(["--local-webhooks", "true", "--database-url", &url, "--otlp-endpoint", endpoint]);
        let served = Served::start(command.args(more), folder.path());
        let key = served.key().expect("the first start prints a key").to_owned();
        Self { served, key, http: http_client().build().expect("a client"), _folder: folder }
    }

    fn request(&self, method: &str, path: &str) -> reqwest::RequestBuilder {
        let method = method.parse().expect("a method");
        self.http.request(method, format!("{}{path}", self.served.url)).bearer_auth(&self.key)
    }

    fn get(&self, path: &str) -> reqwest::RequestBuilder {
        self.request("GET", path)
    }

    async fn post(&self, path: &str, body: &Value) -> Value {
        let sent = self.request("POST", path);
        let sent = if body.is_null() { sent } else { sent.json(body) };
        let reply = Reply::of(sent).await;
        assert!((200..300).contains(&reply.status), "{path}: {}", reply.text);
        serde_json::from_str(&reply.text).expect("JSON")
    }

    /// Ends it as an operator does, so that it sends what is left. Returns its lines of log.
    async fn end(mut self) -> Vec<Value> {
        let id = self.served.child.id().to_string();
        assert!(Command::new("kill").args(["-TERM", &id]).status().expect("kill").success());
        let ended = until("its end", async || self.served.child.try_wait().expect("its state")).await;
        assert!(ended.success(), "{ended}");
        until("its last line", async || {
            let logged = self.served.logged.lock().expect("a log").clone();
            let lines: Vec<Value> =
                logged.lines().map(|it| serde_json::from_str(it).expect("JSON")).collect();
            lines.iter().any(|line| line["message"] == "stopped").then_some(lines)
        })
        .await
    }
}

/// Somebody who takes spans.
async fn collector() -> MockServer {
    let server = MockServer::start().await;
    Mock::given(method("POST"))
        .and(path("/eaves/v1/traces"))
        .and(header("content-type", "application/x-protobuf"))
        .respond_with(ResponseTemplate::new(200))
        .mount(&server)
        .await;
    server
}

/// What came to a collector.
struct Taken {
    raw: Vec<u8>,
    resources: Vec<ResourceSpans>,
}

impl Taken {
    async fn of(server: &MockServer) -> Self {
        let mut taken = Self { raw: Vec::new(), resources: Vec::new() };
        for request in server.received_requests().await.expect("recording is on") {
            let read = ExportTraceServiceRequest::decode(request.body.as_slice()).expect("protobuf");
            taken.resources.extend(read.resource_spans);
            taken.raw.extend(request.body);
        }
        taken
    }

    fn spans(&self) -> Vec<&Span> {
        self.resources.iter().flat_map(|one| &one.scope_spans).flat_map(|one| &one.spans).collect()
    }

    /// The spans of this name.
    fn named(&self, name: &str) -> Vec<&Span> {
        self.spans().into_iter().filter(|span| span.name == name).collect()
    }

    #[track_caller]
    fn only(&self, name: &str) -> &Span {
        let [one] = self.named(name)[..] else {
            let names: Vec<&str> = self.spans().iter().map(|span| span.name.as_str()).collect();
            panic!("not one {name} among {names:?}")
        };
        one
    }

    fn holds(&self, text: &str) -> bool {
        assert!(text.len() > 5, "{text} is found by chance");
        self.raw.windows(text.len()).any(|window| window == text.as_bytes())
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, byte| {
        write!(text, "{byte:02x}").expect("a text");
        text
    })
}

/// Numbers have to be numbers: a receiver compares and sums them.
fn plain(value: Option<&AnyValue>) -> Value {
    match value.and_then(|value| value.value.as_ref()) {
        Some(Any::StringValue(text)) => json!(text),
        Some(Any::IntValue(number)) => json!(number),
        Some(Any::BoolValue(flag)) => json!(flag),
        other => panic!("an attribute of another kind: {other:?}"),
    }
}

fn attributes(all: &[KeyValue]) -> BTreeMap<&str, Value> {
    all.iter().map(|one| (one.key.as_str(), plain(one.value.as_ref()))).collect()
}

fn status(span: &Span) -> StatusCode {
    span.status.as_ref().map_or(StatusCode::Unset, Status::code)
}

/// The lines of log that say how a request at a path ended.
fn answered<'a>(lines: &'a [Value], path: &str) -> Vec<&'a Value> {
    lines
        .iter()
        .filter(|line| line["message"] == "answered" && line["span"]["path"] == path)
        .map(|line| &line["span"])
        .collect()
}

#[tokio::test]
async fn a_request_is_a_span_of_the_callers_trace() {
    let collector = collector().await;
    // The slash at the end is no part of the path.
    let log = ["--log", "info,sqlx::query=debug"];
    let sending = Sending::to(&format!("{}/eaves/", collector.uri()), &log);
    let state = "rojo=00f067aa0ba902b7,congo=t61rcWkgMzE";
    let called = sending.get("/v1/account").header("traceparent", traceparent("01"));
    Reply::of(called.header("tracestate", state)).await.expect(200);
    let lines = sending.end().await;
    let taken = Taken::of(&collector).await;
    let span = taken.only("GET /v1/account");
    assert_eq!((hex(&span.trace_id).as_str(), hex(&span.parent_span_id).as_str()), (TRACE, PARENT));
    assert_eq!((span.kind(), status(span)), (SpanKind::Server, StatusCode::Unset));
    assert_eq!(span.trace_state, state);
    let line = answered(&lines, "/v1/account")[0];
    let wanted = json!({
        "http.request.method": "GET", "http.route": "/v1/account", "http.response.status_code": 200,
        "url.scheme": "http", "url.path": "/v1/account", "eavesward.request_id": line["id"],
    });
    assert_eq!(json!(attributes(&span.attributes)), wanted);
    assert_eq!(line["trace_id"], TRACE);
    // Also of what another thread did for it.
    let asked = lines.iter().filter(|one| one["target"] == "sqlx::query" && one["span"]["trace_id"] == TRACE);
    assert!(asked.count() > 0, "{lines:?}");
    let resource = taken.resources[0].resource.as_ref().expect("a resource");
    let resource = attributes(&resource.attributes);
    assert_eq!(resource["service.name"], "eavesward");
    assert_eq!(resource["service.version"], env!("CARGO_PKG_VERSION"));
}

#[tokio::test]
async fn a_header_that_is_not_valid_is_passed_over() {
    let collector = collector().await;
    let sending = Sending::to(&format!("{}/eaves", collector.uri()), &[]);
    let long = format!("a={}", "x".repeat(600));
    let bad = [
        String::new(),
        "00-00000000000000000000000000000000-00f067aa0ba902b7-01".to_owned(),
        format!("ff-{TRACE}-{PARENT}-01"),
        format!("00-{}-{PARENT}-01", TRACE.to_uppercase()),
        "x".repeat(4000),
    ];
    for header in &bad {
        Reply::of(sending.get("/v1/account").header("traceparent", header)).await.expect(200);
    }
    let twice = sending.get("/v1/account").header("traceparent", traceparent("01"));
    Reply::of(twice.header("traceparent", traceparent("00"))).await.expect(200);
    let long = sending.get("/v1/keys").header("traceparent", traceparent("01")).header("tracestate", long);
    Reply::of(long).await.expect(200);
    // Health checks come every few seconds and are no spans.
    assert_eq!(Reply::of(sending.get("/healthz")).await.status, 200);
    Reply::of(sending.get("/nowhere/at-all")).await.problem("not_found");
    let lines = sending.end().await;
    let taken = Taken::of(&collector).await;
    let (spans, logged) = (taken.named("GET /v1/account"), answered(&lines, "/v1/account"));
    assert_eq!((spans.len(), logged.len()), (bad.len() + 1, bad.len() + 1));
    let mut traces: Vec<String> = spans.iter().map(|span| hex(&span.trace_id)).collect();
    assert!(spans.iter().all(|span| span.parent_span_id.is_empty()), "{spans:?}");
    assert!(!traces.iter().any(|trace| trace == TRACE));
    // The log has the ids of the new traces.
    let mut told: Vec<String> =
        logged.iter().map(|line| line["trace_id"].as_str().expect("an id").to_owned()).collect();
    traces.sort();
    told.sort();
    assert_eq!(traces, told);
    traces.dedup();
    assert_eq!(traces.len(), bad.len() + 1, "a trace for each");
    // What is too long is dropped alone.
    let keys = taken.only("GET /v1/keys");
    assert_eq!((hex(&keys.trace_id).as_str(), keys.trace_state.as_str()), (TRACE, ""));
    assert!(!attributes(&keys.attributes).contains_key("url.path"), "what is about keys shows no path");
    // A path that is no route is anything that a caller may think of.
    let nowhere = taken.only("GET");
    let seen = attributes(&nowhere.attributes);
    assert_eq!(seen["http.response.status_code"], 404);
    assert!(!taken.holds("at-all") && !taken.holds("healthz") && !seen.contains_key("http.route"));
}

#[tokio::test]
async fn a_webhook_carries_the_span_of_its_delivery_and_no_secret_is_exported() {
    let collector = collector().await;
    let receiver = Receiver::answering(503).await;
    let sending = Sending::to(&format!("{}/eaves", collector.uri()), &[]);
    let address = format!("{}/hidden-wellspring?token=hidden-spout", receiver.url());
    let body = json!({"name": "upkeep", "to": address, "sends": "reminders"});
    let made = sending.post("/v1/subscriptions", &body).await;
    let secret = made["secret"].as_str().expect("a secret").to_owned();
    let id = id_of(&made["subscription"]);
    sending.post(&format!("/v1/subscriptions/{id}/test"), &Value::Null).await;
    let calendar = sending.post("/v1/calendars", &json!({"name": "Upkeep"})).await;
    let calendar = calendar["path"].as_str().expect("a path").to_owned();
    Reply::of(sending.get(&calendar)).await;
    let key = sending.key.clone();
    // A key in the wrong place: as an id and in a query.
    Reply::of(sending.get(&format!("/v1/systems/{key}"))).await.problem("malformed_parameter");
    Reply::of(sending.get(&format!("/v1/tasks?cursor={key}"))).await;
    let letter = until("a letter", async || receiver.letters().first().cloned()).await;
    // It was noted before the service ends.
    let path = format!("/v1/deliveries/{}", letter.id);
    until("a noted attempt", async || {
        let delivery = Reply::of(sending.get(&path)).await.expect(200);
        delivery["attempts"].as_array().is_some_and(|all| !all.is_empty()).then_some(())
    })
    .await;
    sending.end().await;
    let taken = Taken::of(&collector).await;
    let [delivered, ..] = taken.named("deliver webhook")[..] else {
        panic!("no delivery among {:?}", taken.spans())
    };
    let wanted = format!("00-{}-{}-01", hex(&delivered.trace_id), hex(&delivered.span_id));
    assert_eq!(letter.traceparent.as_deref(), Some(wanted.as_str()));
    assert_eq!((delivered.kind(), status(delivered)), (SpanKind::Client, StatusCode::Error));
    let wanted = json!({
        "http.request.method": "POST", "http.response.status_code": 503, "error.type": "503",
        "eavesward.delivery": letter.id, "eavesward.subscription": id,
    });
    assert_eq!(json!(attributes(&delivered.attributes)), wanted);
    let calendar = calendar.trim_start_matches("/calendars/").trim_end_matches(".ics");
    let port = receiver.url();
    let port = port.trim_start_matches("http://").trim_end_matches("/eaves");
    for hidden in
        [&key, "hidden-", &secret, &secret["whsec_".len()..], calendar, port, "Bearer", "wellspring"]
    {
        assert!(!taken.holds(hidden), "{hidden} was exported");
    }
    assert!(taken.holds("/calendars/"), "the route is told: {:?}", taken.spans());
}

#[tokio::test]
async fn a_refresh_is_a_span_with_its_steps() {
    let collector = collector().await;
    let sending = Sending::to(&format!("{}/eaves", collector.uri()), &[]);
    let property = id_of(&sending.post("/v1/properties", &property()).await);
    let gauge = id_of(&sending.post("/v1/gauges", &gauge()).await);
    sending.post("/v1/systems", &system(&property, &gauge, three())).await;
    until("its tasks", async || {
        let tasks = Reply::of(sending.get("/v1/tasks")).await;
        (!tasks.expect(200)["items"].as_array().expect("tasks").is_empty()).then_some(())
    })
    .await;
    sending.end().await;
    let taken = Taken::of(&collector).await;
    let batches = taken.named("refresh batch");
    let [batch, ..] = batches[..] else { panic!("no batch among {:?}", taken.spans()) };
    let seen = attributes(&batch.attributes);
    assert_eq!(
        (&seen["eavesward.systems"], &seen["eavesward.refreshed"], &seen["eavesward.failed"]),
        (&json!(1), &json!(1), &json!(0))
    );
    assert!(batch.parent_span_id.is_empty());
    for step in ["inputs", "engine", "finish"] {
        let steps = taken.named(step);
        assert!(steps.iter().any(|one| one.parent_span_id == batch.span_id), "{step}: {steps:?}");
    }
    // Looking for work finds none most of the time, and is no trace.
    assert_eq!(taken.named("claim").len(), 0);
}

#[tokio::test]
async fn the_share_is_the_operators_and_a_caller_may_only_leave_itself_out() {
    let collector = collector().await;
    let endpoint = format!("{}/eaves", collector.uri());
    let none = Sending::to(&endpoint, &["--otlp-sampled-share", "0"]);
    Reply::of(none.get("/v1/account").header("traceparent", traceparent("01"))).await.expect(200);
    let lines = none.end().await;
    assert_eq!(answered(&lines, "/v1/account")[0]["trace_id"], TRACE, "the log has it all the same");
    assert_eq!(Taken::of(&collector).await.spans().len(), 0);
    let all = Sending::to(&endpoint, &[]);
    Reply::of(all.get("/v1/account").header("traceparent", traceparent("00"))).await.expect(200);
    Reply::of(all.get("/v1/keys").header("traceparent", traceparent("01"))).await.expect(200);
    all.end().await;
    let taken = Taken::of(&collector).await;
    assert_eq!((taken.named("GET /v1/account").len(), taken.named("GET /v1/keys").len()), (0, 1));
}

#[tokio::test]
async fn a_receiver_that_is_away_costs_one_line_of_log() {
    let nobody = TcpListener::bind("127.0.0.1:0").expect("a port").local_addr().expect("its address");
    let sending = Sending::to(&format!("http://{nobody}"), &[]);
    for _ in 0..20 {
        Reply::of(sending.get("/v1/account")).await.expect(200);
    }
    let lines = sending.end().await;
    assert_eq!(answered(&lines, "/v1/account").len(), 20);
    let told: Vec<&Value> = lines.iter().filter(|line| line["level"] != "INFO").collect();
    let [told] = told[..] else { panic!("{told:?}") };
    assert!(told["message"].as_str().is_some_and(|text| text.contains("otlp_endpoint")), "{told}");
    assert!(told["lost"].as_u64().is_some_and(|lost| lost >= 20), "{told}");
}

#[tokio::test]
async fn a_service_that_sends_none_still_logs_the_trace_of_its_caller() {
    let sending = Sending::to("", &[]);
    Reply::of(sending.get("/v1/account").header("traceparent", traceparent("00"))).await.expect(200);
    Reply::of(sending.get("/v1/keys").header("traceparent", "no trace")).await.expect(200);
    let receiver = Receiver::answering(200).await;
    let body = json!({"name": "upkeep", "to": receiver.url(), "sends": "reminders"});
    let made = sending.post("/v1/subscriptions", &body).await;
    let test = format!("/v1/subscriptions/{}/test", id_of(&made["subscription"]));
    sending.post(&test, &Value::Null).await;
    let letter = until("a letter", async || receiver.letters().first().cloned()).await;
    assert_eq!(letter.traceparent, None);
    let lines = sending.end().await;
    assert_eq!(answered(&lines, "/v1/account")[0]["trace_id"], TRACE);
    assert_eq!(answered(&lines, "/v1/keys")[0]["trace_id"], Value::Null);
}
