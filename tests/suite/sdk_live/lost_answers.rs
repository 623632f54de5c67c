//! Answers that are lost on the way back: the work was done, and the SDK does not know it.

use super::{client, property};
use crate::support::app::{App, over_both};
use eavesward_client::{Client, ListQuery, RetryPolicy};
use std::io::{Read as _, Write as _};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

over_both! {
    a_repeated_post_does_the_work_once;
    a_post_is_repeated_until_an_answer_tells;
    a_repeated_update_is_told_apart_from_a_rival;
    a_repeated_delete_finds_nothing_and_says_so;
}

/// A line to the service. The answers of its first connections are lost.
pub(super) struct BadLine {
    pub(super) url: String,
    connections: Arc<AtomicUsize>,
    /// How many connections lose their answers.
    pub(super) lost: Arc<AtomicUsize>,
}

pub(super) fn bad_line(app: &App, lost: usize) -> BadLine {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let url = format!("http://{}", listener.local_addr().expect("its address"));
    let service = app.url.strip_prefix("http://").expect("plain HTTP").to_owned();
    let connections = Arc::new(AtomicUsize::new(0));
    let lost = Arc::new(AtomicUsize::new(lost));
    let (count, losing) = (connections.clone(), lost.clone());
    std::thread::spawn(move || {
        for near in listener.incoming().map_while(Result::ok) {
            let Ok(far) = TcpStream::connect(&service) else { return };
            let dead = count.fetch_add(1, Ordering::SeqCst) < losing.load(Ordering::SeqCst);
            let (from, to) = (near.try_clone().expect("a socket"), far.try_clone().expect("a socket"));
            std::thread::spawn(move || pass_on(from, to, false));
            std::thread::spawn(move || pass_on(far, near, dead));
        }
    });
    BadLine { url, connections, lost }
}

/// Passes bytes on until the line ends, or until the first one comes if the line is dead.
fn pass_on(mut from: TcpStream, mut to: TcpStream, dead: bool) {
    let mut buffer = [0; 4096];
    while let Ok(read @ 1..) = from.read(&mut buffer) {
        if dead || to.write_all(&buffer[..read]).is_err() {
            break;
        }
    }
    let _ = (from.shutdown(Shutdown::Both), to.shutdown(Shutdown::Both));
}

fn over(line: &BadLine, app: &App) -> Client {
    let retry = RetryPolicy::default().base(Duration::from_millis(2));
    Client::builder()
        .base_url(line.url.as_str())
        .key(app.key.as_str())
        .retry(retry)
        .build()
        .expect("a client")
}

async fn a_repeated_post_does_the_work_once(app: &App) {
    let line = bad_line(app, 1);
    let made = over(&line, app).properties().create(&property("orchard")).await.expect("the second attempt");
    assert_eq!(line.connections.load(Ordering::SeqCst), 2, "the first answer was lost");
    let all = client(app).properties().list(&ListQuery::default()).all().await.expect("properties");
    assert_eq!(all, [made]);
}

async fn a_post_is_repeated_until_an_answer_tells(app: &App) {
    let line = bad_line(app, 9);
    let made = over(&line, app).properties().create(&property("orchard")).await.expect("the tenth attempt");
    assert_eq!(line.connections.load(Ordering::SeqCst), 10, "nine answers were lost");
    let all = client(app).properties().list(&ListQuery::default()).all().await.expect("properties");
    assert_eq!(all, [made]);
}

async fn a_repeated_update_is_told_apart_from_a_rival(app: &App) {
    let direct = client(app);
    let made = direct.properties().create(&property("orchard")).await.expect("a property");
    let line = bad_line(app, 1);
    let update = over(&line, app).properties().update(made.id, made.version, &property("terrace")).await;
    let error = update.expect_err("the second attempt meets the first");
    assert!(error.is_version_mismatch() && error.may_have_been_applied(), "{error}");
    assert_eq!(error.attempts(), 2, "{error}");
    assert_eq!(direct.properties().get(made.id).await.expect("it").name, "terrace", "the first one did it");
}

async fn a_repeated_delete_finds_nothing_and_says_so(app: &App) {
    let direct = client(app);
    let made = direct.properties().create(&property("orchard")).await.expect("a property");
    let line = bad_line(app, 1);
    let error = over(&line, app).properties().delete(made.id, made.version).await.expect_err("it is gone");
    assert!(error.is_not_found() && error.may_have_been_applied(), "{error}");
    assert!(direct.properties().get(made.id).await.expect_err("gone").is_not_found());
}
