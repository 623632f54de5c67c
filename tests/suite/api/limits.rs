//! Bounds on what one account may ask for: who sends too much is told when to come again, and others notice nothing.

use crate::support::app::{App, Kind, Reply};
use crate::support::until;
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
    let refused = until("a refusal", async || {
        let reply = Reply::of(app.request("GET", "/v1/account")).await;
        if reply.status == 429 {
            return Some(reply);
        }
        assert_eq!(reply.header("ratelimit-policy"), "\"account\";q=5;w=5");
        assert!(reply.header("ratelimit").starts_with("\"account\";r="), "{}", reply.header("ratelimit"));
        reply.expect(200);
        answered += 1;
        None
    })
    .await;
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
    until("a reader that waits", async || (app.cx.written.receiver_count() > 0).then_some(())).await;
    // The one that waits is under way until it begins to wait.
    let account = until("a free place", async || answered(&app, 200).await).await;
    assert!(account.expect(200)["id"].is_string());

    // A body that does not come keeps its request under way. One that meets a request of ours is refused itself.
    let (mut slow, refused) = until("a request that is kept under way", async || {
        let slow = half_sent(&app);
        // One refusal may come from a request of ours that has just ended, ten in a row cannot.
        let mut refused = Vec::new();
        for _ in 0..100 {
            match answered(&app, 429).await {
                Some(reply) => refused.push(reply),
                None => refused.clear(),
            }
            if refused.len() == 10 {
                return refused.pop().map(|reply| (slow, reply));
            }
            tokio::time::sleep(Duration::from_millis(2)).await;
        }
        None
    })
    .await;
    let problem = refused.problem("rate_limited");
    assert!(problem["detail"].as_str().is_some_and(|text| text.contains("1 request under way")), "{problem}");
    assert_eq!(refused.header("retry-after"), "1");
    let other = app.other_account().await;
    Reply::of(app.request_as(&other, "GET", "/v1/account")).await.expect(200);

    // Its end frees the place.
    slow.write_all(b"}").expect("the rest of the body");
    let mut start = [0; 12];
    slow.read_exact(&mut start).expect("an answer");
    assert_eq!(String::from_utf8_lossy(&start), "HTTP/1.1 400");
    until("the place it had", async || answered(&app, 200).await).await;
    waiting.abort();
    app.stop().await;
}

/// The answer of a request, if it has this status.
async fn answered(app: &App, status: u16) -> Option<Reply> {
    Some(Reply::of(app.request("GET", "/v1/account")).await).filter(|reply| reply.status == status)
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
