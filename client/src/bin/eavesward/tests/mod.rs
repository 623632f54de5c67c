//! The command from its arguments to its output and exit code, against a mock server.

mod by_flags;
mod figures;
mod inputs;
mod itself;
mod outputs;
mod reminders;
mod skill;
mod subscriptions;
mod terminal;
mod watch;

use crate::app::Io;
use crate::args::Cli;
use crate::environment::Environment;
use crate::{dispatch, failure};
use clap::{CommandFactory, Parser};
use serde_json::{Value, json};
use std::io::{self, Write};
use wiremock::matchers::{any, body_json, header, method, path, query_param, query_param_is_missing};
use wiremock::{Mock, MockServer, ResponseTemplate};

const SYSTEM: &str = "01930000-0000-7000-8000-000000000001";
const SCREEN: &str = "01930000-0000-7000-8000-000000000002";
const SPARE: &str = "01930000-0000-7000-8000-000000000003";
const SECRET: &str = "eaves-secret-4711";

struct Ran {
    code: u8,
    out: String,
    err: String,
}

async fn run_with(server: &MockServer, args: &[&str], stdin: &str, out: &mut dyn Write) -> (u8, String) {
    run_in(server, &Environment::default(), args, stdin, out).await
}

async fn run_in(
    server: &MockServer,
    environment: &Environment,
    args: &[&str],
    stdin: &str,
    out: &mut dyn Write,
) -> (u8, String) {
    let uri = server.uri();
    let common = ["eavesward", "--url", &uri, "--key", SECRET];
    let given = common.iter().chain(args);
    let cli = Cli::try_parse_from(given).unwrap_or_else(|e| panic!("{args:?}: {e}"));
    let (mut input, mut err) = (stdin.as_bytes(), Vec::new());
    let code = dispatch::run(cli, environment, Io { stdin: &mut input, out, err: &mut err }).await;
    let err = String::from_utf8(err).expect("UTF-8");
    assert!(!err.contains(SECRET), "{err}");
    (code, err)
}

async fn run(server: &MockServer, args: &[&str], stdin: &str) -> Ran {
    let mut out = Vec::new();
    let (code, err) = run_with(server, args, stdin, &mut out).await;
    Ran { code, out: String::from_utf8(out).expect("UTF-8"), err }
}

fn task(component: &str, state: &str, bring: &[&str]) -> Value {
    json!({
        "id": SPARE, "property_id": SYSTEM, "property_name": "Quince Terrace", "system_id": SYSTEM,
        "system_name": "orchard shed", "component_id": SCREEN, "component_name": component,
        "component_kind": "debris_screen", "duty": "clean_screen", "title": "clean the debris screen",
        "state": state, "due_on": "2031-04-02", "decided_by": "prediction", "longest_interval_on": "2031-06-01",
        "window": {"early_on": "2031-03-20", "likely_on": "2031-04-02", "late_on": null},
        "since": "2031-01-01",
        "accumulated": {"value": 254.0, "unit": "mm", "of": "runoff", "from_readings": 254.0, "from_climate": 0.0,
                  "days_read": 90, "days_unread": 1},
        "limit": {"value": 508.0, "unit": "mm", "of": "runoff", "log_sd": 0.5, "prior_value": 600.0,
                 "prior_log_sd": 0.8, "findings": 2, "source": "s", "judgement": true},
        "reasons": [], "bring": bring,
        "cautions": [{"hazard": "fall", "text": "Foot the ladder."}],
        "as_of": "2031-04-02", "refreshed_at": "2031-04-02T05:00:00Z"
    })
}

async fn mount_page(server: &MockServer, at: &str, items: Value) {
    let answer = ResponseTemplate::new(200).set_body_json(json!({"items": items}));
    Mock::given(method("GET")).and(path(at)).respond_with(answer).mount(server).await;
}

fn component(id: &str, name: &str) -> Value {
    json!({
        "id": id, "system_id": SYSTEM, "name": name, "part": {"kind": "debris_screen", "area_m2": 0.04},
        "roof_ids": [], "installed_on": "2031-01-01", "last_served_on": null, "retired_on": null, "replaces_id": null, "version": 1,
        "created_at": "2031-01-01T00:00:00Z", "updated_at": "2031-01-01T00:00:00Z"
    })
}

