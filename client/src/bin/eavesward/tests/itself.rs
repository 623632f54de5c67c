//! What the command prints without asking a service: completions, manual pages, profiles. Also colours and the
//! progress bar.

use super::{SYSTEM, mount_page, run, run_in, task};
use crate::app::Io;
use crate::args::Cli;
use crate::environment::Environment;
use crate::{dispatch, failure};
use clap::Parser;
use serde_json::{Value, json};
use std::fmt::Write as _;
use std::path::Path;
use wiremock::matchers::{any, header, method};
use wiremock::{Mock, MockServer, ResponseTemplate};

struct Ran {
    code: u8,
    out: String,
    err: String,
}

/// Runs the command with only these arguments.
async fn bare(environment: &Environment, args: &[&str], stdin: &str) -> Ran {
    let given = ["eavesward"].iter().chain(args);
    let cli = Cli::try_parse_from(given).unwrap_or_else(|e| panic!("{args:?}: {e}"));
    let (mut input, mut out, mut err) = (stdin.as_bytes(), Vec::new(), Vec::new());
    let code = dispatch::run(cli, environment, Io { stdin: &mut input, out: &mut out, err: &mut err }).await;
    let text = |bytes| String::from_utf8(bytes).expect("UTF-8");
    Ran { code, out: text(out), err: text(err) }
}

#[tokio::test]
async fn shells_are_told_how_to_complete_it() {
    for (shell, words) in [
        ("bash", &["complete -F _eavesward", "--key-file"][..]),
        ("zsh", &["#compdef eavesward", "--key-file"]),
        ("fish", &["complete -c eavesward", "key-file"]),
    ] {
        let ran = bare(&Environment::default(), &["completions", shell], "").await;
        assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{shell}");
        for word in words.iter().chain(&["visit", "watch", "profile"]) {
            assert!(ran.out.contains(word), "{shell} lacks {word}");
        }
    }
}

#[tokio::test]
async fn the_manual_has_a_page_for_all_and_one_for_each() {
    let page = bare(&Environment::default(), &["man"], "").await;
    assert_eq!((page.code, page.err.as_str()), (0, ""));
    for part in
        [".TH eavesward 1", ".SH NAME", ".SH OPTIONS", ".SH SUBCOMMANDS", "EAVESWARD_PROFILE", "Exit codes"]
    {
        assert!(page.out.contains(part), "{part} is not in {}", page.out);
    }
    let folder = tempfile::tempdir().expect("a folder");
    let pages = folder.path().join("man1");
    let text = pages.to_str().expect("UTF-8");
    let ran = bare(&Environment::default(), &["man", "--dir", text], "").await;
    assert_eq!((ran.code, ran.out.as_str(), ran.err.as_str()), (0, "", ""));
    for name in ["eavesward.1", "eavesward-visit.1", "eavesward-visit-log.1", "eavesward-watch.1"] {
        assert!(pages.join(name).exists(), "{name}");
    }
}

