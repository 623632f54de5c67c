//! Following the reminders against a server that only plays back: where each question goes on, and what is kept.

use super::{ID, client, client_with, problem, requests_of};
use eavesward_client::{Client, Follow, ReminderQuery, RetryPolicy};
use serde_json::{Value, json};
use std::time::{Duration, Instant};
use wiremock::matchers::{method, path};
use wiremock::{Mock, MockServer, ResponseTemplate};

fn entry(cursor: &str) -> Value {
    json!({
        "id": ID, "number": 1, "cursor": cursor, "raised_at": "2031-04-02T08:00:00Z", "as_of": "2031-04-02",
        "kind": "due", "covers": ["due"], "task_id": ID, "property_id": ID, "property_name": "Quince Terrace",
        "system_id": ID, "system_name": "apple shed", "component_id": ID, "component_name": "north screen",
        "component_kind": "debris_screen", "duty": "clean_screen", "title": "clean the debris screen",
        "due_on": "2031-04-02", "window": null, "decided_by": "longest_interval", "moved": null, "done_on": null,
        "reasons": [], "cautions": [], "bring": []
    })
}

/// A stretch of the feed: entries by their cursors, and where it was read to.
fn stretch(entries: &[&str], read_to: &str, behind: i64) -> ResponseTemplate {
    let items: Vec<Value> = entries.iter().map(|cursor| entry(cursor)).collect();
    ResponseTemplate::new(200).set_body_json(json!({"items": items, "cursor": read_to, "behind": behind}))
}

/// A server that gives these answers one after the other, and a client that asks it once a question and has the time to
/// let the service wait.
async fn playing(answers: impl IntoIterator<Item = ResponseTemplate>) -> (MockServer, Client) {
    let server = MockServer::start().await;
    for answer in answers {
        let feed = Mock::given(method("GET")).and(path("/v1/reminders"));
        feed.respond_with(answer).up_to_n_times(1).mount(&server).await;
    }
    let client = client_with(&server, Duration::from_secs(40), RetryPolicy::never());
    (server, client)
}

fn follow(client: &Client, after: &str) -> Follow {
    client.reminders().follow(&ReminderQuery::builder().after(after).build())
}

/// `after` and `wait` of every question that was asked.
async fn asked(server: &MockServer) -> Vec<(String, String)> {
    let value = |request: &wiremock::Request, name: &str| {
        let mut pairs = request.url.query_pairs();
        pairs.find(|(key, _)| key == name).map(|(_, value)| value.into_owned()).unwrap_or_default()
    };
    requests_of(server)
        .await
        .iter()
        .map(|request| (value(request, "after"), value(request, "wait")))
        .collect()
}

fn pairs(pairs: &[(&str, &str)]) -> Vec<(String, String)> {
    pairs.iter().map(|(after, wait)| ((*after).to_owned(), (*wait).to_owned())).collect()
}

#[tokio::test]
async fn the_end_of_the_feed_is_asked_for_once_and_without_waiting() {
    let answers = [stretch(&[], "a", 0), stretch(&[], "b", 0), stretch(&["c"], "c", 0)];
    let (server, client) = playing(answers).await;
    let mut entries = follow(&client, "now");
    assert_eq!(entries.next().await.expect("an entry").cursor, "c");
    // What comes between two questions would be lost if the second asked for the end again.
    assert_eq!(asked(&server).await, pairs(&[("now", "0"), ("a", "25"), ("b", "25")]));
}

#[tokio::test]
async fn the_end_of_the_feed_is_asked_for_again_until_there_is_an_answer() {
    let (server, client) = playing([problem("unavailable", 503), stretch(&[], "a", 0)]).await;
    let mut entries = follow(&client, "now");
    assert!(entries.poll().await.expect_err("away").is_transient());
    assert_eq!(entries.poll().await.expect("an answer"), None);
    assert_eq!(entries.cursor(), Some("a"), "a restart does not begin at the end anew");
    assert_eq!(asked(&server).await, pairs(&[("now", "0"), ("now", "0")]));
}

#[tokio::test]
async fn an_error_does_not_end_it_and_skips_nothing() {
    let away = || problem("unavailable", 503);
    let answers = [away(), stretch(&["b"], "b", 0), away(), away(), stretch(&["c"], "c", 0)];
    let (server, client) = playing(answers).await;
    let mut entries = follow(&client, "a");
    let mut seen = Vec::new();
    while seen.len() < 5 {
        seen.push(match entries.next().await {
            Ok(entry) => entry.cursor,
            Err(error) => {
                assert!(error.is_transient() && error.is_unavailable(), "{error}");
                format!("kept {}", entries.cursor().expect("a cursor"))
            }
        });
    }
    assert_eq!(seen, ["kept a", "b", "kept b", "kept b", "c"]);
    assert_eq!(
        asked(&server).await,
        pairs(&[("a", "25"), ("a", "25"), ("b", "25"), ("b", "25"), ("b", "25")])
    );
}

