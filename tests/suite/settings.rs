//! Settings as operators see them: the table of deploy/README.md, the order of their sources, secrets in files, and what
//! the manifests say of stopping.

use crate::support::served::Served;
use eavesward_service::config::{DEFAULTS, Layer, Settings};
use eavesward_service::server::LONGEST_STOP;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::time::Duration;

fn deploy(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../deploy").join(name)
}

fn text(name: &str) -> String {
    fs::read_to_string(deploy(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}

/// The table of all settings, made from the comments of the defaults.
fn table() -> String {
    let mut table = "| setting | default | meaning |\n|---|---|---|\n".to_owned();
    let mut comment: Vec<&str> = Vec::new();
    for line in DEFAULTS.lines() {
        if let Some(more) = line.strip_prefix("# ") {
            comment.push(more);
        } else if let Some((name, value)) = line.split_once(" = ") {
            let meaning = if comment.is_empty() { "as above".to_owned() } else { comment.join(" ") };
            writeln!(table, "| `{name}` | `{value}` | {meaning} |").expect("a text");
            comment.clear();
        } else {
            comment.clear();
        }
    }
    table
}

/// `UPDATE_SETTINGS=1` writes it.
#[test]
fn the_operators_page_lists_every_setting() {
    let page = text("README.md");
    let start = page.find("| setting | default | meaning |").expect("the table of settings");
    let length = page[start..].find("\n\n").expect("its end") + 1;
    let wanted = table();
    if std::env::var_os("UPDATE_SETTINGS").is_some() {
        let new = format!("{}{wanted}{}", &page[..start], &page[start + length..]);
        fs::write(deploy("README.md"), new).expect("it is written");
        return;
    }
    assert_eq!(&page[start..start + length], wanted, "UPDATE_SETTINGS=1 ./tests/run settings writes it");
}

/// The number after a word of a manifest, in seconds.
fn seconds(name: &str, word: &str) -> u64 {
    let text = text(name);
    let (_, rest) = text.split_once(word).unwrap_or_else(|| panic!("{name} has no {word}"));
    let digits: String = rest.chars().take_while(char::is_ascii_digit).collect();
    digits.parse().unwrap_or_else(|_| panic!("{name}: no number after {word}"))
}

#[test]
fn manifests_wait_until_the_service_has_stopped() {
    let settings = Settings::of(Layer::default()).expect("settings");
    let longest = (settings.drain + LONGEST_STOP).as_secs();
    for (name, word) in [
        ("eavesward.service", "TimeoutStopSec="),
        ("compose.yaml", "stop_grace_period: "),
        ("kubernetes.yaml", "terminationGracePeriodSeconds: "),
    ] {
        let given = seconds(name, word);
        assert!(
            given > longest,
            "{name}: {word}{given} is not above drain_s and the longest end, {longest} s"
        );
    }
}

#[test]
fn the_settings_that_manifests_ship_are_right() {
    for name in ["settings/image.toml", "settings/systemd.toml", "settings/compose.toml"] {
        let layer: Layer = toml::from_str(&text(name)).unwrap_or_else(|error| panic!("{name}: {error}"));
        drop(layer);
    }
    let kubernetes = text("kubernetes.yaml");
    let (_, rest) = kubernetes.split_once("settings.toml: |\n").expect("the settings of the ConfigMap");
    let own: Vec<&str> = rest.lines().map_while(|line| line.strip_prefix("    ")).collect();
    let _: Layer = toml::from_str(&own.join("\n")).expect("settings");
    // What the environment sets is stronger than any file, so that manifests and image leave it to the operator.
    for name in ["Containerfile", "eavesward.service", "kubernetes.yaml", "compose.yaml"] {
        for line in
            text(name).lines().filter(|line| line.contains("EAVESWARD_") && !line.trim().starts_with('#'))
        {
            assert!(line.contains("EAVESWARD_CONFIG"), "{name}: {line}");
        }
    }
}

/// The image's own settings name an SQLite file; those that are mounted over them name PostgreSQL by a file.
#[test]
fn what_is_mounted_is_stronger_than_the_settings_of_the_image() {
    let folder = tempfile::tempdir().expect("a folder");
    let url = folder.path().join("database-url");
    fs::write(&url, "postgres://orchard@db.invalid/eavesward").expect("a file");
    let own = folder.path().join("own.toml");
    fs::write(&own, format!("database_url_file = {:?}", url.display().to_string())).expect("a file");
    let paths = format!("{}:{}", deploy("settings/image.toml").display(), own.display());
    let out = printed(|command| {
        command.env("EAVESWARD_CONFIG", &paths);
    });
    assert!(out.contains("database_url = \"postgres://db.invalid/eavesward\""), "{out}");
    assert!(out.contains("bind = \"0.0.0.0:8750\""), "{out}");
}

/// Runs the service's command `settings --in-force` and returns what it prints.
fn in_force(change: impl Fn(&mut Command)) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_served"));
    command.args(["settings", "--in-force"]).env_remove("EAVESWARD_CONFIG");
    change(&mut command);
    command.output().expect("it runs")
}

fn printed(change: impl Fn(&mut Command)) -> String {
    let output = in_force(change);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).expect("UTF-8")
}