#[tokio::test]
async fn profiles_are_kept_used_and_forgotten() {
    let server = MockServer::start().await;
    let account = json!({"id": SYSTEM, "name": "Quince Terrace", "created_at": "2031-04-02T08:00:00Z"});
    let answer = ResponseTemplate::new(200).set_body_json(account);
    Mock::given(method("GET"))
        .and(header("authorization", "Bearer home-key"))
        .respond_with(answer)
        .mount(&server)
        .await;
    Mock::given(any()).respond_with(ResponseTemplate::new(401)).mount(&server).await;
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("eavesward/profiles.toml");
    let environment = Environment { profiles: Some(path.clone()), ..Environment::default() };
    let go = async |args: &[&str], stdin: &str| bare(&environment, args, stdin).await;
    let ok = async |args: &[&str], stdin: &str| {
        let ran = go(args, stdin).await;
        assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{args:?}");
        assert!(!ran.out.contains("home-key") && !ran.out.contains("barn-key"), "{}", ran.out);
        ran.out
    };
    assert!(ok(&["profile", "list"], "").await.contains("profile add"), "the next step is shown");
    let uri = server.uri();
    ok(&["profile", "add", "home", "--url", &uri, "--key-stdin", "--units", "us"], "home-key\n").await;
    ok(&["profile", "add", "barn", "--url", "https://barn.example", "--key", "barn-key"], "").await;
    let list = ok(&["profile", "list"], "").await;
    assert!(list.contains("home*") && list.contains("barn ") && list.contains("stored here"), "{list}");
    assert_eq!(ok(&["account"], "").await, format!("{SYSTEM}  Quince Terrace\n"), "the first one is used");
    ok(&["profile", "use", "barn"], "").await;
    assert_eq!(ok(&["--profile", "home", "account"], "").await, format!("{SYSTEM}  Quince Terrace\n"));
    let listed: Value = serde_json::from_str(&ok(&["--json", "profile", "list"], "").await).expect("JSON");
    assert_eq!(
        listed[0],
        json!({"name": "barn", "url": "https://barn.example", "in_use": true, "key_file": null, "units": null})
    );
    assert_eq!((&listed[1]["in_use"], &listed[1]["units"]), (&json!(false), &json!("us")));
    // The key of one service is not sent to another.
    let strayed = go(&["--url", &uri, "account"], "").await;
    assert!(
        strayed.code == failure::USAGE && strayed.err.contains("belongs to https://barn.example"),
        "{}",
        strayed.err
    );
    ok(&["profile", "remove", "barn"], "").await;
    let none = go(&["account"], "").await;
    assert!(none.code == failure::USAGE && none.err.contains("profile add"), "{}", none.err);
    for args in
        [&["profile", "use", "barn"][..], &["profile", "remove", "barn"], &["--profile", "barn", "account"]]
    {
        let ran = go(args, "").await;
        assert!(ran.code == failure::USAGE && ran.err.contains("profile list"), "{}", ran.err);
    }
    for (args, stdin, part) in [
        (&["profile", "add", "x", "--key", "k"][..], "", "--url"),
        (&["profile", "add", "x", "--url", "https://x.example"], "", "--key-file"),
        (&["profile", "add", "x", "--url", "https://x.example", "--key-stdin"], "\n", "--key-stdin"),
        (&["profile", "add", "x", "--url", "https://x.example", "--key-stdin", "--key", "k"], "k", "one of"),
        (&["profile", "add", "x", "--url", "x.example", "--key", "k"], "", "absolute"),
        (&["profile", "add", "x", "--url", "https://x.example", "--key", "two words"], "", "key"),
        (
            &["profile", "add", "x", "--url", "https://x.example", "--key-file", "/no/such/file"],
            "",
            "/no/such/file",
        ),
    ] {
        let ran = go(args, stdin).await;
        assert!(ran.code == failure::USAGE && ran.err.contains(part), "{args:?}: {}", ran.err);
    }
    let nowhere = bare(&Environment::default(), &["profile", "list"], "").await;
    assert!(nowhere.code == failure::USAGE && nowhere.err.contains("EAVESWARD_PROFILES"), "{}", nowhere.err);
}

#[cfg(unix)]
fn set_mode(path: &Path, mode: u32) {
    use std::os::unix::fs::PermissionsExt;
    std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).expect("its owner may");
}

#[cfg(unix)]
#[tokio::test]
async fn a_key_that_others_can_read_is_no_secret() {
    let server = MockServer::start().await;
    let account = json!({"id": SYSTEM, "name": "Quince Terrace", "created_at": "2031-04-02T08:00:00Z"});
    let answer = ResponseTemplate::new(200).set_body_json(account);
    Mock::given(header("authorization", "Bearer filed-key")).respond_with(answer).mount(&server).await;
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("key");
    std::fs::write(&path, "filed-key\n").expect("a file");
    let text = path.to_str().expect("UTF-8");
    for mode in [0o644, 0o640, 0o604, 0o660, 0o601] {
        set_mode(&path, mode);
        let ran = run(&server, &["--key-file", text, "account"], "").await;
        assert_eq!((ran.code, ran.out.as_str()), (failure::USAGE, ""), "{mode:o}");
        assert!(
            ran.err.contains(&format!("chmod 600 {text}")) && !ran.err.contains("filed-key"),
            "{}",
            ran.err
        );
    }
    for mode in [0o600, 0o400] {
        set_mode(&path, mode);
        let ran = run(&server, &["--key-file", text, "account"], "").await;
        assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{mode:o}");
    }
    set_mode(&path, 0o600);
    // A profile may name a key file instead of holding the key. The file is read each time.
    let environment =
        Environment { profiles: Some(folder.path().join("profiles.toml")), ..Environment::default() };
    let uri = server.uri();
    let added = bare(&environment, &["profile", "add", "home", "--url", &uri, "--key-file", text], "").await;
    assert_eq!((added.code, added.err.as_str()), (0, ""));
    let kept = std::fs::read_to_string(folder.path().join("profiles.toml")).expect("the file");
    assert!(kept.contains(text) && !kept.contains("filed-key"), "{kept}");
    assert_eq!(bare(&environment, &["account"], "").await.code, 0);
    set_mode(&path, 0o644);
    assert_eq!(bare(&environment, &["account"], "").await.code, failure::USAGE);
    set_mode(&path, 0o600);
    std::fs::write(&path, " \n").expect("a file");
    let ran = run(&server, &["--key-file", text, "account"], "").await;
    assert!(ran.code == failure::USAGE && ran.err.contains("empty"), "{}", ran.err);
}

