//! Watching a status against a server that only plays back.

use super::{ID, client, problem, requests_of};
use eavesward_client::{RetryPolicy, WatchOptions};
use serde_json::{Value, json};
use std::time::{Duration, Instant};
use wiremock::matchers::{header, header_exists, method, path};
use wiremock::{Mock, MockServer, ResponseTemplate};

fn status(on: &str) -> Value {
    json!({
        "system_id": ID, "system_name": "apple shed", "as_of": on, "state": "near", "next": [],
        "rain_through": null, "runoff_7_days_mm": 0.0, "runoff_7_days_l": 0.0, "runoff_30_days_mm": 0.0,
        "runoff_30_days_l": 0.0, "unread_of_30_days": 30, "since_served": []
    })
}

fn fresh(on: &str, tag: &str, max_age: u64) -> ResponseTemplate {
    ResponseTemplate::new(200)
        .set_body_json(status(on))
        .insert_header("etag", tag)
        .insert_header("cache-control", format!("private, max-age={max_age}"))
}

fn same(max_age: u64) -> ResponseTemplate {
    ResponseTemplate::new(304).insert_header("cache-control", format!("private, max-age={max_age}"))
}

fn quick() -> WatchOptions {
    WatchOptions::builder().at_least(Duration::from_millis(2)).at_most(Duration::from_secs(2)).build()
}

async fn play(server: &MockServer, answers: impl IntoIterator<Item = ResponseTemplate>) {
    for answer in answers {
        Mock::given(method("GET")).respond_with(answer).up_to_n_times(1).mount(server).await;
    }
}

#[tokio::test]
async fn it_asks_as_often_as_the_service_says_and_gives_what_is_new() {
    let server = MockServer::start().await;
    let first = fresh("2031-04-02", "\"a\"", 0);
    // A status that is sent again under the same tag is not given again.
    let again = fresh("2031-04-02", "\"a\"", 0);
    play(&server, [first, same(0), again, same(1), fresh("2031-04-03", "\"b\"", 60)]).await;
    let client = client(&server);
    let mut watch = client.systems().watch(ID, &quick());
    let seen = watch.next().await.expect("goes on").expect("a status");
    assert_eq!((seen.status.as_of.to_string().as_str(), seen.etag.as_str()), ("2031-04-02", "\"a\""));
    let began = Instant::now();
    let seen = watch.next().await.expect("goes on").expect("a status");
    assert_eq!((seen.status.as_of.to_string().as_str(), seen.etag.as_str()), ("2031-04-03", "\"b\""));
    assert!(began.elapsed() >= Duration::from_secs(1), "max-age=1 was waited for");
    let known: Vec<Option<String>> = requests_of(&server)
        .await
        .iter()
        .map(|request| Some(request.headers.get("if-none-match")?.to_str().expect("text").to_owned()))
        .collect();
    let a = || Some("\"a\"".to_owned());
    assert_eq!(known, [None, a(), a(), a(), a()]);
}

#[tokio::test]
async fn it_goes_on_from_a_tag_that_was_kept() {
    let server = MockServer::start().await;
    let at = format!("/v1/systems/{ID}/status");
    Mock::given(method("GET"))
        .and(path(at))
        .and(header("if-none-match", "\"a\""))
        .respond_with(same(0))
        .up_to_n_times(3)
        .mount(&server)
        .await;
    Mock::given(method("GET"))
        .and(header("if-none-match", "\"a\""))
        .respond_with(fresh("2031-04-03", "\"b\"", 60))
        .mount(&server)
        .await;
    let client = client(&server);
    let mut options = quick();
    options.known = Some("\"a\"".to_owned());
    let seen = client.systems().watch(ID, &options).next().await.expect("goes on").expect("a status");
    assert_eq!(seen.etag, "\"b\"");
    assert_eq!(requests_of(&server).await.len(), 4);
}

#[tokio::test]
async fn it_outlives_what_passes_and_ends_with_what_does_not() {
    for events in [false, true] {
        let server = MockServer::start().await;
        // The SDK's own repetitions come first: three attempts a question.
        Mock::given(method("GET"))
            .respond_with(ResponseTemplate::new(503))
            .up_to_n_times(3)
            .mount(&server)
            .await;
        Mock::given(method("GET")).respond_with(problem("unauthorized", 401)).mount(&server).await;
        let client = client(&server);
        let systems = client.systems();
        let mut watch = if events { systems.events(ID, &quick()) } else { systems.watch(ID, &quick()) };
        let error = watch.next().await.expect("goes on").expect_err("away");
        assert!(error.is_unavailable() && error.is_transient(), "{error}");
        let mut last = watch.next().await.expect("goes on").expect_err("away, or shut out");
        while last.is_transient() {
            last = watch.next().await.expect("goes on").expect_err("away, or shut out");
        }
        assert!(last.is_unauthorized(), "{last}");
        assert!(watch.next().await.is_none(), "nothing will change");
    }
}

