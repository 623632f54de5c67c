//! No text from a server and no name controls the terminal through standard error.

use super::{SPARE, SYSTEM, component, mount_page, run};
use crate::app::Io;
use crate::args::Cli;
use crate::environment::Environment;
use crate::{dispatch, failure};
use clap::Parser;
use serde_json::json;
use std::io::{self, Write};
use std::sync::{Arc, Mutex};
use std::time::Duration;
use wiremock::matchers::any;
use wiremock::{Mock, MockServer, ResponseTemplate};

/// Clears the screen and gives its window another name.
const DRIVES: &str = "\u{1b}[2J\u{1b}]0;other\u{7}\u{9b}31m";

fn assert_tame(err: &str) {
    let wild: Vec<char> = err.chars().filter(|c| c.is_control() && *c != '\n').collect();
    assert!(wild.is_empty(), "{wild:?} in {err:?}");
}

fn problem(status: u16) -> ResponseTemplate {
    let text = |what: &str| format!("{what}{DRIVES}\nerror: forged");
    let body = json!({
        "type": "/problems/invalid", "title": text("title"), "status": status, "code": "invalid",
        "detail": text("detail"), "request_id": text("id"),
        "errors": [{"field": text("field"), "message": text("message")}]
    });
    ResponseTemplate::new(status).set_body_raw(body.to_string(), "application/problem+json")
}

async fn answering(answer: ResponseTemplate) -> MockServer {
    let server = MockServer::start().await;
    Mock::given(any()).respond_with(answer).mount(&server).await;
    server
}

#[tokio::test]
async fn a_problem_is_told_in_lines_of_its_own_alone() {
    for status in [422, 401, 412] {
        let ran = run(&answering(problem(status)).await, &["account"], "").await;
        assert_eq!(ran.code, failure::REFUSED);
        assert_tame(&ran.err);
        for part in ["error: title", "\n  detail", "\n  field", ": message", "\n  request id: id"] {
            assert!(ran.err.contains(part), "{part} is not in {:?}", ran.err);
        }
        assert!(!ran.err.contains("\nerror: forged"), "{:?}", ran.err);
    }
}

#[tokio::test]
async fn names_are_told_without_what_drives_the_terminal() {
    let server = MockServer::start().await;
    let named = json!([component(SPARE, &format!("north{DRIVES} screen"))]);
    mount_page(&server, &format!("/v1/systems/{SYSTEM}/components"), named).await;
    let log = ["visit", "log", SYSTEM, "--on", "2031-04-02", "--done", "south screen:clean-screen"];
    let ran = run(&server, &log, "").await;
    assert_eq!(ran.code, failure::USAGE);
    assert!(ran.err.contains("the system has north"), "{:?}", ran.err);
    assert_tame(&ran.err);
}

/// Standard error that can be read while the command runs.
#[derive(Clone, Default)]
struct Shared(Arc<Mutex<Vec<u8>>>);

impl Shared {
    fn text(&self) -> String {
        String::from_utf8(self.0.lock().expect("nobody panicked").clone()).expect("UTF-8")
    }
}

impl Write for Shared {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.lock().expect("nobody panicked").write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

#[tokio::test]
async fn warnings_are_told_without_it() {
    for args in [&["reminders", "--follow"][..], &["watch", SYSTEM]] {
        // Longer than the client's own retries last.
        let server = answering(problem(429).insert_header("retry-after", "86400")).await;
        let uri = server.uri();
        let cli = Cli::try_parse_from(["eavesward", "--url", &uri, "--key", "k"].iter().chain(args));
        let cli = cli.unwrap_or_else(|e| panic!("{args:?}: {e}"));
        let (mut err, environment) = (Shared::default(), Environment::default());
        let told = err.clone();
        let mut out = Vec::new();
        let io = Io { stdin: &mut io::empty(), out: &mut out, err: &mut err };
        let warned = async {
            while !told.text().ends_with("; trying again\n") {
                tokio::time::sleep(Duration::from_millis(5)).await;
            }
        };
        // The command never ends; wait only for the warning.
        tokio::select! {
            code = dispatch::run(cli, &environment, io) => panic!("{args:?} ended with {code}: {}", told.text()),
            () = warned => {}
            () = tokio::time::sleep(Duration::from_secs(20)) => panic!("{args:?}: no warning: {}", told.text()),
        }
        assert!(told.text().starts_with("warning: GET /v1/"), "{:?}", told.text());
        assert_tame(&told.text());
    }
}
