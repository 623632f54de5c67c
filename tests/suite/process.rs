//! The service as a process: first start, `kill -9`, SIGTERM, and the demo with the SDK's examples.

use crate::support::app::Reply;
use crate::support::served::Served;
use chrono::NaiveDate;
use eavesward_service::domain::base::ids::GaugeId;
use eavesward_service::domain::ports::store::gauges::GaugeStore as _;
use eavesward_service::storage::{ConnectOptions, Database};
use serde_json::{Value, json};
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::{Shutdown, TcpStream};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

/// Days of one batch of rain.
const BATCH: usize = 20;

/// Starts the service on a database file and waits until it listens.
fn serve(folder: &Path) -> Served {
    start(folder, "serve")
}

fn start(folder: &Path, what: &str) -> Served {
    let url = format!("sqlite://{}", folder.join("process.db").display());
    let mut command = Command::new(env!("CARGO_BIN_EXE_served"));
    command.args([what, "--bind", "127.0.0.1:0", "--drain-s", "0", "--database-url", &url]);
    Served::start(&mut command, folder)
}

fn client() -> reqwest::Client {
    crate::support::http_client().build().expect("a client")
}

async fn gauge(http: &reqwest::Client, served: &Served, key: &str) -> String {
    let gauge = json!({"name": "crash gauge", "latitude_deg": 48.0, "longitude_deg": 0.5});
    let made = Reply::of(http.post(format!("{}/v1/gauges", served.url)).bearer_auth(key).json(&gauge)).await;
    made.expect(201)["id"].as_str().expect("an id").to_owned()
}

#[tokio::test]
async fn what_was_acknowledged_survives_a_kill_in_the_middle_of_an_import() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut first = serve(folder.path());
    let key = first.key().expect("the first start prints a key").to_owned();
    let http = client();
    let gauge = gauge(&http, &first, &key).await;
    let start: NaiveDate = "1980-01-01".parse().expect("a date");
    let mut days = start.iter_days();
    let mut acknowledged: Vec<(NaiveDate, f64)> = Vec::new();
    let mut killed = false;
    for batch in 0..800_u32 {
        let mm = f64::from(batch % 40);
        let dates: Vec<NaiveDate> = days.by_ref().take(BATCH).collect();
        let body: Vec<Value> = dates.iter().map(|date| json!({"date": date, "rain_mm": mm})).collect();
        let url = format!("{}/v1/gauges/{gauge}/rain", first.url);
        let sent = tokio::spawn(http.put(url).bearer_auth(&key).json(&json!({"days": body})).send());
        if batch == 60 {
            // The request is under way: it is cut short before, in or after its commit.
            tokio::time::sleep(Duration::from_micros(1500)).await;
            first.child.kill().expect("SIGKILL");
            killed = true;
        }
        match sent.await.expect("a task") {
            Ok(response) if response.status() == 200 => {
                acknowledged.extend(dates.iter().map(|date| (*date, mm)));
            }
            other => {
                assert!(killed, "refused before the kill: {other:?}");
                break;
            }
        }
    }
    assert!(killed && acknowledged.len() >= 60 * BATCH, "{} days acknowledged", acknowledged.len());
    first.child.wait().expect("it is gone");

    let second = serve(folder.path());
    assert_eq!(second.printed, "", "only the first start makes a key");
    let found = http.get(format!("{}/v1/gauges/{gauge}", second.url)).bearer_auth(&key);
    let days_kept = Reply::of(found).await.expect(200)["rain_days"].as_u64().expect("a count");
    let url = format!("sqlite://{}", folder.path().join("process.db").display());
    let database = Database::connect(&url, &ConnectOptions::default()).await.expect("it opens");
    let id = GaugeId(gauge.parse().expect("a UUID"));
    let stored = database.rain_record(id, "2026-01-01".parse().expect("a date")).await.expect("the record");
    for (date, mm) in &acknowledged {
        let kept = stored.iter().any(|day| day.date == *date && day.rain_mm == *mm);
        assert!(kept, "{date} was acknowledged and is lost");
    }
    assert_eq!(stored.len() % BATCH, 0, "a batch that was cut short is there as a whole or not at all");
    assert_eq!(stored.len() as u64, days_kept, "the gauge's count is that of its record");
}

