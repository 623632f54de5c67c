//! The three readers in other languages: clients generated from the committed document, run against a live service.
//!
//! Nothing generated is kept. `tests/run` prepares the generators and says in `EAVESWARD_TESTS_LANGUAGES` where they are.

use super::scenario::{all_kinds, items, place, rain};
use crate::support::app::{App, Kind, Reply};
use crate::support::newer::Newer;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// What a reader says at its end. An early exit must not pass for a success.
const SERVED: &str = "all readers are served\n";

fn sources() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("languages")
}

fn document() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../openapi/openapi.json")
}

/// The folder of a language's tools.
fn tools(language: &str) -> PathBuf {
    let prepared =
        std::env::var_os("EAVESWARD_TESTS_LANGUAGES").map(|folder| Path::new(&folder).join(language));
    prepared.filter(|folder| folder.is_dir()).unwrap_or_else(|| {
        panic!("the {language} tools are not prepared: run ./tests/run languages, which does it")
    })
}

/// Runs a program that has to succeed; what it printed.
fn run(program: impl AsRef<std::ffi::OsStr>, arguments: &[&str], folder: &Path) -> String {
    let output = output(Command::new(program.as_ref()).args(arguments).current_dir(folder));
    let (said, complained) = (text(&output.stdout), text(&output.stderr));
    assert!(output.status.success(), "{} {arguments:?}:\n{said}\n{complained}", program.as_ref().display());
    said
}

fn output(command: &mut Command) -> Output {
    command.output().unwrap_or_else(|error| panic!("{command:?}: {error}"))
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// A place with a part of every kind, some of it due this week, and what the raw answers say of it.
async fn seeded(app: &App) -> Value {
    let place = place(app, all_kinds()).await;
    rain(app, &place.gauge, "2025-01-01", 424, 2.0).await;
    app.refresh().await;
    let tasks = app.walk("/v1/tasks?within=P7D", 500).await;
    assert!(tasks.len() > 3, "{} tasks are too few for pages of three", tasks.len());
    let feed = app.get("/v1/reminders?limit=500").await;
    assert!(items(&feed).len() > 2 && feed["behind"] == 0, "{} reminders", items(&feed).len());
    let path = format!("/v1/systems/{}/status", place.system_id());
    let status = Reply::of(app.request("GET", &path)).await;
    let body = status.expect(200);
    assert!(body["runoff_30_days_l"].as_f64().is_some_and(|litres| litres > 0.0), "{body}");
    let ids = |items: &[Value]| items.iter().map(|item| item["id"].clone()).collect::<Vec<_>>();
    let cautions =
        tasks.iter().map(|task| task["cautions"].as_array().expect("cautions").len()).sum::<usize>();
    let next = body["next"].as_array().expect("duties").iter().map(|duty| duty["title"].clone());
    json!({
        "task_ids": ids(&tasks),
        "caution_count": cautions,
        "first_title": tasks[0]["title"],
        "reminder_ids": ids(&items(&feed)),
        "system_id": place.system_id(),
        "component_id": place.component("screen"),
        "visited_on": "2026-03-01",
        "status_tag": status.header("etag"),
        "next_titles": next.collect::<Vec<_>>(),
        "runoff_30_days_l": body["runoff_30_days_l"],
    })
}

/// A reader: a program, its arguments and its folder.
struct Reader<'a> {
    program: &'a Path,
    arguments: &'a [&'a str],
    folder: &'a Path,
}

impl Reader<'_> {
    async fn read(&self, url: &str, key: &str, expected: &Value) -> Output {
        let mut command = Command::new(self.program);
        command.args(self.arguments).current_dir(self.folder).env("EXPECTED", expected.to_string());
        command.env("EAVESWARD_URL", url).env("EAVESWARD_KEY", key);
        tokio::task::spawn_blocking(move || output(&mut command)).await.expect("waiting")
    }

    async fn is_served(&self, url: &str, key: &str, expected: &Value) {
        let output = self.read(url, key, expected).await;
        let (said, complained) = (text(&output.stdout), text(&output.stderr));
        assert!(output.status.success(), "{said}\n{complained}");
        assert_eq!(said.replace("\r\n", "\n"), SERVED);
    }
}

/// Runs a reader against a live service: first with an expectation that is wrong, which it has to notice, each in turn.
/// Then against a service of a later version, whose words, kinds and fields it does not know.
async fn serve(program: &Path, arguments: &[&str], folder: &Path) {
    let reader = Reader { program, arguments, folder };
    let app = App::start(Kind::Sqlite).await;
    let expected = seeded(&app).await;
    for (field, wrong) in [
        ("caution_count", json!(expected["caution_count"].as_u64().expect("a count") + 1)),
        ("runoff_30_days_l", json!(0.125)),
        ("reminder_ids", json!([])),
    ] {
        let mut wrongly = expected.clone();
        wrongly[field] = wrong;
        let output = reader.read(&app.url, &app.key, &wrongly).await;
        let passed = output.status.success() || text(&output.stdout).contains(SERVED);
        assert!(!passed, "a wrong {field} was not noticed");
    }
    reader.is_served(&app.url, &app.key, &expected).await;
    app.stop().await;

    let app = App::start(Kind::Sqlite).await;
    let expected = seeded(&app).await;
    let newer = Newer::before(&app).await;
    reader.is_served(&newer.url, &app.key, &expected).await;
    newer.stop().await;
    app.stop().await;
}

#[tokio::test]
async fn a_typescript_client_serves_the_three_readers() {
    let tools = tools("typescript");
    // Inside the tools' folder, so that imports find them.
    let folder = tempfile::tempdir_in(&tools).expect("a folder");
    let (source, bin) = (sources().join("typescript"), tools.join("node_modules/.bin"));
    for file in ["readers.ts", "tsconfig.json", "package.json"] {
        std::fs::copy(source.join(file), folder.path().join(file)).expect("a copy");
    }
    let document = document().display().to_string();
    // As a module and not as a declaration, which the compiler would believe unseen.
    run(bin.join("openapi-typescript"), &[&document, "--output", "schema.ts"], folder.path());
    run(bin.join("tsc"), &["--project", "."], folder.path());
    serve(Path::new("node"), &["out/readers.js"], folder.path()).await;
}

#[tokio::test]
async fn a_python_client_serves_the_three_readers() {
    let tools = tools("python");
    let folder = tempfile::tempdir_in(&tools).expect("a folder");
    let (source, bin) = (sources().join("python"), tools.join("bin"));
    std::fs::copy(source.join("readers.py"), folder.path().join("readers.py")).expect("a copy");
    let (document, settings) =
        (document().display().to_string(), source.join("generator.yaml").display().to_string());
    let arguments = [
        "generate",
        "--path",
        &document,
        "--config",
        &settings,
        "--meta",
        "none",
        "--output-path",
        "generated",
    ];
    // What the generator passes over it only warns of.
    let arguments = [&arguments[..], &["--fail-on-warning"]].concat();
    run(bin.join("openapi-python-client"), &arguments, folder.path());
    run(bin.join("mypy"), &["--strict", "--follow-imports=silent", "readers.py"], folder.path());
    serve(&bin.join("python"), &["readers.py"], folder.path()).await;
}
