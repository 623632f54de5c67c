//! A watched system as it is printed.

use super::{SCREEN, SYSTEM, run};
use crate::failure;
use serde_json::{Value, json};
use wiremock::matchers::{any, header, method, path};
use wiremock::{Mock, MockServer, ResponseTemplate};

fn status(state: &str, due_on: &str) -> Value {
    json!({
        "system_id": SYSTEM, "system_name": "apple\u{1b}[2J shed", "as_of": "2031-04-02", "state": state,
        "next": [{"task_id": SCREEN, "component_name": "north screen", "duty": "clean_screen",
            "title": "clean the debris screen", "state": state, "due_on": due_on}],
        "rain_through": null, "runoff_7_days_mm": 0.0, "runoff_7_days_l": 0.0, "runoff_30_days_mm": 0.0,
        "runoff_30_days_l": 0.0, "unread_of_30_days": 30, "since_served": []
    })
}

async fn playing() -> MockServer {
    let server = MockServer::start().await;
    let at = format!("/v1/systems/{SYSTEM}/status");
    let fresh = |status: Value, tag: &str| {
        ResponseTemplate::new(200)
            .set_body_json(status)
            .insert_header("etag", tag)
            .insert_header("cache-control", "private, max-age=0")
    };
    let get = || Mock::given(method("GET")).and(path(at.as_str()));
    let known = |tag: &str| get().and(header("if-none-match", tag));
    known("\"a\"").respond_with(fresh(status("due", "2031-04-02"), "\"b\"")).mount(&server).await;
    known("\"b\"").respond_with(ResponseTemplate::new(503)).mount(&server).await;
    get().respond_with(fresh(status("near", "2031-04-05"), "\"a\"")).mount(&server).await;
    server
}

#[tokio::test]
async fn the_status_comes_first_and_then_what_changes() {
    let server = playing().await;
    let ran = run(&server, &["watch", SYSTEM, "--at-most", "1", "--count", "2"], "").await;
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
    let (first, then) = ran.out.split_once("apple [2J shed on 2031-04-02: due\n").expect("a second status");
    assert!(first.starts_with("apple [2J shed on 2031-04-02: near\n"), "{first}");
    assert!(
        first.contains("DUE         STATE  COMPONENT     WHAT TO DO\n2031-04-05  near   north screen"),
        "{first}"
    );
    assert_eq!(
        then,
        "  was near\n  north screen: clean the debris screen, due 2031-04-02 instead of 2031-04-05, due\n"
    );
}

#[tokio::test]
async fn programs_get_a_line_of_json_each_and_may_go_on_from_a_tag() {
    let server = playing().await;
    let watch = ["--json", "watch", SYSTEM, "--at-most", "1", "--count"];
    let ran = run(&server, &[&watch[..], &["2"]].concat(), "").await;
    let lines: Vec<Value> = ran.out.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect();
    assert_eq!(
        (lines.len(), &lines[0]["etag"], &lines[1]["status"]["state"]),
        (2, &json!("\"a\""), &json!("due"))
    );
    let ran = run(&server, &[&watch[..], &["1", "--known", "\"a\""]].concat(), "").await;
    let line: Value = serde_json::from_str(&ran.out).expect("one line");
    assert_eq!(line["etag"], "\"b\"");
}

#[tokio::test]
async fn a_connection_tells_the_same() {
    let server = MockServer::start().await;
    let event = |tag: &str, status: Value| format!("event: status\nid: {tag}\ndata: {status}\n\n");
    let text = event("\"a\"", status("near", "2031-04-05")) + &event("\"b\"", status("late", "2031-03-01"));
    let stream = ResponseTemplate::new(200).set_body_raw(text, "text/event-stream");
    let at = format!("/v1/systems/{SYSTEM}/status/events");
    Mock::given(method("GET")).and(path(at)).respond_with(stream).mount(&server).await;
    let ran = run(&server, &["watch", SYSTEM, "--connected", "--count", "2", "--color", "always"], "").await;
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
    assert!(ran.out.contains("shed on 2031-04-02: \u{1b}[1;31mlate\u{1b}[0m\n  was near\n"), "{}", ran.out);
}

#[tokio::test]
async fn what_will_not_pass_ends_it() {
    let server = MockServer::start().await;
    Mock::given(any()).respond_with(ResponseTemplate::new(403)).mount(&server).await;
    let ran = run(&server, &["watch", SYSTEM], "").await;
    assert_eq!((ran.code, ran.out.as_str()), (failure::REFUSED, ""));
    assert!(ran.err.starts_with("error: "), "{}", ran.err);
}