#[test]
fn the_command_line_is_sound() {
    Cli::command().debug_assert();
    let help = Cli::command().render_long_help().to_string();
    for code in ["0  done", "1  the service", "2  the command line", "3  the service refused", "4  `due"] {
        assert!(help.contains(code), "{code}");
    }
    for wrong in [
        &["due", "--within", "soon"][..],
        &["due", "--within", "7d", "--from", "2031-01-01"],
        &["due", "--state", "unknown"],
        &["forecast"],
        &["forecast", "x", "--file", "y"],
        &["visit", "log", "x", "--on", "yesterday"],
        &["visit", "log", "x", "--on", "2031-01-01", "--done", "north screen"],
        &["gauge", "normals", "x", "--rain-mm", "1,2"],
        &["key", "add", "--name", "x"],
        &["key", "add", "--name", "x", "--scope", "read", "--system", "y"],
        &["rain", "add", "x", "2031-01-01", "0,5 in"],
        &["rain", "add", "x", "2031-01-01", "5 gal"],
        &["system", "add"],
        &["system", "add", "--name", "x", "--roof", "50"],
        &["system", "add", "--name", "x", "--file", "y"],
        &["component", "add", "x"],
        &["component", "add", "x", "--kind", "pump"],
        &["watch"],
        &["watch", "x", "--count", "0"],
        &["completions", "abacus"],
        &["profile", "add", "two words"],
        &["digest", "--within", "7d", "--to", "2031-01-01"],
        &["digest", "--format", "pdf"],
        &["calendar", "add"],
        &["calendar", "revoke", "x"],
        &["duty", "set", "clean-screen"],
        &["duty", "set", "polish", "--longest-interval-months", "3"],
        &["duty", "set", "unknown", "--longest-interval-months", "3"],
        &["duty", "set", "clean-screen", "--tolerance", "high"],
        &["duty", "set", "clean-screen", "--longest-interval-months", "1.5"],
        &["property", "climate", "x", "--mean-c", "1,2,3"],
        &["component", "frost", SCREEN],
        &["component", "frost", SCREEN, "--first", "10-25"],
        &["component", "frost", SCREEN, "--first", "10-25", "--last", "04-20", "--clear"],
        &["visit", "log", "x", "--on", "2031-01-01", "--left", "north screen:clean-screen"],
        &["subscription", "change", SCREEN],
        &["subscription", "change", SCREEN, "--clear", "name"],
    ] {
        let given = ["eavesward"].iter().chain(wrong);
        let error = Cli::try_parse_from(given).err().unwrap_or_else(|| panic!("{wrong:?} was taken"));
        assert_eq!(error.exit_code(), i32::from(failure::USAGE), "{wrong:?}");
    }
}