fn refused(change: impl Fn(&mut Command)) -> String {
    let output = in_force(change);
    assert!(!output.status.success());
    String::from_utf8(output.stderr).expect("UTF-8")
}

#[test]
fn later_sources_win_and_each_value_says_where_it_comes_from() {
    let folder = tempfile::tempdir().expect("a folder");
    let write = |name: &str, text: &str| {
        let path = folder.path().join(name);
        fs::write(&path, text).expect("a file");
        path
    };
    let image = write("image.toml", "drain_s = 3\nstreams = 100\nbind = \"0.0.0.0:8750\"");
    fs::create_dir(folder.path().join("own")).expect("a folder");
    write("own/20-late.toml", "streams = 300\nworkers = 6");
    write("own/10-early.toml", "streams = 200\nworkers = 5");
    write("own/README", "not read");
    let paths = format!("{}:{}", image.display(), folder.path().join("own").display());
    let out = printed(|command| {
        command
            .env("EAVESWARD_CONFIG", &paths)
            .env("EAVESWARD_WORKERS", "7")
            .env("EAVESWARD_BIND", "127.0.0.1:1");
        command.args(["--bind", "127.0.0.1:2"]).env("EAVESWARD_WORKRES", "8");
    });
    let has = |line: &str| assert!(out.lines().any(|one| one == line), "no {line} in:\n{out}");
    has("bind = \"127.0.0.1:2\" # flag");
    has("workers = 7 # environment");
    has(&format!("streams = 300 # {}", folder.path().join("own/20-late.toml").display()));
    has(&format!("drain_s = 3 # {}", image.display()));
    has("max_connections = 16 # default");
    assert!(
        out.contains("EAVESWARD_WORKRES is no setting and has no effect; EAVESWARD_WORKERS is one"),
        "{out}"
    );
    let told = refused(|command| {
        command.args(["--config", "/none.toml"]);
    });
    assert!(told.contains("/none.toml cannot be read"), "{told}");
    write("own/30-wrong.toml", "drian_s = 9");
    let told = refused(|command| {
        command.env("EAVESWARD_CONFIG", &paths);
    });
    assert!(told.contains("30-wrong.toml is not right") && told.contains("drian_s"), "{told}");
}

#[test]
fn secrets_come_from_files_and_are_never_shown() {
    let folder = tempfile::tempdir().expect("a folder");
    let (url, password) = (folder.path().join("url"), folder.path().join("password"));
    fs::write(&url, "postgres://orchard@db.invalid/eavesward\n").expect("a file");
    fs::write(&password, "wellspring\n").expect("a file");
    let everybody = std::os::unix::fs::PermissionsExt::from_mode(0o644);
    fs::set_permissions(&url, everybody).expect("its mode");
    let set = |command: &mut Command| {
        command.arg("--database-url-file").arg(&url).arg("--database-password-file").arg(&password);
    };
    let out = printed(set);
    assert!(out.contains("postgres://db.invalid/eavesward") && !out.contains("wellspring"), "{out}");
    // One that everybody can read is told.
    assert!(out.contains("every user of this machine can read"), "{out}");
    let told = refused(|command| {
        set(command);
        command.args(["--database-url", "sqlite://eaves.db"]);
    });
    assert!(told.contains("database_url and database_url_file are both set"), "{told}");
    fs::write(&password, "").expect("a file");
    let told = refused(set);
    assert!(told.contains("database_password_file") && told.contains("is empty"), "{told}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn while_it_drains_connections_are_closed_and_probes_are_told() {
    let folder = tempfile::tempdir().expect("a folder");
    let url = format!("sqlite://{}", folder.path().join("drain.db").display());
    let mut command = Command::new(env!("CARGO_BIN_EXE_served"));
    command.args(["serve", "--bind", "127.0.0.1:0", "--drain-s", "5", "--database-url", &url]);
    let mut served = Served::start(&mut command, folder.path());
    let http = crate::support::http_client().build().expect("a client");
    let get = async |path: &str| http.get(format!("{}{path}", served.url)).send().await.expect("an answer");
    assert_eq!(get("/healthz").await.headers().get("connection"), None);
    let killed = Command::new("kill").args(["-TERM", &served.child.id().to_string()]).status().expect("kill");
    assert!(killed.success());
    crate::support::until("a drain", async || (get("/readyz").await.status() == 503).then_some(())).await;
    for path in ["/healthz", "/readyz", "/v1/account", "/none"] {
        let answer = get(path).await;
        let said = answer.headers().get("connection").and_then(|value| value.to_str().ok());
        assert_eq!(said, Some("close"), "{path}: {}", answer.status());
    }
    let ended = tokio::task::spawn_blocking(move || served.child.wait().expect("its end"));
    let ended = tokio::time::timeout(Duration::from_mins(1), ended).await.expect("in time").expect("waiting");
    assert!(ended.success());
}