#[tokio::test]
async fn a_connection_that_ends_is_taken_up_from_the_last_event() {
    let server = MockServer::start().await;
    let at = format!("/v1/systems/{ID}/status/events");
    let event = |on: &str, id: &str| format!("event: status\nid: {id}\ndata: {}\n\n", status(on));
    let stream = |text: String| ResponseTemplate::new(200).set_body_raw(text, "text/event-stream");
    let first = format!(
        "retry: 3\n\n{}: nothing new\n\n{}",
        event("2031-04-02", "\"a\""),
        event("2031-04-03", "\"b\"")
    );
    Mock::given(method("GET"))
        .and(path(at.as_str()))
        .and(header("last-event-id", "\"b\""))
        .and(header_exists("authorization"))
        // What is known is told once more by a careless proxy, and not given again.
        .respond_with(stream(event("2031-04-03", "\"b\"") + &event("2031-04-04", "\"c\"")))
        .mount(&server)
        .await;
    Mock::given(method("GET"))
        .and(path(at.as_str()))
        .respond_with(stream(first))
        .up_to_n_times(1)
        .mount(&server)
        .await;
    let client = client(&server);
    let mut events = client.systems().events(ID, &quick());
    for (day, tag) in [("2031-04-02", "\"a\""), ("2031-04-03", "\"b\""), ("2031-04-04", "\"c\"")] {
        let seen = events.next().await.expect("goes on").expect("a status");
        assert_eq!((seen.status.as_of.to_string().as_str(), seen.etag.as_str()), (day, tag));
    }
    let requests = requests_of(&server).await;
    assert!(requests[0].headers.get("last-event-id").is_none());
    assert_eq!(requests[0].headers["accept"], "text/event-stream, application/problem+json");
}

#[tokio::test]
async fn polling_waits_as_long_as_an_error_asks_for() {
    let server = MockServer::start().await;
    let busy = || problem("rate_limited", 429).insert_header("retry-after", "1");
    Mock::given(method("GET")).respond_with(busy()).up_to_n_times(1).mount(&server).await;
    Mock::given(method("GET")).respond_with(fresh("2031-04-02", "\"a\"", 60)).mount(&server).await;
    // One attempt a question, so that the wait is the watch's own.
    let once = RetryPolicy::never();
    let client = super::client_with(&server, Duration::from_secs(5), once);
    let mut watch = client.systems().watch(ID, &quick());
    let error = watch.next().await.expect("goes on").expect_err("busy");
    assert!(error.is_rate_limited(), "{error}");
    let began = Instant::now();
    watch.next().await.expect("goes on").expect("a status");
    assert!(began.elapsed() >= Duration::from_secs(1), "{:?}", began.elapsed());
}

#[tokio::test]
async fn a_stream_that_ends_at_once_is_not_taken_up_more_often_than_allowed() {
    let server = MockServer::start().await;
    let event = |id: &str| format!("retry: 0\n\nevent: status\nid: {id}\ndata: {}\n\n", status("2031-04-02"));
    let stream =
        |id: &str| ResponseTemplate::new(200).set_body_raw(event(id), "Text/Event-Stream; charset=utf-8");
    play(&server, [stream("\"a\""), stream("\"b\"")]).await;
    let at_least = Duration::from_millis(300);
    let mut options = quick();
    options.at_least = at_least;
    let client = client(&server);
    let mut events = client.systems().events(ID, &options);
    events.next().await.expect("goes on").expect("a status");
    let began = Instant::now();
    events.next().await.expect("goes on").expect("a status");
    assert!(began.elapsed() >= at_least, "{:?}", began.elapsed());
}

#[tokio::test]
async fn another_success_is_not_taken_for_a_stream() {
    let server = MockServer::start().await;
    let page = ResponseTemplate::new(200).set_body_raw("<p>Please log in</p>", "text/html");
    Mock::given(method("GET")).respond_with(page).mount(&server).await;
    let client = client(&server);
    let mut events = client.systems().events(ID, &quick());
    let error = events.next().await.expect("told").expect_err("no stream");
    assert!(error.to_string().contains("\"text/html\" instead of text/event-stream"), "{error}");
    assert!(!error.is_transient() && events.next().await.is_none(), "it will not pass");
}