#[tokio::test]
async fn the_weekly_list_is_a_table_with_things_once_and_hazards_once() {
    let server = MockServer::start().await;
    let items = json!([
        task("north screen", "late", &["a brush", "a ladder"]),
        task("south\u{1b}[2J screen", "due", &["a ladder"])
    ]);
    let answer = ResponseTemplate::new(200).set_body_json(json!({"items": items}));
    Mock::given(path("/v1/tasks"))
        .and(query_param("within", "P7D"))
        .and(query_param_is_missing("from"))
        .respond_with(answer)
        .expect(2)
        .mount(&server)
        .await;
    let ran = run(&server, &["due", "--units", "us", "--fail-if-late"], "").await;
    assert_eq!((ran.code, ran.err.as_str()), (failure::LATE, ""));
    let want = "\
DUE         STATE  PROPERTY        SYSTEM        COMPONENT         WHAT TO DO               DECIDED BY  ACCUMULATED / LIMIT
2031-04-02  late   Quince Terrace  orchard shed  north screen      clean the debris screen  prediction  10 / 20 in of runoff
2031-04-02  due    Quince Terrace  orchard shed  south [2J screen  clean the debris screen  prediction  10 / 20 in of runoff

Bring
  - a brush
  - a ladder

Be careful
  - fall: Foot the ladder.

When it is done
  eavesward visit log 01930000-0000-7000-8000-000000000001 --on YYYY-MM-DD --done 'north screen:clean-screen'
";
    assert_eq!(ran.out, want, "an escape character in a name is shown as a blank");
    let json = run(&server, &["--json", "due", "--units", "us"], "").await;
    let back: Value = serde_json::from_str(&json.out).expect("JSON");
    assert_eq!((back[0]["accumulated"]["value"].as_f64(), json.code), (Some(254.0), 0), "JSON stays SI");
}

#[tokio::test]
async fn the_line_to_log_a_visit_with_can_be_pasted_whatever_a_component_is_called() {
    for (name, done) in [
        ("12\" downpipe screen", "'12\" downpipe screen:clean-screen'"),
        ("$(reboot) `reboot`", "'$(reboot) `reboot`:clean-screen'"),
        ("miller's", "'miller'\\''s:clean-screen'"),
        ("north", "north:clean-screen"),
    ] {
        let server = MockServer::start().await;
        mount_page(&server, "/v1/tasks", json!([task(name, "due", &[])])).await;
        let ran = run(&server, &["due"], "").await;
        let line = format!("  eavesward visit log {SYSTEM} --on YYYY-MM-DD --done {done}\n");
        assert!(ran.out.ends_with(&line), "{line} does not end {}", ran.out);
    }
}

#[tokio::test]
async fn an_empty_list_says_what_to_do_next() {
    let server = MockServer::start().await;
    for at in ["/v1/tasks", "/v1/properties", "/v1/gauges", "/v1/systems", "/v1/visits", "/v1/keys"] {
        mount_page(&server, at, json!([])).await;
    }
    for list in [
        &["due"][..],
        &["property", "list"],
        &["gauge", "list"],
        &["system", "list"],
        &["visit", "list"],
        &["key", "list"],
    ] {
        let ran = run(&server, list, "").await;
        assert!(ran.code == 0 && ran.out.contains("`eavesward "), "{list:?}: {}", ran.out);
    }
}

#[tokio::test]
async fn a_visit_names_components_and_joins_what_was_done_and_found() {
    let server = MockServer::start().await;
    let list = json!([component(SCREEN, "North screen"), component(SPARE, "spare: screen")]);
    mount_page(&server, &format!("/v1/systems/{SYSTEM}/components"), list).await;
    Mock::given(method("POST"))
        .and(path("/v1/visits"))
        .and(body_json(json!({
            "system_id": SYSTEM, "visited_on": "2031-04-02", "visited_by": "Tamsin",
            "items": [
                {"component_id": SCREEN, "duty": "clean_screen", "done": true,
                 "finding": {"found": "class", "fullness": "half"}, "cleaned_meanwhile": false},
                {"component_id": SPARE, "duty": "clean_screen", "done": false,
                 "finding": {"found": "fraction", "fraction": 0.35}, "cleaned_meanwhile": false}
            ]
        })))
        .respond_with(ResponseTemplate::new(201).set_body_json(json!({
            "id": SPARE, "system_id": SYSTEM, "visited_on": "2031-04-02", "visited_by": "Tamsin", "items": [],
            "note": null, "withdrawn_at": null, "withdrawn_because": null, "version": 1,
            "created_at": "2031-04-02T00:00:00Z", "updated_at": "2031-04-02T00:00:00Z"
        })))
        .expect(1)
        .mount(&server)
        .await;
    let log = |found: &'static str| {
        vec![
            "visit",
            "log",
            SYSTEM,
            "--on",
            "2031-04-02",
            "--by",
            "Tamsin",
            "--done",
            "north screen:clean-screen",
            "--found",
            "north screen:clean-screen=half",
            "--found",
            found,
        ]
    };
    let ran = run(&server, &log("spare: screen:clean-screen=0.35"), "").await;
    assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{}", ran.out);
    let twice = run(&server, &log("north screen:clean-screen=heavy"), "").await;
    assert_eq!(twice.code, failure::USAGE);
    let nobody = run(&server, &log("west screen:clean-screen=half"), "").await;
    assert!(nobody.code == failure::USAGE && nobody.err.contains("North screen"), "{}", nobody.err);
}

#[tokio::test]
async fn a_refusal_is_told_in_full_and_exits_with_3() {
    let server = MockServer::start().await;
    let body = json!({
        "type": "/problems/invalid", "title": "Some values are not allowed", "status": 422, "code": "invalid",
        "detail": "Two fields were refused.", "request_id": "req-7",
        "errors": [{"field": "name", "message": "is empty"}, {"field": "time_zone", "message": "is no zone"}]
    });
    let answer = ResponseTemplate::new(422).set_body_raw(body.to_string(), "application/problem+json");
    Mock::given(any()).respond_with(answer).mount(&server).await;
    let add = [
        "property",
        "add",
        "--name",
        "x",
        "--latitude",
        "-33.9",
        "--longitude",
        "18",
        "--time-zone",
        "Nowhere",
    ];
    let ran = run(&server, &add, "").await;
    assert_eq!((ran.code, ran.out.as_str()), (failure::REFUSED, ""));
    assert_eq!(
        ran.err,
        "error: Some values are not allowed\n  Two fields were refused.\n  name: is empty\n  time_zone: is no zone\n  request id: req-7\n"
    );
}

