//! The document's examples: requests that the service takes, and what it answered and posted to them.
//!
//! `UPDATE_EXAMPLES=1 ./tests/run examples` writes the answers anew, `UPDATE_OPENAPI=1 ./tests/run contract` then puts them
//! into the document.

use super::example_types::{Parsed, parsed};
use super::normal::Normal;
use super::receiver::{Receiver, WebhookRequest};
use super::scenario::{id_of, rain};
use crate::support::app::{App, Kind, Reply};
use eavesward_service::http::openapi;
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;
use std::time::Duration;

/// Where the address of a subscription leads in examples.
const HOOK: &str = "https://hooks.example/eaves";

fn path() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../service/src/http/openapi/answers.json")
}

/// The document as the service makes it.
fn fresh() -> Value {
    serde_json::from_str(&openapi::text()).expect("JSON")
}

/// An operation of the document: id, method, path, and what it says.
struct Operation {
    id: String,
    method: String,
    path: String,
    said: Value,
}

fn operations(document: &Value) -> Vec<Operation> {
    let paths = document["paths"].as_object().expect("paths");
    let all = paths.iter().flat_map(|(path, item)| {
        item.as_object().expect("an item").iter().map(|(method, said)| Operation {
            id: said["operationId"].as_str().expect("an id").to_owned(),
            method: method.to_uppercase(),
            path: path.clone(),
            said: said.clone(),
        })
    });
    all.collect()
}

/// Sends the requests of the document and keeps the answers.
struct Recorder<'a> {
    app: &'a App,
    receiver: &'a Receiver,
    operations: Vec<Operation>,
    normal: Normal,
    /// The id that stands for `{id}`, by the noun of the path.
    own: BTreeMap<String, String>,
    /// What was answered and posted, by operation and media type.
    answers: BTreeMap<String, BTreeMap<String, Value>>,
    /// The operations whose example was sent and taken.
    taken: BTreeSet<String>,
}