#[tokio::test]
async fn colour_is_for_terminals_and_never_alone() {
    let server = MockServer::start().await;
    mount_page(
        &server,
        "/v1/tasks",
        json!([task("north screen", "late", &[]), task("south screen", "due", &[])]),
    )
    .await;
    let list = async |environment: Environment, args: &[&str]| {
        let mut out = Vec::new();
        let (code, err) = run_in(&server, &environment, &[&["due"], args].concat(), "", &mut out).await;
        assert_eq!((code, err.as_str()), (0, ""));
        String::from_utf8(out).expect("UTF-8")
    };
    let terminal = || Environment { out_is_terminal: true, ..Environment::default() };
    let plain = list(Environment::default(), &[]).await;
    assert!(
        !plain.contains('\u{1b}') && plain.contains("  late   ") && plain.contains("  due    "),
        "{plain}"
    );
    let coloured = list(terminal(), &[]).await;
    assert!(coloured.contains("\u{1b}[1;31mlate\u{1b}[0m"), "{coloured:?}");
    let mut stripped = coloured.clone();
    for code in ["\u{1b}[1;31m", "\u{1b}[33m", "\u{1b}[0m"] {
        stripped = stripped.replace(code, "");
    }
    assert_eq!(stripped, plain, "the words and the columns are the same");
    assert_eq!(list(Environment { no_color: true, ..terminal() }, &[]).await, plain);
    assert_eq!(list(Environment { dumb: true, ..terminal() }, &[]).await, plain);
    assert_eq!(list(terminal(), &["--color", "never"]).await, plain);
    assert_eq!(
        list(Environment { no_color: true, ..Environment::default() }, &["--color", "always"]).await,
        coloured
    );
    let json = list(terminal(), &["--json"]).await;
    assert!(!json.contains('\u{1b}'), "{json}");
}

#[tokio::test]
async fn a_long_file_shows_how_far_it_is_to_those_who_watch() {
    let server = MockServer::start().await;
    let report = json!({"counts": {"added": 1, "changed": 0, "same": 0, "refused": 0, "spread": 0, "other": 0},
        "refused": [], "rain_from": "1900-01-01", "rain_through": "2031-01-02"});
    let answer = ResponseTemplate::new(200).set_body_json(report);
    Mock::given(method("PUT")).respond_with(answer).mount(&server).await;
    let mut text = "date,mm\n".to_owned();
    let first = chrono::NaiveDate::from_ymd_opt(1900, 1, 1).expect("a day");
    for day in first.iter_days().take(4_500) {
        writeln!(text, "{day},1").expect("memory takes anything");
    }
    let import = ["rain", "import", SYSTEM, "-"];
    let told = async |environment: Environment, text: &str| {
        let mut out = Vec::new();
        let (code, err) = run_in(&server, &environment, &import, text, &mut out).await;
        assert_eq!(code, 0, "{err}");
        assert!(!String::from_utf8_lossy(&out).contains('\u{1b}'), "the result stays plain");
        err
    };
    let terminal = || Environment { err_is_terminal: true, ..Environment::default() };
    let drawn = told(terminal(), &text).await;
    assert!(drawn.starts_with("\rSending rain [") && drawn.ends_with("\r\u{1b}[K"), "{drawn:?}");
    for step in ["] 0 of 3", "] 1 of 3", "] 2 of 3", "] 3 of 3"] {
        assert!(drawn.contains(step), "{drawn:?}");
    }
    let sent = async || server.received_requests().await.expect("recording is on").len();
    assert_eq!(sent().await, 3);
    assert_eq!(told(Environment::default(), &text).await, "", "a log gets nothing of it");
    assert_eq!(sent().await, 4, "and the file goes at once");
    assert_eq!(told(Environment { dumb: true, ..terminal() }, &text).await, "");
    assert_eq!(told(terminal(), "date,mm\n2031-01-01,1\n").await, "", "a short file is done at once");
}