#[tokio::test]
async fn sigterm_ends_it_well_and_a_second_start_goes_on() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut first = serve(folder.path());
    let key = first.key().expect("a key").to_owned();
    let http = client();
    let gauge = gauge(&http, &first, &key).await;
    let killed = Command::new("kill").args(["-TERM", &first.child.id().to_string()]).status().expect("kill");
    assert!(killed.success());
    let ended =
        tokio::task::spawn_blocking(move || first.child.wait().expect("its end")).await.expect("waiting");
    assert!(ended.success(), "{ended}");
    let second = serve(folder.path());
    let found = http.get(format!("{}/v1/gauges/{gauge}", second.url)).bearer_auth(&key);
    Reply::of(found).await.expect(200);
}

#[tokio::test]
async fn the_examples_run_against_the_demo() {
    let folder = tempfile::tempdir().expect("a folder");
    let demo = start(folder.path(), "demo");
    assert!(
        demo.printed.contains("Alder Row") && demo.printed.contains("--example weekly_list"),
        "{}",
        demo.printed
    );
    // The demo prints `EAVESWARD_KEY=ew_...` for the shell.
    let (_, rest) = demo.printed.split_once("EAVESWARD_KEY=").expect("a key for the shell");
    let key = rest.split_whitespace().next().expect("a key").to_owned();
    let example = |binary: &str| {
        let mut command = Command::new(binary);
        command.env("EAVESWARD_URL", &demo.url).env("EAVESWARD_KEY", &key);
        // Nobody listens there: a proxy of the environment is not asked for a service on this machine.
        command.env("HTTP_PROXY", "http://127.0.0.1:9").env("http_proxy", "http://127.0.0.1:9");
        command.env_remove("NO_PROXY").env_remove("no_proxy");
        command
    };
    let run = |command: &mut Command| {
        let ran = command.output().expect("it runs");
        let (out, err) =
            (String::from_utf8(ran.stdout).expect("text"), String::from_utf8(ran.stderr).expect("text"));
        assert!(ran.status.success(), "{out}{err}");
        out
    };
    let list = run(&mut example(env!("CARGO_BIN_EXE_weekly_list")));
    assert!(list.contains("\nBring:\n  ") && list.contains("\nBe careful:\n  "), "{list}");
    let mut poll =
        example(env!("CARGO_BIN_EXE_poll_status")).stdout(Stdio::piped()).spawn().expect("it runs");
    let mut lines = BufReader::new(poll.stdout.take().expect("its output")).lines();
    let first = lines.next().expect("a line").expect("text");
    assert!(first.contains(" on ") && first.contains("(tag \""), "{first}");
    poll.kill().expect("it waits for news");
    poll.wait().expect("its end");
    let cursor = folder.path().join("cursor");
    let follow =
        |entries: &str| run(example(env!("CARGO_BIN_EXE_follow_reminders")).arg(&cursor).arg(entries));
    let (first, then) = (follow("2"), follow("1"));
    assert_eq!((first.lines().count(), then.lines().count()), (2, 1), "{first}{then}");
    let feed = Reply::of(client().get(format!("{}/v1/reminders?limit=3", demo.url)).bearer_auth(&key));
    let feed = feed.await.expect(200);
    for (at, line) in first.lines().chain(then.lines()).enumerate() {
        let entry = &feed["items"][at];
        let (name, title) = (entry["component_name"].as_str(), entry["title"].as_str());
        assert!(
            line.ends_with(&format!(", {}: {}", name.expect("a name"), title.expect("a title"))),
            "{line}"
        );
    }
    let kept = std::fs::read_to_string(&cursor).expect("a cursor");
    assert_eq!(kept.trim(), feed["items"][2]["cursor"].as_str().expect("a cursor"), "it went on");
    let systems =
        Reply::of(client().get(format!("{}/v1/systems", demo.url)).bearer_auth(&key)).await.expect(200);
    let systems = systems["items"].as_array().expect("systems");
    let greenhouse =
        systems.iter().find(|system| system["name"] == "seedling house").expect("the greenhouse");
    let id = greenhouse["id"].as_str().expect("an id");
    // A day on which its parts are there already.
    let on = greenhouse["components"][0]["installed_on"].as_str().expect("a day");
    let logged = run(example(env!("CARGO_BIN_EXE_log_visit")).args([id, on]));
    assert!(logged.starts_with("logged visit ") && logged.contains("; items: 1"), "{logged}");
}

