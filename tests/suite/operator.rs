//! Keys in files, and the audit over `kill -9`: the service as a process.

use crate::support::app::Reply;
use crate::support::served::Served;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::path::Path;
use std::process::{Command, Output};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

const SERVED: &str = env!("CARGO_BIN_EXE_served");

fn url(folder: &Path) -> String {
    format!("sqlite://{}", folder.join("operator.db").display())
}

/// Starts the service on a database file and waits until it listens.
fn serve(folder: &Path, more: &[&str]) -> Served {
    let mut command = Command::new(SERVED);
    command.args(["serve", "--bind", "127.0.0.1:0", "--drain-s", "0", "--database-url", &url(folder)]);
    Served::start(command.args(more), folder)
}

/// Runs a command on the database file to its end.
fn run(folder: &Path, arguments: &[&str]) -> (Output, String) {
    let mut command = Command::new(SERVED);
    let ran = command.args(arguments).args(["--database-url", &url(folder)]).output().expect("it runs");
    let said = format!("{}{}", String::from_utf8_lossy(&ran.stdout), String::from_utf8_lossy(&ran.stderr));
    (ran, said)
}

fn client() -> reqwest::Client {
    crate::support::http_client().build().expect("a client")
}

async fn get(served: &Served, key: &str, path: &str) -> Reply {
    Reply::of(client().get(format!("{}{path}", served.url)).bearer_auth(key)).await
}

fn secret_in(path: &Path) -> String {
    let text = std::fs::read_to_string(path).expect("a key");
    let secret = text.strip_suffix('\n').expect("one line");
    assert!(secret.starts_with("ew_") && secret.len() == 46, "{text}");
    secret.to_owned()
}

#[tokio::test]
async fn the_first_key_goes_into_a_file_that_its_owner_alone_reads() {
    use std::os::unix::fs::PermissionsExt as _;
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("first.key");
    let place = path.display().to_string();
    let first = serve(folder.path(), &["--key-file", &place]);
    assert!(first.key().is_none() && first.printed.contains(&place), "{}", first.printed);
    assert_eq!(std::fs::metadata(&path).expect("a file").permissions().mode() & 0o777, 0o600);
    let secret = secret_in(&path);
    get(&first, &secret, "/v1/account").await.expect(200);
    drop(first);
    // A second start has the same flag, and leaves the file alone.
    let second = serve(folder.path(), &["--key-file", &place]);
    assert_eq!(second.printed, "");
    assert_eq!(secret_in(&path), secret);
    get(&second, &secret, "/v1/account").await.expect(200);
}

#[test]
fn without_its_file_no_first_key_is_made() {
    let folder = tempfile::tempdir().expect("a folder");
    let taken = folder.path().join("taken.key");
    std::fs::write(&taken, "ew_of_somebody\n").expect("a file");
    for (path, why) in
        [(taken.clone(), "is there already"), (folder.path().join("none/first.key"), "cannot be made")]
    {
        let place = path.display().to_string();
        let (ran, said) = run(folder.path(), &["serve", "--bind", "127.0.0.1:0", "--key-file", &place]);
        assert!(!ran.status.success() && said.contains("no key was made"), "{said}");
        assert!(said.contains(why) && said.contains(&place) && said.contains("--key-file"), "{said}");
    }
    assert_eq!(std::fs::read_to_string(&taken).expect("a file"), "ew_of_somebody\n");
    // Nothing was made, so a start without the flag is still the first one.
    let served = serve(folder.path(), &[]);
    assert!(served.key().is_some(), "{}", served.printed);
}

