//! What one account can do to another: how long `GET /v1/tasks?limit=100` of a quiet account takes while a busy one does
//! its worst, on the service as a process with an embedded database.
//!
//! `cargo bench -p eavesward-tests --bench starvation` runs every attack with the service's bounds as they are by
//! default; with `WITHOUT_BOUNDS=1` before it, also with bounds that no attack reaches. Wanted with the bounds: the median under the larger of 20 ms and five
//! times that of the idle service, the 99th percentile under 250 ms.

#![expect(clippy::print_stdout, reason = "its table is what it is for")]

use chrono::{Days, NaiveDate};
use eavesward_service::domain::base::clock::{Clock as _, SystemClock};
use reqwest::{Client, Method};
use serde_json::{Value, json};
use std::fmt::Write as _;
use std::io::{BufRead as _, BufReader, Write as _};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, LazyLock, Mutex};
use std::time::{Duration, Instant};

/// How long each attack goes on.
const LASTS: Duration = Duration::from_secs(8);
/// Between two looks of the quiet account, so that it stays within its own rate.
const PAUSE: Duration = Duration::from_millis(15);
/// Systems of each account, three parts each.
const SYSTEMS: usize = 60;

/// What the busy account does, and how often at once.
const ATTACKS: [(&str, usize, Attack); 8] = [
    ("nothing", 0, Attack::Lists),
    ("forecasts of 20 years of rain", 30, Attack::Forecasts),
    ("lists of 500 tasks", 64, Attack::Lists),
    ("imports of 100 years of rain", 30, Attack::Imports),
    ("new properties", 64, Attack::Properties),
    ("digests", 30, Attack::Digests),
    ("rounds", 30, Attack::Rounds),
    ("bodies that never end", 300, Attack::SlowBodies),
];

#[derive(Clone, Copy)]
enum Attack {
    Forecasts,
    Lists,
    Imports,
    Properties,
    Digests,
    Rounds,
    SlowBodies,
}

struct Served {
    child: Child,
    url: String,
    key: String,
}

impl Drop for Served {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn served(folder: &Path, settings: &[(&str, &str)]) -> Served {
    let url = format!("sqlite://{}", folder.join("starvation.db").display());
    let mut child = Command::new(env!("CARGO_BIN_EXE_served"))
        .args(["serve", "--bind", "127.0.0.1:0", "--log", "info", "--database-url", &url])
        .envs(settings.iter().copied())
        .stdout(Stdio::from(std::fs::File::create(folder.join("out")).expect("a file")))
        .stderr(Stdio::piped())
        .spawn()
        .expect("a process");
    let mut log = BufReader::new(child.stderr.take().expect("its log")).lines().map_while(Result::ok);
    let address = log
        .find_map(|line| line.split("listening on ").nth(1)?.split_whitespace().next().map(str::to_owned))
        .expect("it says where it listens");
    std::thread::spawn(move || log.for_each(drop));
    let printed = std::fs::read_to_string(folder.join("out")).expect("what it printed");
    Served { child, url: format!("http://{address}"), key: key(&printed) }
}

fn key(printed: &str) -> String {
    printed.split_whitespace().find(|word| word.starts_with("ew_")).expect("a key").to_owned()
}

fn other_account(folder: &Path) -> String {
    let url = format!("sqlite://{}", folder.join("starvation.db").display());
    let made = Command::new(env!("CARGO_BIN_EXE_served"))
        .args(["key", "--new-account", "quiet", "--database-url", &url])
        .output()
        .expect("a process");
    key(&String::from_utf8(made.stdout).expect("text"))
}

/// An account's way to the service.
#[derive(Clone)]
struct Caller {
    http: Client,
    url: String,
    key: String,
}

impl Caller {
    fn new(url: &str, key: &str) -> Self {
        Self {
            http: Client::builder().no_proxy().build().expect("a client"),
            url: url.to_owned(),
            key: key.to_owned(),
        }
    }

    fn request(&self, method: Method, path: &str) -> reqwest::RequestBuilder {
        self.http.request(method, format!("{}{path}", self.url)).bearer_auth(&self.key)
    }

    async fn made(&self, path: &str, body: &Value) -> Value {
        let answer = self.request(Method::POST, path).json(body).send().await.expect("an answer");
        let status = answer.status();
        let text = answer.text().await.expect("a body");
        assert!(status.is_success(), "{path}: {status} {text}");
        serde_json::from_str(&text).expect("JSON")
    }

