//! Bounds on what one account may ask for: who sends too much is told when to come again, and others notice nothing.

use crate::support::app::{App, Kind, Reply};
use std::io::{Read as _, Write as _};
use std::net::TcpStream;
use std::time::Duration;

/// The bounds do not depend on the database.
const KIND: Kind = Kind::Sqlite;

#[tokio::test]
async fn who_sends_too_many_is_told_when_to_come_again() {
    let app = App::start_with(KIND, |settings| {
        settings.requests_per_s = Some(1);
        settings.requests_burst = Some(5);
    })
    .await;
    // One a second is allowed for good; however slow this machine is, it asks sooner than that at last.
    let mut answered = 0;
    let refused = loop {
        let reply = Reply::of(app.request("GET", "/v1/account")).await;
        if reply.status == 429 {
            break reply;
        }
        reply.expect(200);
        assert_eq!(reply.header("ratelimit-policy"), "\"account\";q=5;w=5");
        assert!(reply.header("ratelimit").starts_with("\"account\";r="), "{}", reply.header("ratelimit"));
        answered += 1;
    };
    assert!(answered >= 5, "only {answered} were answered");
    let problem = refused.problem("rate_limited");
    assert!(
        problem["detail"].as_str().is_some_and(|text| text.contains("5 requests in 5 seconds")),
        "{problem}"
    );
    assert_eq!(refused.header("retry-after"), "1");
    assert_eq!(refused.header("ratelimit"), "\"account\";r=0;t=1");

    // Neither another account nor a probe notices.
    let other = app.other_account().await;
    Reply::of(app.request_as(&other, "GET", "/v1/account")).await.expect(200);
    for path in ["/healthz", "/readyz", "/openapi.json"] {
        assert_eq!(Reply::of(app.anonymous("GET", path)).await.status, 200, "{path}");
    }
    app.stop().await;
}

#[tokio::test]
async fn requests_under_way_are_bounded_and_a_waiting_one_is_not_under_way() {
    let app = App::start_with(KIND, |settings| {
        settings.requests_in_flight = Some(1);
        settings.requests_at_once = Some(1);
    })
    .await;
    // It waits for an entry: it holds neither a place nor a turn.
    let waiting = tokio::spawn(Reply::of(app.request("GET", "/v1/reminders?after=now&wait=30")));
    while app.cx.written.receiver_count() == 0 {
        tokio::task::yield_now().await;
    }
    let account = loop {
        let reply = Reply::of(app.request("GET", "/v1/account")).await;
        // The one that waits is under way until it begins to wait.
        if reply.status == 200 {
            break reply;
        }
        reply.problem("rate_limited");
    };
    assert!(account.expect(200)["id"].is_string());

    // A body that does not come keeps its request under way.
    let mut slow = half_sent(&app);
    let refused = loop {
        let reply = Reply::of(app.request("GET", "/v1/account")).await;
        if reply.status == 429 {
            break reply;
        }
        tokio::task::yield_now().await;
    };
    let problem = refused.problem("rate_limited");
    assert!(problem["detail"].as_str().is_some_and(|text| text.contains("1 request under way")), "{problem}");
    assert_eq!(refused.header("retry-after"), "1");
    let other = app.other_account().await;
    Reply::of(app.request_as(&other, "GET", "/v1/account")).await.expect(200);

    // Its end frees the place.
    slow.write_all(b"}").expect("the rest of the body");
    let mut start = [0; 12];
    slow.read_exact(&mut start).expect("an answer");
    assert!(start.starts_with(b"HTTP/1.1 4"), "{}", String::from_utf8_lossy(&start));
    Reply::of(app.request("GET", "/v1/account")).await.expect(200);
    waiting.abort();
    app.stop().await;
}

/// A request whose body lacks its last byte.
fn half_sent(app: &App) -> TcpStream {
    let host = app.url.trim_start_matches("http://");
    let mut stream = TcpStream::connect(host).expect("a connection");
    stream.set_read_timeout(Some(Duration::from_mins(1))).expect("a bound");
    let head = format!(
        "POST /v1/properties HTTP/1.1\r\nHost: {host}\r\nAuthorization: Bearer {}\r\nContent-Type: \
         application/json\r\nContent-Length: 2\r\n\r\n{{",
        app.key
    );
    stream.write_all(head.as_bytes()).expect("a request");
    stream
}