#[test]
fn a_key_whose_file_finds_no_space_is_not_made() {
    let (folder, disk) = (tempfile::tempdir().expect("a folder"), tempfile::tempdir().expect("a folder"));
    drop(serve(folder.path(), &[]));
    // A file system without a block to spare, in a name space of its own.
    let mut command = Command::new("unshare");
    command.args(["--user", "--map-root-user", "--mount", "sh", "-c"]);
    command.arg(r#"mount -t tmpfs -o size=4k none "$0" && head -c 4096 /dev/zero >"$0/filler" && exec "$@""#);
    let place = disk.path().join("van.key").display().to_string();
    let more = ["key", "--key-file", &place, "--database-url", &url(folder.path())];
    let ran = command.arg(disk.path()).arg(SERVED).args(more).output().expect("it runs");
    let said = String::from_utf8_lossy(&ran.stderr).into_owned();
    assert!(
        !ran.status.success() && said.contains("no key was made") && said.contains("cannot be written"),
        "{said}"
    );
    let (_, listed) = run(folder.path(), &["key", "--list"]);
    assert_eq!(listed.lines().count(), 1, "{listed}");
}

#[tokio::test]
async fn further_keys_and_accounts_go_into_files_too_and_are_recorded() {
    let folder = tempfile::tempdir().expect("a folder");
    let served = serve(folder.path(), &[]);
    let first = served.key().expect("a key").to_owned();
    let path = folder.path().join("van.key");
    let place = path.display().to_string();
    let (ran, said) = run(folder.path(), &["key", "--name", "van", "--scopes", "read", "--key-file", &place]);
    assert!(ran.status.success() && said.contains(&place) && !said.contains("ew_"), "{said}");
    let secret = secret_in(&path);
    get(&served, &secret, "/v1/account").await.expect(200);
    let (ran, said) = run(folder.path(), &["key", "--name", "hall", "--key-file", &place]);
    assert!(!ran.status.success() && said.contains("no key was made"), "{said}");
    assert_eq!(secret_in(&path), secret, "the key that was there");
    let found = get(&served, &first, "/v1/audit").await.expect(200);
    let shown: Vec<Value> = found["items"]
        .as_array()
        .expect("items")
        .iter()
        .map(|entry| json!([entry["actor"]["kind"], entry["operation"]]))
        .collect();
    let made = json!(["operator", "create_key"]);
    assert_eq!(shown, [made.clone(), made, json!(["operator", "create_account"])]);
    let other = folder.path().join("other.key");
    let (ran, said) =
        run(folder.path(), &["key", "--new-account", "terrace", "--key-file", &other.display().to_string()]);
    assert!(ran.status.success() && !said.contains("ew_"), "{said}");
    let found = get(&served, &secret_in(&other), "/v1/audit").await.expect(200);
    assert_eq!(found["items"].as_array().expect("items").len(), 2, "of its own account alone: {found}");
}

/// Every item of a list.
async fn all(served: &Served, key: &str, path: &str) -> Vec<Value> {
    let (mut found, mut cursor) = (Vec::new(), String::new());
    loop {
        let page = get(served, key, &format!("{path}?limit=500{cursor}")).await.expect(200);
        found.extend(page["items"].as_array().expect("items").iter().cloned());
        match page["next_cursor"].as_str() {
            Some(next) => cursor = format!("&cursor={next}"),
            None => return found,
        }
    }
}

#[tokio::test]
async fn after_a_kill_the_audit_holds_what_was_changed_and_nothing_else() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut served = serve(folder.path(), &[]);
    let key = served.key().expect("a key").to_owned();
    let http = client();
    let mut acknowledged = BTreeSet::new();
    for round in 0..4_usize {
        let answered = Arc::new(AtomicUsize::new(0));
        let ask = || {
            let body = json!({"name": "orchard", "latitude_deg": 48.0, "longitude_deg": 0.5, "time_zone": "Europe/London"});
            let request = http.post(format!("{}/v1/properties", served.url)).bearer_auth(&key).json(&body);
            let answered = Arc::clone(&answered);
            async move {
                let reply = request.send().await;
                answered.fetch_add(1, Ordering::SeqCst);
                reply
            }
        };
        let sent: Vec<_> = (0..60).map(|_| tokio::spawn(ask())).collect();
        // Some requests are answered; the others are before their commit, in it, or after it.
        for _ in 0..2000 {
            if answered.load(Ordering::SeqCst) > 5 * round {
                break;
            }
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
        served.child.kill().expect("SIGKILL");
        for reply in sent {
            if let Ok(response) = reply.await.expect("a task")
                && response.status() == 201
            {
                let request = response.headers()["x-request-id"].to_str().expect("an id");
                acknowledged.insert(request.to_owned());
            }
        }
        served.child.wait().expect("it is gone");
        served = serve(folder.path(), &[]);
    }
    let text = |value: &Value| value.as_str().expect("a text").to_owned();
    let properties: BTreeSet<String> =
        all(&served, &key, "/v1/properties").await.iter().map(|one| text(&one["id"])).collect();
    let entries = all(&served, &key, "/v1/audit").await;
    let made: Vec<&Value> = entries.iter().filter(|entry| entry["operation"] == "create_property").collect();
    assert_eq!(made.len(), properties.len(), "one entry for each");
    assert_eq!(made.iter().map(|entry| text(&entry["thing"]["id"])).collect::<BTreeSet<_>>(), properties);
    let told: BTreeSet<String> = made.iter().map(|entry| text(&entry["request_id"])).collect();
    assert!(acknowledged.is_subset(&told), "an acknowledged change is not in the audit");
    assert!(!acknowledged.is_empty(), "nothing was acknowledged, so this shows nothing");
}

#[tokio::test]
async fn the_last_uses_of_keys_are_written_at_shutdown() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut first = serve(folder.path(), &[]);
    let key = first.key().expect("a key").to_owned();
    get(&first, &key, "/v1/account").await.expect(200);
    let shown = get(&first, &key, "/v1/keys").await.expect(200);
    assert_eq!(shown["items"][0]["last_used_at"], Value::Null, "not yet written");
    let killed = Command::new("kill").args(["-TERM", &first.child.id().to_string()]).status().expect("kill");
    assert!(killed.success());
    tokio::task::spawn_blocking(move || first.child.wait().expect("its end")).await.expect("waiting");
    let second = serve(folder.path(), &[]);
    let shown = get(&second, &key, "/v1/keys").await.expect(200);
    let used = shown["items"][0]["last_used_at"].as_str().expect("an instant");
    assert!(used.ends_with(":00Z"), "to the minute: {used}");
}