impl Recorder<'_> {
    /// Sends an operation with its example and keeps the answer.
    async fn call(&mut self, id: &str) -> Value {
        self.call_with(id, "", None).await
    }

    async fn call_with(&mut self, id: &str, query: &str, accept: Option<&str>) -> Value {
        let operation =
            self.operations.iter().find(|one| one.id == id).expect("an operation of the document");
        let noun = operation.path.split('/').nth(2).unwrap_or_default().to_owned();
        let own = self.own.get(&noun).cloned().unwrap_or_default();
        let path =
            operation.path.replace("{id}", &own).replace("{duty}", "clean_screen").replace("{format}", "md");
        let mut request = self.app.request(&operation.method, &format!("{path}{query}"));
        let parameters = operation.said["parameters"].as_array().into_iter().flatten();
        if parameters.clone().any(|parameter| parameter["name"] == "If-Match") {
            let read = Reply::of(self.app.request("GET", &path)).await;
            request = request.header("If-Match", read.header("etag"));
        }
        if let Some(accept) = accept {
            request = request.header("Accept", accept);
        }
        if let Some(body) = operation.said["requestBody"]["content"].get("application/json") {
            let body = self.normal.live(&body["example"].to_string()).replace(HOOK, &self.receiver.url());
            request = request.header("Content-Type", "application/json").body(body);
            self.taken.insert(id.to_owned());
        }
        let reply = Reply::of(request).await;
        assert!((200..300).contains(&reply.status), "{id}: {} {}", reply.status, reply.text);
        if let Some((noun, made)) = reply.header("location").trim_start_matches("/v1/").split_once('/') {
            self.own.entry(noun.to_owned()).or_insert_with(|| made.to_owned());
        }
        let media_type = reply.header("content-type").split(';').next().unwrap_or_default().to_owned();
        self.keep(id, &media_type, &reply.text)
    }

    /// Keeps an answer, or what was posted.
    fn keep(&mut self, id: &str, media_type: &str, text: &str) -> Value {
        let text = text.replace(&self.receiver.url(), HOOK);
        let answer: Value = serde_json::from_str(&text).unwrap_or_else(|_| json!(text));
        let answers = self.answers.entry(id.to_owned()).or_default();
        answers.insert(media_type.to_owned(), answer.clone());
        answer
    }

    /// What was posted, once something like it was.
    async fn posted(&self, wanted: impl Fn(&WebhookRequest) -> bool) -> WebhookRequest {
        for _ in 0..1000 {
            self.app.cx.notify_readers();
            if let Some(found) = self.receiver.letters().into_iter().find(&wanted) {
                return found;
            }
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
        panic!("nothing of the kind was posted: {:?}", self.receiver.letters());
    }

    /// Waits until nothing of the delivery is on its way.
    async fn delivered(&self) {
        let path = format!("/v1/deliveries/{}", self.own["deliveries"]);
        for _ in 0..1000 {
            self.app.cx.notify_readers();
            if self.app.get(&path).await["delivery"]["state"] != "waiting" {
                return;
            }
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
        panic!("{path} still waits");
    }

    async fn places(&mut self) {
        let property = id_of(&self.call("create_property").await);
        self.normal.stands_for(1, &property);
        self.call("list_audit").await;
        let gauge = id_of(&self.call("create_gauge").await);
        self.normal.stands_for(2, &gauge);
        let system = self.call("create_system").await;
        self.normal.stands_for(3, &id_of(&system));
        let screen = id_of(&system["components"][0]);
        self.normal.stands_for(4, &screen);
        self.own.insert("components".to_owned(), screen);
        self.call("send_rain").await;
        self.call("list_rain").await;
        rain(self.app, &gauge, "2025-01-01", 424, 2.0).await;
        self.call("update_duty").await;
        self.call("add_component").await;
        for id in ["update_property", "update_gauge", "update_system", "update_component"] {
            self.call(id).await;
        }
        self.app.refresh().await;
        for id in ["get_account", "get_property", "list_properties", "get_gauge", "list_gauges", "get_system"]
        {
            self.call(id).await;
        }
        for id in ["list_systems", "get_duty", "list_duties", "get_component", "list_components"] {
            self.call(id).await;
        }
    }

    async fn tasks(&mut self) {
        let screen = self.own["components"].clone();
        let tasks = self.app.walk("/v1/tasks", 500).await;
        let of = |component: &dyn Fn(&Value) -> bool| {
            id_of(tasks.iter().find(|one| component(one)).expect("a task"))
        };
        let clean = of(&|one| one["component_id"] == screen.as_str() && one["duty"] == "clean_screen");
        self.normal.stands_for(6, &clean);
        self.normal.stands_for(7, &of(&|one| one["component_name"] == "shed diverter"));
        self.own.insert("tasks".to_owned(), clean);
        self.call_with("list_tasks", "?state=near,due,late", None).await;
        for id in ["get_task", "get_status", "get_forecast", "forecast_unregistered"] {
            self.call(id).await;
        }
        self.call_with("propose_rounds", "?to=2026-03-20", None).await;
        for media_type in ["application/json", "text/plain", "text/markdown", "text/csv"] {
            self.call_with("get_digest", "", Some(media_type)).await;
        }
    }

    async fn addresses(&mut self) {
        for id in ["create_key", "list_keys", "create_calendar", "list_calendars", "create_subscription"] {
            self.call(id).await;
        }
        let calendar = self.app.post("/v1/calendars", &json!({"name": "orchard", "horizon_days": 10})).await;
        let feed = Reply::of(self.app.anonymous("GET", calendar["path"].as_str().expect("a path"))).await;
        self.keep("read_calendar", "text/calendar", &feed.text);
        self.call("test_subscription").await;
        let test = self.posted(|letter| letter.body.contains("\"test\"")).await;
        self.keep("test_posted", "application/json", &test.body);
        self.delivered().await;
        for id in ["list_deliveries", "get_delivery", "send_delivery_again"] {
            self.call(id).await;
        }
        self.delivered().await;
        for id in ["get_subscription", "update_subscription"] {
            self.call(id).await;
        }
        for id in ["list_subscriptions", "pause_subscription", "resume_subscription", "rotate_secret"] {
            self.call(id).await;
        }
    }

    async fn visits(&mut self) {
        for id in ["log_visit", "get_visit", "list_visits"] {
            self.call(id).await;
        }
        self.app.refresh().await;
        self.app.score().await;
        for id in ["get_skill", "list_answers", "correct_visit", "list_visit_revisions", "withdraw_visit"] {
            self.call(id).await;
        }
        self.app.refresh().await;
    }

    async fn rounds(&mut self) {
        for id in ["keep_round", "list_rounds", "get_round"] {
            self.call(id).await;
        }
        let hook = |body: Value| {
            let mut hook = json!({"name": "upkeep rota", "to": self.receiver.url()});
            hook.as_object_mut().expect("an object").extend(body.as_object().expect("an object").clone());
            hook
        };
        let times = json!({"sends": "digest", "schedule": "0 7 * * 1", "time_zone": "Europe/London"});
        for body in [hook(json!({})), hook(times)] {
            self.app.post("/v1/subscriptions", &body).await;
        }
        // The first Monday after.
        self.app.at("2026-03-10T12:00:00Z").await;
        let digest = self.posted(|letter| letter.body.starts_with("{\"type\":\"digest\"")).await;
        self.keep("digest_posted", "application/json", &digest.body);
        self.call("finish_round").await;
        self.app.refresh().await;
        let reminder = self.posted(|letter| letter.body.contains("\"reminder.done\"")).await;
        self.keep("reminder_posted", "application/json", &reminder.body);
        self.call_with("pull_reminders", "?kind=done", None).await;
    }

    async fn service(&mut self) {
        // The examples of parts that come and go are of that day.
        self.app.at("2026-05-09T12:00:00Z").await;
        let replaced = id_of(&self.call("replace_component").await);
        self.own.insert("components".to_owned(), replaced);
        self.call("retire_component").await;
        for (id, path) in [("healthz", "/healthz"), ("readyz", "/readyz")] {
            let reply = Reply::of(self.app.anonymous("GET", path)).await;
            self.keep(id, "text/plain", &reply.text);
        }
    }
}

#[tokio::test]
async fn examples_are_taken_and_answered_as_the_document_shows() {
    let app = App::start_with(Kind::Sqlite, |layer| layer.local_webhooks = Some(true)).await;
    app.at("2026-03-07T12:00:00Z").await;
    let receiver = Receiver::answering(204).await;
    let mut recorder = Recorder {
        app: &app,
        receiver: &receiver,
        operations: operations(&fresh()),
        normal: Normal::of(&app),
        own: BTreeMap::new(),
        answers: BTreeMap::new(),
        taken: BTreeSet::new(),
    };
    recorder.places().await;
    recorder.tasks().await;
    recorder.addresses().await;
    recorder.visits().await;
    recorder.rounds().await;
    recorder.service().await;
    let with_body = recorder.operations.iter().filter(|one| one.said["requestBody"].is_object());
    let with_body: BTreeSet<String> = with_body.map(|one| one.id.clone()).collect();
    assert_eq!(recorder.taken, with_body, "every example of a request was sent");
    let Recorder { answers, mut normal, .. } = recorder;
    let answers = normal.normalised(&json!(answers));
    app.stop().await;
    if std::env::var_os("UPDATE_EXAMPLES").is_some() {
        std::fs::write(path(), serde_json::to_string_pretty(&answers).expect("JSON") + "\n")
            .expect("it is written");
    }
    let kept: Value =
        serde_json::from_str(&std::fs::read_to_string(path()).expect("answers.json")).expect("JSON");
    let mut differing = Vec::new();
    differences(&kept, &answers, "", &mut differing);
    assert!(
        differing.is_empty(),
        "the answers are other ones now:\n{}\nRepair it with:\n\n  UPDATE_EXAMPLES=1 ./tests/run examples\n  \
         UPDATE_OPENAPI=1 ./tests/run contract\n",
        differing[..differing.len().min(20)].join("\n")
    );
}

/// Where two values differ by more than the last digits of their numbers.
fn differences(kept: &Value, fresh: &Value, path: &str, found: &mut Vec<String>) {
    match (kept, fresh) {
        (Value::Object(kept), Value::Object(fresh)) => {
            for name in kept.keys().chain(fresh.keys().filter(|name| !kept.contains_key(*name))) {
                let (kept, fresh) = (kept.get(name), fresh.get(name));
                let absent = json!("(absent)");
                let (kept, fresh) = (kept.unwrap_or(&absent), fresh.unwrap_or(&absent));
                differences(kept, fresh, &format!("{path}/{name}"), found);
            }
        }
        (Value::Array(kept), Value::Array(fresh)) if kept.len() == fresh.len() => {
            for (index, (kept, fresh)) in kept.iter().zip(fresh).enumerate() {
                differences(kept, fresh, &format!("{path}/{index}"), found);
            }
        }
        (Value::Number(kept), Value::Number(fresh)) => {
            let (kept, fresh) = (kept.as_f64().expect("a number"), fresh.as_f64().expect("a number"));
            if (kept - fresh).abs() > 1e-4 * kept.abs().max(fresh.abs()) {
                found.push(format!("{path}: {kept} is {fresh}"));
            }
        }
        _ if kept != fresh => {
            let start = |value: &Value| value.to_string().chars().take(200).collect::<String>();
            found.push(format!("{path}: {} is {}", start(kept), start(fresh)));
        }
        _ => {}
    }
}

/// A body of the document: where it stands, its media type, and what is said of it.
struct Body {
    place: String,
    media_type: String,
    said: Value,
}

fn bodies(document: &Value) -> Vec<Body> {
    let webhooks = document["webhooks"].as_object().expect("webhooks");
    let posted = webhooks.values().map(|item| item["post"].clone());
    let mut all = Vec::new();
    for said in operations(document).into_iter().map(|one| one.said).chain(posted) {
        let id = said["operationId"].as_str().expect("an id");
        let responses = said["responses"].as_object().expect("responses");
        let answers =
            responses.iter().filter(|(status, _)| status.starts_with('2')).map(|(_, answer)| answer);
        for holder in answers.chain(said.get("requestBody")) {
            for (media_type, said) in holder["content"].as_object().into_iter().flatten() {
                all.push(Body { place: id.to_owned(), media_type: media_type.clone(), said: said.clone() });
            }
        }
    }
    all
}

#[test]
fn every_body_has_an_example_of_its_type() {
    let mut tried = 0;
    for Body { place, media_type, said } in bodies(&fresh()) {
        assert!(said.get("example").is_some(), "{place} {media_type}");
        let Some(schema) = said["schema"]["$ref"].as_str().and_then(|path| path.rsplit('/').next()) else {
            continue;
        };
        match parsed(schema, &said["example"]) {
            Parsed::As(again) => {
                let mut differing = Vec::new();
                differences(&without_nulls(&said["example"]), &without_nulls(&again), "", &mut differing);
                assert!(differing.is_empty(), "{place}: {}", differing.join("\n"));
                tried += 1;
            }
            Parsed::Failed(error) => panic!("{place}: {error}"),
            Parsed::NoType => panic!("{place}: give {schema} its type in tests/suite/api/example_types.rs"),
        }
    }
    // There were 82 when this was written.
    assert!(tried >= 82, "only {tried} examples were read");
}

/// A field that is null says as much as one that is absent.
fn without_nulls(value: &Value) -> Value {
    match value {
        Value::Object(object) => {
            let fields = object.iter().filter(|(_, value)| !value.is_null());
            Value::Object(fields.map(|(name, value)| (name.clone(), without_nulls(value))).collect())
        }
        Value::Array(list) => list.iter().map(without_nulls).collect(),
        value => value.clone(),
    }
}