#[test]
fn a_wrong_setting_is_told_in_one_line() {
    let run = |arguments: &[&str]| {
        let run = Command::new(env!("CARGO_BIN_EXE_served")).args(arguments).output().expect("it runs");
        (run.status.success(), String::from_utf8(run.stderr).expect("text"))
    };
    let (ok, said) = run(&["serve", "--database-url", "mysql://db.invalid/x"]);
    assert!(!ok && said.contains("cannot be opened"), "{said}");
    let (ok, said) = run(&["serve", "--housekeeping", "at noon"]);
    assert!(!ok && said.contains("housekeeping") && said.contains("at noon"), "{said}");
    // Seconds belong to another dialect of cron.
    let (ok, said) = run(&["serve", "--housekeeping", "0 17 3 * * *"]);
    assert!(!ok && said.contains("it has 6 fields; give five"), "{said}");
    let (ok, said) = run(&["serve", "--config", "no-such-file.toml"]);
    assert!(!ok && said.contains("no-such-file.toml"), "{said}");
}

#[test]
fn what_is_no_http_is_no_error_of_the_service() {
    let folder = tempfile::tempdir().expect("a folder");
    let served = serve(folder.path());
    for garbage in
        [&b"\x16\x03\x01\x02\x00\x01\x00"[..], b"GET / HTTP/9\r\n\r\n", b"\r\n\r\nnonsense\r\n\r\n"]
    {
        let mut stream = TcpStream::connect(served.url.trim_start_matches("http://")).expect("a connection");
        stream.write_all(garbage).expect("sent");
        stream.shutdown(Shutdown::Write).expect("its end");
        // The service has read it when it closes.
        let mut rest = Vec::new();
        stream.read_to_end(&mut rest).expect("its end");
    }
    let logged = served.logged.lock().expect("a log").clone();
    assert!(!logged.contains("ERROR"), "{logged}");
}

#[test]
fn an_address_in_use_is_told_before_anything_is_made() {
    let folder = tempfile::tempdir().expect("a folder");
    let other = std::net::TcpListener::bind("127.0.0.1:0").expect("a port");
    let address = other.local_addr().expect("its address").to_string();
    for command in ["serve", "demo"] {
        let path = folder.path().join(command);
        let url = format!("sqlite://{}", path.display());
        let mut tried = Command::new(env!("CARGO_BIN_EXE_served"));
        let tried =
            tried.args([command, "--bind", &address, "--database-url", &url]).output().expect("it runs");
        let said = String::from_utf8(tried.stderr).expect("text");
        assert!(
            said.contains(&format!("{address} is in use. Stop the other program or give --bind ")),
            "{said}"
        );
        assert!(!tried.status.success() && tried.stdout.is_empty() && !path.exists(), "{command}: {said}");
    }
}

#[test]
fn a_new_database_is_made_by_the_service_alone_and_its_place_is_told() {
    let folder = tempfile::tempdir().expect("a folder");
    let run = |arguments: &[&str]| {
        let mut run = Command::new(env!("CARGO_BIN_EXE_served"));
        run.args(arguments).current_dir(folder.path()).output().expect("it runs")
    };
    let place = folder.path().join("there.db").display().to_string();
    let key = run(&["key", "--database-url", "sqlite://there.db"]);
    let said = String::from_utf8(key.stderr).expect("text");
    assert!(!key.status.success() && said.contains(&format!("there is no database at {place}")), "{said}");
    assert!(!Path::new(&place).exists(), "it asked for a key and made a file");
    let demo = run(&["demo", "--once", "--database-url", "sqlite://there.db"]);
    let said = String::from_utf8(demo.stdout).expect("text");
    assert!(demo.status.success() && said.contains(&format!("Made a new database at {place}.")), "{said}");
    // Nothing serves, so there is nobody to ask.
    assert!(said.contains("Alder Row") && !said.contains("curl") && !said.contains("ew_"), "{said}");
}

