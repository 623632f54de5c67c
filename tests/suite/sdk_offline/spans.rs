//! What the SDK tells of its calls to whoever listens, and what it keeps to itself.

use super::{ID, KEY, account, client, problem};
use eavesward_client::{Request, TaskQuery, contract, requests};
use serde_json::json;
use std::io::Write;
use std::sync::{Arc, Mutex};
use tracing_subscriber::fmt::MakeWriter;
use tracing_subscriber::fmt::format::FmtSpan;
use wiremock::matchers::{method, path};
use wiremock::{Mock, MockServer, ResponseTemplate};

/// Everything that was told.
#[derive(Clone, Default)]
struct LastReminder(Arc<Mutex<Vec<u8>>>);

impl Write for LastReminder {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.lock().expect("nobody panicked").extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

impl MakeWriter<'_> for LastReminder {
    type Writer = Self;

    fn make_writer(&self) -> Self {
        self.clone()
    }
}

impl LastReminder {
    /// Listens to everything on this thread, where the runtime of the test does all of its work.
    fn listen(&self) -> tracing::subscriber::DefaultGuard {
        let listener = tracing_subscriber::fmt()
            .with_max_level(tracing::Level::TRACE)
            .with_span_events(FmtSpan::FULL)
            .with_ansi(false)
            .with_writer(self.clone());
        tracing::subscriber::set_default(listener.finish())
    }

    fn text(&self) -> String {
        String::from_utf8(self.0.lock().expect("nobody panicked").clone()).expect("UTF-8")
    }
}

#[tokio::test]
async fn a_call_is_a_span_with_its_route_and_end_and_without_secrets() {
    let told = LastReminder::default();
    let _listening = told.listen();
    let server = MockServer::start().await;
    let get = |at: &str| Mock::given(method("GET")).and(path(at));
    get("/v1/tasks").respond_with(ResponseTemplate::new(503)).up_to_n_times(1).mount(&server).await;
    let empty = ResponseTemplate::new(200).set_body_json(json!({"items": []}));
    get("/v1/tasks").respond_with(empty).mount(&server).await;
    get("/v1/account").respond_with(ResponseTemplate::new(200).set_body_json(account())).mount(&server).await;
    Mock::given(method("POST")).respond_with(problem("invalid", 422)).mount(&server).await;
    let client = client(&server);
    // Another test may be at the client's first call ever just now, and note for good that nobody listens: so a first call
    // is made here, and what was noted is looked at again.
    client.account().await.expect("an account");
    tracing::callsite::rebuild_interest_cache();
    told.0.lock().expect("nobody panicked").clear();
    let query = TaskQuery::builder().system_id(ID).cursor("hidden-cursor").build();
    client.tasks().page(&query).await.expect("at the second attempt");
    client.account().await.expect("an account");
    let withdraw = contract::WithdrawRequest { because: "hidden-reason".to_owned() };
    client.visits().withdraw(ID, &withdraw).await.expect_err("refused");
    let odd = Request::new(reqwest::Method::GET, "/v1/feeds/hidden-Token7.ics").query("key", "hidden-query");
    client.send(odd).await.expect_err("nothing there");
    client
        .send(requests::system_status(ID).if_none_match("\"hidden-tag\"").expect("a tag"))
        .await
        .expect_err("404");

    let text = told.text();
    let spans: Vec<&str> =
        text.lines().filter(|line| line.contains("eavesward_client") && line.contains("close")).collect();
    assert_eq!(spans.len(), 5, "one span a call: {text}");
    let has = |line: &str, wants: &[&str]| {
        for want in wants {
            assert!(line.contains(want), "{want}: {line}");
        }
    };
    has(spans[0], &["method=\"GET\"", "route=\"/v1/tasks\"", "attempts=2", "status=200"]);
    has(spans[1], &["method=\"GET\"", "route=\"/v1/account\"", "attempts=1", "status=200"]);
    has(spans[2], &["method=\"POST\"", "route=\"/v1/visits/{id}/withdraw\"", "attempts=1", "status=422"]);
    has(spans[3], &["route=\"/v1/feeds/{hidden}\"", "status=404"]);
    has(spans[4], &["route=\"/v1/systems/{id}/status\"", "status=404"]);
    assert!(text.contains("an attempt failed"), "{text}");
    let id = ID.to_string();
    for secret in [KEY, "hidden", &id, "Bearer"] {
        // The span's own word for what it hides is no secret.
        assert!(!text.replace("{hidden}", "").contains(secret), "{secret} was told: {text}");
    }
}