    /// Systems with rain; the id of their rain gauge.
    async fn settle(&self) -> String {
        let place = json!({"name": "Alder Row", "latitude_deg": 48.0, "longitude_deg": 0.5, "time_zone": "Europe/London"});
        let property = self.made("/v1/properties", &place).await["id"].clone();
        let gauge = json!({"name": "orchard gauge", "latitude_deg": 48.0, "longitude_deg": 0.5});
        let gauge = self.made("/v1/gauges", &gauge).await["id"].as_str().expect("an id").to_owned();
        for number in 0..SYSTEMS {
            let part =
                |name: &str, part: Value| json!({"name": name, "installed_on": "2020-01-01", "part": part});
            let emptying = json!({"by": "weep_hole", "hole_mm": 2.0, "head_m": 1.0});
            let diverter =
                json!({"kind": "first_flush_diverter", "chamber_volume_l": 50.0, "emptying": emptying});
            let system = json!({
                "property_id": property, "gauge_id": gauge, "name": format!("shed {number}"),
                "commissioned_on": "2020-01-01",
                "roof": {"plan_area_m2": 50.0, "surface": "metal", "runoff_coefficient": 0.9, "wetting_loss_mm": 0.5},
                "components": [part("screen", json!({"kind": "debris_screen", "area_m2": 0.2})),
                    part("diverter", diverter), part("coupling", json!({"kind": "coupling", "material": "epdm"}))],
            });
            self.made("/v1/systems", &system).await;
        }
        let sent = self.import(&gauge, file(10).leak()).send().await.expect("an answer");
        assert!(sent.status().is_success(), "{}", sent.text().await.expect("a body"));
        gauge
    }

    fn import(&self, gauge: &str, file: &'static str) -> reqwest::RequestBuilder {
        let request = self.request(Method::PUT, &format!("/v1/gauges/{gauge}/rain"));
        request.header("Content-Type", "text/csv").body(file)
    }

    async fn attack(&self, attack: Attack, gauge: &str) -> Option<u16> {
        let request = match attack {
            Attack::Forecasts => {
                let request = self.request(Method::POST, "/v1/forecast");
                request.header("Content-Type", "application/json").body(SKETCH.as_str())
            }
            Attack::Lists => self.request(Method::GET, "/v1/tasks?limit=500"),
            Attack::Imports => self.import(gauge, LONG_FILE.as_str()),
            Attack::Properties => self.request(Method::POST, "/v1/properties").json(
                &json!({"name": "Mill Lane", "latitude_deg": 48.0, "longitude_deg": 0.5, "time_zone": "UTC"}),
            ),
            Attack::Digests => self.request(Method::GET, "/v1/digest.json"),
            Attack::Rounds => self.request(Method::GET, "/v1/rounds/proposal"),
            Attack::SlowBodies => return self.half_sent().await,
        };
        let answer = request.send().await.ok()?;
        let status = answer.status().as_u16();
        answer.bytes().await.ok()?;
        Some(status)
    }