#[tokio::test]
async fn a_feed_is_read_from_its_beginning_without_a_cursor() {
    let (server, client) = playing([problem("unavailable", 503), stretch(&["a"], "a", 0)]).await;
    let mut entries = client.reminders().follow(&ReminderQuery::default());
    assert!(entries.next().await.is_err());
    assert_eq!(entries.cursor(), None, "nothing was answered");
    assert_eq!(entries.next().await.expect("an entry").cursor, "a");
    assert_eq!(asked(&server).await, pairs(&[("", "25"), ("", "25")]));
}

#[tokio::test]
async fn the_cursor_moves_over_what_a_filter_leaves_out() {
    let answers =
        [stretch(&[], "e", 0), stretch(&["g"], "k", 0), problem("unavailable", 503), stretch(&[], "m", 0)];
    let (server, client) = playing(answers).await;
    let mut entries = follow(&client, "a");
    assert_eq!((entries.poll().await.expect("an answer"), entries.cursor()), (None, Some("e")));
    assert_eq!(entries.next().await.expect("an entry").cursor, "g");
    assert_eq!(entries.cursor(), Some("g"), "no further than the entry that was given");
    // Whoever asks for more has dealt with it, and what was left out behind it need not be looked at again.
    assert!(entries.poll().await.is_err());
    assert_eq!(entries.cursor(), Some("k"));
    assert_eq!((entries.poll().await.expect("an answer"), entries.cursor()), (None, Some("m")));
    assert_eq!(asked(&server).await, pairs(&[("a", "25"), ("e", "25"), ("k", "25"), ("k", "25")]));
}

#[tokio::test]
async fn the_cursor_stays_behind_the_entry_that_was_given_while_more_are_ahead() {
    let (server, client) = playing([stretch(&["b", "c", "d"], "f", 7), stretch(&["h"], "h", 0)]).await;
    let mut entries = follow(&client, "a");
    for given in ["b", "c", "d"] {
        assert_eq!(entries.next().await.expect("an entry").cursor, given);
        assert_eq!((entries.cursor(), entries.behind()), (Some(given), 7), "a restart gives the next one");
    }
    assert_eq!(asked(&server).await.len(), 1, "one answer is enough for three");
    assert_eq!(entries.next().await.expect("an entry").cursor, "h");
    assert_eq!((entries.cursor(), entries.behind()), (Some("h"), 0));
    assert_eq!(asked(&server).await, pairs(&[("a", "25"), ("f", "25")]));
}

#[tokio::test]
async fn an_expired_cursor_comes_again_each_time() {
    let expired = || problem("cursor_expired", 410);
    let (server, client) = playing([expired(), expired()]).await;
    let mut entries = follow(&client, "a");
    for _ in 0..2 {
        let error = entries.next().await.expect_err("gone");
        assert!(error.is_cursor_expired() && !error.is_transient(), "{error}");
    }
    assert_eq!(asked(&server).await, pairs(&[("a", "25"), ("a", "25")]));
}

#[tokio::test]
async fn a_bad_cursor_speaks_of_the_reminders() {
    let bad = || problem("bad_cursor", 400);
    let (_server, client) = playing([bad(), bad()]).await;
    let query = ReminderQuery::builder().after("a").build();
    let pulled = client.reminders().pull(&query).await.expect_err("strange");
    let followed = follow(&client, "a").next().await.expect_err("strange");
    for error in [pulled, followed] {
        let detail = &error.problem().expect("a problem").detail;
        assert!(error.is_bad_cursor() && detail.contains("not one of the reminders' feed"), "{error}");
    }
}

#[tokio::test]
async fn a_client_without_the_time_to_wait_asks_at_intervals() {
    let (server, _) = playing([stretch(&[], "a", 0), stretch(&["b"], "b", 0)]).await;
    // Five seconds an attempt leave the service none to wait in.
    let client = client(&server);
    let began = Instant::now();
    assert_eq!(follow(&client, "a").next().await.expect("an entry").cursor, "b");
    assert!(began.elapsed() >= Duration::from_secs(2), "{:?}", began.elapsed());
    assert_eq!(asked(&server).await, pairs(&[("a", "0"), ("a", "0")]));
}

#[test]
fn the_examples_outlive_what_passes() {
    let tour = include_str!("../../../client/src/lib.rs");
    let readme = include_str!("../../../README.md");
    assert!(tour.contains("reminders().follow("), "the tour has an example of it");
    for rest in [tour, readme].iter().filter_map(|text| text.split("reminders().follow(").nth(1)) {
        let example = rest.split("```").next().expect("the end of an example");
        assert!(example.contains("if error.is_transient() =>"), "{example}");
        assert!(!example.contains("next().await?"), "a lost connection ends it: {example}");
    }
}
