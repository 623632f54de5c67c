//! The header `traceparent` that the SDK sends.

use super::{ID, account, client_with, quick, requests_of};
use eavesward_client::{Client, Request, WatchOptions};
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Duration;
use wiremock::matchers::{any, path};
use wiremock::{Mock, MockServer, ResponseTemplate};

/// A trace of its own for each time it is asked.
fn counting() -> (Arc<AtomicU32>, impl Fn() -> Option<String> + Send + Sync + 'static) {
    let asked = Arc::<AtomicU32>::default();
    let count = Arc::clone(&asked);
    (asked, move || Some(trace(count.fetch_add(1, Ordering::SeqCst))))
}

fn trace(number: u32) -> String {
    format!("00-4bf92f3577b34da6a3ce929d{number:08x}-00f067aa0ba902b7-01")
}

fn builder(server: &MockServer, ask: impl Fn() -> Option<String> + Send + Sync + 'static) -> Client {
    let client = Client::builder().base_url(server.uri()).key("k").retry(quick());
    client.traceparent(ask).build().expect("a client")
}

async fn sent(server: &MockServer) -> Vec<Option<String>> {
    let all = requests_of(server).await;
    all.iter()
        .map(|one| one.headers.get("traceparent").map(|value| value.to_str().expect("text").to_owned()))
        .collect()
}

#[tokio::test]
async fn each_call_asks_once_and_all_its_attempts_send_the_same() {
    let server = MockServer::start().await;
    Mock::given(any()).respond_with(ResponseTemplate::new(503)).up_to_n_times(2).mount(&server).await;
    let answer = ResponseTemplate::new(200).set_body_json(account());
    Mock::given(path("/v1/account")).respond_with(answer).mount(&server).await;
    let (asked, ask) = counting();
    let client = builder(&server, ask);
    client.account().await.expect("at the third attempt");
    client.account().await.expect("an account");
    let own = Request::new(reqwest::Method::GET, "/v1/account")
        .header("traceparent", &trace(99))
        .expect("a header");
    client.send(own).await.expect("an account");
    let wanted = [0, 0, 0, 1, 99].map(|number| Some(trace(number)));
    assert_eq!(sent(&server).await, wanted);
    assert_eq!(asked.load(Ordering::SeqCst), 2, "a request that has one is not asked for");
}

#[tokio::test]
async fn a_stream_sends_it_too() {
    let server = MockServer::start().await;
    let (_, ask) = counting();
    let client = builder(&server, ask);
    let mut events = client.systems().events(ID, &WatchOptions::default());
    events.next().await.expect("an end").expect_err("404");
    assert_eq!(sent(&server).await, [Some(trace(0))]);
}

#[tokio::test]
async fn no_trace_or_an_odd_one_is_no_header_and_no_error() {
    let server = MockServer::start().await;
    let answer = ResponseTemplate::new(200).set_body_json(account());
    Mock::given(any()).respond_with(answer).mount(&server).await;
    client_with(&server, Duration::from_secs(5), quick()).account().await.expect("an account");
    builder(&server, || None).account().await.expect("an account");
    builder(&server, || Some("of\ntwo lines".to_owned())).account().await.expect("an account");
    assert_eq!(sent(&server).await, [None, None, None]);
}