#[tokio::test]
async fn the_services_own_failure_exits_with_1() {
    let server = MockServer::start().await;
    Mock::given(any()).respond_with(ResponseTemplate::new(500).set_body_string("boom")).mount(&server).await;
    let ran = run(&server, &["account"], "").await;
    assert!(
        ran.code == failure::FAILED && ran.err.contains("500") && ran.err.contains("boom"),
        "{}",
        ran.err
    );
}

/// A reader that closed the pipe.
struct Closed;

impl Write for Closed {
    fn write(&mut self, _: &[u8]) -> io::Result<usize> {
        Err(io::ErrorKind::BrokenPipe.into())
    }

    fn flush(&mut self) -> io::Result<()> {
        Err(io::ErrorKind::BrokenPipe.into())
    }
}

#[tokio::test]
async fn a_closed_pipe_is_no_failure() {
    let server = MockServer::start().await;
    mount_page(&server, "/v1/tasks", json!([task("north screen", "due", &[])])).await;
    for args in [&["due"][..], &["due", "--json"]] {
        let (code, err) = run_with(&server, args, "", &mut Closed).await;
        assert_eq!((code, err.as_str()), (0, ""), "{args:?}");
        let (code, err) = run_with(&server, args, "", &mut io::BufWriter::new(Closed)).await;
        assert_eq!((code, err.as_str()), (0, ""), "{args:?}, buffered");
    }
}

#[tokio::test]
async fn output_that_is_lost_at_the_last_moment_is_a_failure() {
    struct Full;
    impl Write for Full {
        fn write(&mut self, _: &[u8]) -> io::Result<usize> {
            Err(io::ErrorKind::StorageFull.into())
        }

        fn flush(&mut self) -> io::Result<()> {
            Err(io::ErrorKind::StorageFull.into())
        }
    }
    let server = MockServer::start().await;
    mount_page(&server, "/v1/keys", json!([])).await;
    let (code, err) = run_with(&server, &["key", "list"], "", &mut io::BufWriter::new(Full)).await;
    assert!(code == failure::FAILED && err.contains("could not be written"), "{code} {err}");
}

#[tokio::test]
async fn rain_comes_from_standard_input_and_refusals_are_listed() {
    let server = MockServer::start().await;
    mount_page(&server, "/v1/gauges", json!([])).await;
    Mock::given(method("PUT"))
        .and(path(format!("/v1/gauges/{SYSTEM}/rain")))
        .and(query_param("layout", "ghcn_daily"))
        .and(query_param("several_days", "spread"))
        .and(header("content-type", "text/csv"))
        .respond_with(ResponseTemplate::new(200).set_body_json(json!({
            "counts": {"added": 1, "changed": 0, "same": 0, "refused": 1, "spread": 0, "other": 3},
            "refused": [{"line": 2, "index": null, "date": "20310102", "reason": "quality flag G"}],
            "rain_from": "2031-01-01", "rain_through": "2031-01-01"
        })))
        .mount(&server)
        .await;
    let import = ["rain", "import", SYSTEM, "-", "--layout", "ghcn-daily", "--several-days", "spread"];
    let ran = run(&server, &import, "S,20310101,PRCP,1\n").await;
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert!(ran.out.contains("line 2 (20310102): quality flag G"), "{}", ran.out);
    let unknown = run(&server, &["rain", "import", "roof gauge", "-"], "").await;
    assert!(
        unknown.code == failure::USAGE && unknown.err.contains("eavesward gauge list"),
        "{}",
        unknown.err
    );
}

#[tokio::test]
async fn the_example_of_a_system_is_one_and_wrong_files_are_told_by_path() {
    let server = MockServer::start().await;
    let example = run(&server, &["system", "example"], "").await;
    Mock::given(method("POST"))
        .and(path("/v1/systems"))
        .respond_with(ResponseTemplate::new(404))
        .expect(1)
        .mount(&server)
        .await;
    let add = ["system", "add", "--file", "-", "--gauge", SPARE];
    let sent = run(&server, &add, &example.out).await;
    assert_eq!(sent.code, failure::REFUSED, "it was read and sent: {}", sent.err);
    let requests = server.received_requests().await.expect("recording is on");
    let body: Value = serde_json::from_slice(&requests[0].body).expect("JSON");
    assert_eq!(body["gauge_id"], SPARE);
    let wrong = run(&server, &add, &example.out.replace("48.0", "\"large\"")).await;
    assert!(wrong.code == failure::USAGE && wrong.err.contains("roof.plan_area_m2"), "{}", wrong.err);
    assert_eq!(run(&server, &add, "[]").await.code, failure::USAGE);
}