    /// A request whose body never ends.
    async fn half_sent(&self) -> Option<u16> {
        let host = self.url.trim_start_matches("http://");
        let mut stream = TcpStream::connect(host).ok()?;
        let head = format!(
            "POST /v1/properties HTTP/1.1\r\nHost: {host}\r\nAuthorization: Bearer {}\r\nContent-Type: \
             application/json\r\nContent-Length: 2000\r\n\r\n{{",
            self.key
        );
        stream.write_all(head.as_bytes()).ok()?;
        tokio::time::sleep(LASTS).await;
        None
    }
}

/// Made-up rain: wet days in a fixed pattern, through yesterday as the service's clock has it.
fn rain(years: u32) -> impl Iterator<Item = (NaiveDate, f64)> {
    let days = u64::from(years) * 365;
    let end = SystemClock.now().date_naive();
    let start = end - Days::new(days);
    (0..days).map(move |day| (start + Days::new(day), f64::from(day as u32 * 7 % 11) * 0.6))
}

/// Bodies are made once: the attacker's own work must not slow down what is measured on the same machine.
static SKETCH: LazyLock<String> = LazyLock::new(|| sketch().to_string());
static LONG_FILE: LazyLock<String> = LazyLock::new(|| file(100));

fn file(years: u32) -> String {
    let mut file = "date,mm\n".to_owned();
    for (date, mm) in rain(years) {
        writeln!(file, "{date},{mm}").expect("a text");
    }
    file
}

fn sketch() -> Value {
    let rain: Vec<Value> =
        rain(20).map(|(date, rain_mm)| json!({"date": date, "rain_mm": rain_mm})).collect();
    json!({
        "latitude_deg": 48.0, "as_of": SystemClock.now().date_naive(), "rain": rain,
        "roof": {"plan_area_m2": 50.0, "surface": "metal", "runoff_coefficient": 0.9, "wetting_loss_mm": 0.5},
        "components": [
            {"name": "screen", "installed_on": "2020-01-01", "part": {"kind": "debris_screen", "area_m2": 0.2}},
            {"name": "coupling", "installed_on": "2020-01-01", "part": {"kind": "coupling", "material": "epdm"}},
        ],
    })
}

/// Milliseconds that each list of the quiet account took.
async fn look(quiet: &Caller) -> Vec<f64> {
    let (mut took, end) = (Vec::new(), Instant::now() + LASTS);
    while Instant::now() < end {
        let began = Instant::now();
        let answer = quiet.request(Method::GET, "/v1/tasks?limit=100").send().await.expect("an answer");
        assert_eq!(answer.status(), 200);
        answer.bytes().await.expect("a body");
        took.push(began.elapsed().as_secs_f64() * 1000.0);
        tokio::time::sleep(PAUSE).await;
    }
    took
}

/// Milliseconds that the quiet account's list took, sorted; and the answers to the busy one by status.
async fn under(
    attack: Attack,
    hands: usize,
    busy: &Caller,
    gauge: &str,
    quiet: &Caller,
) -> (Vec<f64>, String) {
    let going_on = Arc::new(AtomicBool::new(true));
    let counts = Arc::new(Mutex::new(std::collections::BTreeMap::<u16, u64>::new()));
    let cut = Arc::new(AtomicU64::new(0));
    let hands: Vec<_> = (0..hands)
        .map(|_| {
            let (busy, gauge, going_on) = (busy.clone(), gauge.to_owned(), going_on.clone());
            let (counts, cut) = (counts.clone(), cut.clone());
            tokio::spawn(async move {
                while going_on.load(Ordering::Relaxed) {
                    match busy.attack(attack, &gauge).await {
                        Some(status) => *counts.lock().expect("counts").entry(status).or_default() += 1,
                        None => drop(cut.fetch_add(1, Ordering::Relaxed)),
                    }
                }
            })
        })
        .collect();
    tokio::time::sleep(Duration::from_millis(500)).await;
    let quiet = Caller::new(&quiet.url, &quiet.key);
    let looking = tokio::task::spawn_blocking(move || {
        // On a thread of its own, so that it waits for the service alone and not for its own attackers.
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
        runtime.block_on(look(&quiet))
    });
    let mut took = looking.await.expect("it looked");
    going_on.store(false, Ordering::Relaxed);
    for hand in hands {
        hand.abort();
        let _ = hand.await;
    }
    took.sort_by(f64::total_cmp);
    let mut shown: Vec<String> =
        counts.lock().expect("counts").iter().map(|(status, count)| format!("{status}: {count}")).collect();
    if cut.load(Ordering::Relaxed) > 0 {
        shown.push(format!("none: {}", cut.load(Ordering::Relaxed)));
    }
    (took, shown.join(", "))
}

fn share(sorted: &[f64], of: f64) -> f64 {
    let place = (sorted.len() as f64 * of) as usize;
    sorted.get(place.min(sorted.len().saturating_sub(1))).copied().unwrap_or(f64::NAN)
}

async fn all(name: &str, settings: &[(&str, &str)]) {
    let folder = tempfile::tempdir().expect("a folder");
    let served = served(folder.path(), settings);
    let quiet = Caller::new(&served.url, &other_account(folder.path()));
    let busy = Caller::new(&served.url, &served.key);
    let gauge = busy.settle().await;
    quiet.settle().await;
    // The first refreshes are done when nothing waits any more.
    tokio::time::sleep(Duration::from_secs(5)).await;
    println!("\n{name}\n");
    println!(
        "| the busy account sends | at once | median ms | of the limit | 99 % ms | of 250 ms | its answers |"
    );
    println!("|---|---|---|---|---|---|---|");
    let mut limit = f64::NAN;
    for (what, hands, attack) in ATTACKS {
        let (took, answers) = under(attack, hands, &busy, &gauge, &quiet).await;
        let (median, late) = (share(&took, 0.5), share(&took, 0.99));
        if hands == 0 {
            limit = (5.0 * median).max(20.0);
        }
        println!(
            "| {what} | {hands} | {median:.1} | {:.2} | {late:.0} | {:.2} | {answers} |",
            median / limit,
            late / 250.0
        );
    }
}

fn main() {
    // `cargo test --benches` only asks whether it builds.
    if !std::env::args().any(|argument| argument == "--bench") {
        return;
    }
    // The client wants its cryptography chosen, although all that it asks is on this machine.
    let _ = rustls::crypto::ring::default_provider().install_default();
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build();
    let runtime = runtime.expect("a runtime");
    runtime.block_on(all("With the bounds of the defaults", &[]));
    if std::env::var_os("WITHOUT_BOUNDS").is_some() {
        let open = [
            ("EAVESWARD_REQUESTS_PER_S", "0"),
            ("EAVESWARD_REQUESTS_IN_FLIGHT", "100000"),
            ("EAVESWARD_REQUESTS_AT_ONCE", "100000"),
            ("EAVESWARD_HEAVY_AT_ONCE", "100000"),
        ];
        runtime.block_on(all("Without bounds", &open));
    }
}
