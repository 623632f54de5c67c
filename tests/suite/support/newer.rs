//! A service of a later version: what this one answers, with words, kinds and fields that this version does not know.

use super::app::App;
use actix_web::{HttpRequest, HttpResponse, HttpServer, dev::ServerHandle, web};
use serde_json::{Value, json};
use std::thread::JoinHandle;

/// Words of a later version, by the field that holds them.
const WORDS: [(&str, &str); 4] = [
    ("decided_by", "omens"),
    ("component_kind", "leaf_mill"),
    ("hazard", "falling_fruit"),
    ("code", "a_later_reason"),
];

/// What stands before a service and rewrites its answers.
pub struct Newer {
    /// Where it listens.
    pub url: String,
    stop: ServerHandle,
    thread: JoinHandle<()>,
}

#[derive(Clone)]
struct Before {
    url: String,
    http: reqwest::Client,
}

impl Newer {
    /// Stands before a service.
    pub async fn before(app: &App) -> Self {
        let before = Before { url: app.url.clone(), http: super::http_client().build().expect("a client") };
        let (tell, told) = tokio::sync::oneshot::channel();
        let thread = std::thread::spawn(move || {
            actix_web::rt::System::new().block_on(async move {
                let server = HttpServer::new(move || {
                    let before = web::Data::new(before.clone());
                    actix_web::App::new().app_data(before).default_service(web::to(forward))
                });
                let server = server.workers(1).disable_signals().bind(("127.0.0.1", 0)).expect("a free port");
                let url = format!("http://{}", server.addrs()[0]);
                let server = server.run();
                assert!(tell.send((url, server.handle())).is_ok(), "the test waits");
                server.await.expect("it serves");
            });
        });
        let (url, stop) = told.await.expect("it starts");
        Self { url, stop, thread }
    }

    /// Stops it.
    pub async fn stop(self) {
        self.stop.stop(false).await;
        tokio::task::spawn_blocking(|| self.thread.join().expect("it ended well")).await.expect("waiting");
    }
}

async fn forward(asked: HttpRequest, body: web::Bytes, before: web::Data<Before>) -> HttpResponse {
    let method = reqwest::Method::from_bytes(asked.method().as_str().as_bytes()).expect("a method");
    let mut passed = before.http.request(method, format!("{}{}", before.url, asked.uri())).body(body);
    for (name, value) in asked.headers() {
        if !["host", "content-length", "accept-encoding", "connection"].contains(&name.as_str()) {
            passed = passed.header(name.as_str(), value.as_bytes());
        }
    }
    let answer = passed.send().await.expect("the service answers");
    let status = actix_web::http::StatusCode::from_u16(answer.status().as_u16()).expect("a status");
    let mut reply = HttpResponse::build(status);
    for (name, value) in answer.headers() {
        if !["content-length", "transfer-encoding", "connection"].contains(&name.as_str()) {
            reply.append_header((name.as_str(), value.as_bytes()));
        }
    }
    let bytes = answer.bytes().await.expect("a body");
    match serde_json::from_slice::<Value>(&bytes) {
        Ok(mut body) if status.is_success() => {
            age(&mut body);
            reply.body(body.to_string())
        }
        _ => reply.body(bytes),
    }
}

/// Gives every object a field that is new, and some words that are.
fn age(value: &mut Value) {
    match value {
        Value::Array(values) => values.iter_mut().for_each(age),
        Value::Object(fields) => {
            fields.values_mut().for_each(age);
            if fields.contains_key("found") {
                fields.clear();
                fields.insert("found".to_owned(), json!("torn"));
                fields.insert("length_mm".to_owned(), json!(40));
            }
            for (field, word) in WORDS {
                if fields.get(field).is_some_and(Value::is_string) {
                    fields.insert(field.to_owned(), json!(word));
                }
            }
            fields.insert("of_a_later_version".to_owned(), json!({"deep": [1, 2]}));
        }
        _ => {}
    }
}
