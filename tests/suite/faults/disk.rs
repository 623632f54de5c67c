//! SQLite on a disk that is full, or that fails: writes are refused with the reason, reading goes on, and once the
//! disk has space again every write succeeds without a restart.

use crate::support::app::Reply;
use crate::support::served::Served;
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

const SERVED: &str = env!("CARGO_BIN_EXE_served");

/// Writes at once, several for each connection.
const AT_ONCE: usize = 24;

fn arguments(folder: &Path) -> Vec<String> {
    let url = format!("sqlite://{}", folder.join("disk.db").display());
    let all = [
        "serve",
        "--bind",
        "127.0.0.1:0",
        "--drain-s",
        "0",
        "--max-connections",
        "4",
        "--database-url",
        &url,
    ];
    all.map(str::to_owned).to_vec()
}

struct Caller {
    http: reqwest::Client,
    url: String,
    key: String,
}

impl Caller {
    fn of(served: &Served) -> Self {
        let http = crate::support::http_client().build().expect("a client");
        Self { http, url: served.url.clone(), key: served.key().expect("a key").to_owned() }
    }

    async fn get(&self, path: &str) -> Reply {
        Reply::of(self.http.get(format!("{}{path}", self.url)).bearer_auth(&self.key)).await
    }

    /// Makes a property with notes of a few pages.
    async fn add(&self, name: String) -> Reply {
        let body = json!({"name": name, "latitude_deg": 48.0, "longitude_deg": 0.5, "time_zone": "Europe/London",
            "notes": "a long note; ".repeat(150)});
        let url = format!("{}/v1/properties", self.url);
        Reply::of(self.http.post(url).bearer_auth(&self.key).json(&body)).await
    }

    async fn add_at_once(&self, name: &str) -> Vec<Reply> {
        futures_util::future::join_all((0..AT_ONCE).map(|n| self.add(format!("{name} {n}")))).await
    }

    async fn all(&self, list: &str) -> Vec<Value> {
        let (mut found, mut path) = (Vec::new(), format!("{list}?limit=500"));
        loop {
            let page: Value = self.get(&path).await.expect(200);
            found.extend(page["items"].as_array().expect("items").iter().cloned());
            match page["next_cursor"].as_str() {
                Some(next) => path = format!("{list}?limit=500&cursor={next}"),
                None => return found,
            }
        }
    }

    /// How many properties there are. Each of them is in the audit, and nothing else.
    async fn count(&self) -> usize {
        let id = |value: &Value| value.as_str().expect("an id").to_owned();
        let properties = self.all("/v1/properties").await;
        let entries = self.all("/v1/audit").await;
        let made = entries.iter().filter(|entry| entry["operation"] == "create_property");
        let told: Vec<String> = made.map(|entry| id(&entry["thing"]["id"])).collect();
        let made: BTreeSet<String> = properties.iter().map(|one| id(&one["id"])).collect();
        assert_eq!((told.len(), told.into_iter().collect::<BTreeSet<_>>()), (properties.len(), made));
        properties.len()
    }

    /// Waits until `/readyz` answers this status.
    async fn until_ready_says(&self, status: u16) -> Reply {
        let mut last = self.get("/readyz").await;
        for _ in 0..300 {
            if last.status == status {
                return last;
            }
            tokio::time::sleep(Duration::from_millis(100)).await;
            last = self.get("/readyz").await;
        }
        panic!("/readyz goes on saying {}: {}", last.status, last.text);
    }
}

/// Takes the disk away and gives it back. Meanwhile writes are refused with this status and word.
async fn goes_through_it(
    served: &Served,
    (status, word): (u16, &str),
    take: impl AsyncFn(),
    give_back: impl FnOnce(),
) {
    let caller = Caller::of(served);
    for reply in caller.add_at_once("before").await {
        reply.expect(201);
    }
    assert_eq!(caller.get("/readyz").await.status, 200);
    take().await;
    let mut answered = BTreeMap::<u16, usize>::new();
    for round in 0..6 {
        for reply in caller.add_at_once(&format!("meanwhile {round}")).await {
            *answered.entry(reply.status).or_default() += 1;
            if reply.status == status {
                let problem = match status {
                    507 => reply.problem("insufficient_storage"),
                    _ => reply.problem("unavailable"),
                };
                assert!(problem["detail"].as_str().is_some_and(|text| text.contains(word)), "{problem}");
                let wait: u32 = reply.header("retry-after").parse().expect("seconds to wait");
                assert!((1..=60).contains(&wait), "{wait}");
            }
        }
    }
    assert!(answered.get(&status).is_some_and(|refused| *refused >= AT_ONCE), "{answered:?}");
    assert!(answered.keys().all(|status| matches!(status, 201 | 503 | 507)), "{answered:?}");
    let told = caller.until_ready_says(503).await;
    let told = told.problem("unavailable");
    assert!(told["detail"].as_str().is_some_and(|text| text.contains(word)), "{told}");
    let made = AT_ONCE + answered.get(&201).copied().unwrap_or_default();
    let found = caller.count().await;
    assert!((made..=made + 6 * AT_ONCE).contains(&found), "{found} found, {made} acknowledged");

    give_back();
    caller.until_ready_says(200).await;
    let found = caller.count().await;
    for round in 0..8 {
        for reply in caller.add_at_once(&format!("after {round}")).await {
            reply.expect(201);
        }
    }
    assert_eq!(caller.count().await, found + 8 * AT_ONCE);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_full_disk_stops_writes_only_while_it_is_full() {
    let (out, disk) = (tempfile::tempdir().expect("a folder"), tempfile::tempdir().expect("a folder"));
    // A file system of 16 MB in a name space of its own, which ends with the process.
    let mut command = Command::new("unshare");
    command.args(["--user", "--map-root-user", "--mount", "sh", "-c"]);
    command.arg(r#"mount -t tmpfs -o size=16m none "$0" && exec "$@""#).arg(disk.path()).arg(SERVED);
    let served = Served::start(command.args(arguments(disk.path())), out.path());
    let inside = PathBuf::from(format!("/proc/{}/root{}/filler", served.child.id(), disk.path().display()));
    let fill = async || {
        let mut file = fs::File::create(&inside).expect("a file on that disk");
        while file.write_all(&[1; 512]).is_ok() {}
    };
    let give_back = || fs::remove_file(&inside).expect("it is there");
    goes_through_it(&served, (507, "full"), fill, give_back).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_disk_that_fails_stops_writes_only_while_it_fails() {
    let folder = tempfile::tempdir().expect("a folder");
    // Without the signal, a write beyond the limit of a file's size fails like one to a broken disk.
    let mut command = Command::new("sh");
    command.args(["-c", r#"trap "" XFSZ; exec "$0" "$@""#, SERVED]).args(arguments(folder.path()));
    let served = Served::start(&mut command, folder.path());
    let limit = |bytes: &str| {
        let pid = served.child.id().to_string();
        let mut set = Command::new("prlimit");
        set.args(["--pid", &pid, &format!("--fsize={bytes}:unlimited")]);
        assert!(set.status().expect("prlimit").success());
    };
    let break_it = async || limit("4096");
    goes_through_it(&served, (503, "disk"), break_it, || limit("unlimited")).await;
}