/// One line of JSON for each request, whoever sent it and however it ended.
#[tokio::test]
async fn each_request_is_one_line_of_log() {
    let folder = tempfile::tempdir().expect("a folder");
    let url = format!("sqlite://{}", folder.path().join("log.db").display());
    let mut command = Command::new(env!("CARGO_BIN_EXE_served"));
    command.args([
        "serve",
        "--bind",
        "127.0.0.1:0",
        "--drain-s",
        "0",
        "--log-format",
        "json",
        "--database-url",
        &url,
    ]);
    let served = Served::start(&mut command, folder.path());
    let key = served.key().expect("a key").to_owned();
    let http = client();
    let get = |path: &str| http.get(format!("{}{path}", served.url));
    let account = Reply::of(get("/v1/account?secret=wellspring").bearer_auth(&key)).await;
    assert_eq!(account.status, 400, "the query is not read");
    let account = Reply::of(get("/v1/account").bearer_auth(&key)).await.expect(200);
    assert_eq!(Reply::of(get("/v1/tasks")).await.status, 401);
    assert_eq!(Reply::of(get("/healthz")).await.status, 200);
    let lines = crate::support::until("three lines", async || {
        let logged = served.logged.lock().expect("a log").clone();
        let lines = logged.lines().filter_map(|line| serde_json::from_str::<Value>(line).ok());
        let lines: Vec<Value> = lines.filter(|line| line["message"] == "answered").collect();
        (lines.len() >= 3).then_some(lines)
    })
    .await;
    assert_eq!(lines.len(), 3, "health checks are no lines: {lines:?}");
    let [asked, shown, refused] = lines.as_slice() else { panic!("{lines:?}") };
    for (line, path, status) in
        [(asked, "/v1/account", 400), (shown, "/v1/account", 200), (refused, "/v1/tasks", 401)]
    {
        let span = &line["span"];
        assert_eq!(
            (&span["path"], &span["status"], &span["method"]),
            (&json!(path), &json!(status), &json!("GET"))
        );
        assert!(
            span["duration_ms"].is_u64() && span["id"].is_string() && span["peer"] == "127.0.0.1",
            "{line}"
        );
        assert_eq!(line["spans"], Value::Null, "each span once: {line}");
    }
    assert_eq!(shown["span"]["account"], account["id"]);
    assert!(shown["span"]["key"].is_string() && refused["span"]["key"].is_null());
    let logged = served.logged.lock().expect("a log").clone();
    assert!(!logged.contains(&key) && !logged.contains("wellspring"), "{logged}");
}

#[tokio::test]
async fn the_address_of_a_calendar_is_never_logged() {
    let folder = tempfile::tempdir().expect("a folder");
    let served = serve(folder.path());
    let key = served.key().expect("a key").to_owned();
    let http = client();
    let calendars = format!("{}/v1/calendars", served.url);
    let made =
        Reply::of(http.post(&calendars).bearer_auth(&key).json(&json!({"name": "Upkeep"}))).await.expect(201);
    let path = made["path"].as_str().expect("a path");
    let secret = path.trim_start_matches("/calendars/").trim_end_matches(".ics");
    let spelt = path.replace("/calendars/ewc_", "/%63alendars/%65wc%5F");
    for (at, status) in [
        (path.to_owned(), 200),
        (spelt, 200),
        (format!("{path}?{secret}"), 400),
        (format!("/calendars/{secret}"), 404),
        (format!("/v1/calendars/{secret}"), 401),
    ] {
        let reply = Reply::of(http.get(format!("{}{at}", served.url))).await;
        assert_eq!(reply.status, status, "{at}: {}", reply.text);
    }
    let mut logged = String::new();
    for _ in 0..80 {
        logged = served.logged.lock().expect("a log").clone();
        if logged.matches("/calendars/(secret)").count() >= 5 {
            break;
        }
        tokio::time::sleep(Duration::from_millis(25)).await;
    }
    assert!(logged.matches("/calendars/(secret)").count() >= 5, "{logged}");
    assert!(!logged.contains(&secret[4..]) && !logged.contains(&key), "{logged}");
}
