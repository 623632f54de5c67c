//! A service under test: the same start-up code as in production, on a port of its own, a database of its own, and a
//! clock that stands still until a test moves it.

use chrono::{DateTime, Utc};
use eavesward_service::config::{DatabaseUrl, Layer, Settings};
use eavesward_service::domain::background::{corrections, refresh, scoring};
use eavesward_service::domain::base::clock::SetClock;
use eavesward_service::domain::context::Context;
use eavesward_service::domain::use_cases::accounts;
use eavesward_service::server::{self, Application};
use serde_json::Value;
use std::sync::Arc;

/// Which database a test runs on.
#[derive(Clone, Copy, Debug)]
pub enum Kind {
    /// A file of its own.
    Sqlite,
    /// A database of its own in the cluster of this test process.
    Postgres,
}

/// The day most tests play on: noon UTC.
pub const NOW: &str = "2026-03-01T12:00:00Z";

/// A running service with one account.
pub struct App {
    /// `http://127.0.0.1:PORT`.
    pub url: String,
    /// A key of the first account that may do everything.
    pub key: String,
    /// The service's context, for stepping the job loop.
    pub cx: Context,
    /// Its clock.
    pub clock: Arc<SetClock>,
    metrics: (Option<std::net::SocketAddr>, Arc<server::Metrics>),
    /// The database it is on.
    pub kind: Kind,
    /// Its address.
    pub database_url: String,
    http: reqwest::Client,
    stop: Option<(server::Stopper, std::thread::JoinHandle<()>)>,
    _folder: tempfile::TempDir,
}

impl App {
    /// Starts a service at [`NOW`].
    pub async fn start(kind: Kind) -> Self {
        Self::start_with(kind, |_| {}).await
    }

    /// Starts a service at [`NOW`] with other settings.
    pub async fn start_with(kind: Kind, change: impl FnOnce(&mut Layer)) -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let url = match kind {
            Kind::Sqlite => format!("sqlite://{}", folder.path().join("test.db").display()),
            Kind::Postgres => super::postgres::fresh_database().await,
        };
        let key_file = folder.path().join("secrets-key");
        std::fs::write(&key_file, super::SECRETS_KEY).expect("a key file");
        let mut layer = Layer {
            secrets_key_file: Some(key_file),
            bind: Some(([127, 0, 0, 1], 0).into()),
            database_url: Some(DatabaseUrl::new(url.clone())),
            max_connections: Some(4),
            workers: Some(1),
            // More than a test can send: answers have the headers, and none is refused.
            requests_per_s: Some(1_000_000),
            requests_burst: Some(1_000_000),
            // Tests step the refresh themselves; the loop still runs and must not disturb them.
            refresh_every_s: Some(3600),
            drain_s: Some(0),
            ..Layer::default()
        };
        change(&mut layer);
        let settings = Settings::of(layer).expect("settings");
        let clock = Arc::new(SetClock::new(NOW.parse().expect("an instant")));
        let (tell, told) = std::sync::mpsc::channel();
        let own = clock.clone();
        // The service lives on a thread and runtime of its own, as it would in production.
        let thread = std::thread::spawn(move || {
            actix_web::rt::System::new().block_on(async move {
                let cx = server::open(&settings, own).await.expect("the database opens");
                let (_, secret) =
                    accounts::bootstrap(&cx, "first account").await.expect("bootstrap").expect("empty");
                let application = Application::start(&settings, cx.clone()).expect("it listens");
                let metrics = (application.metrics_address, application.metrics());
                let told =
                    (application.address, cx, secret.reveal().to_owned(), application.stopper(), metrics);
                tell.send(told).expect("the test waits");
                application.run().await.expect("it serves");
            });
        });
        let (address, cx, key, stopper, metrics) =
            tokio::task::spawn_blocking(move || told.recv().expect("it starts")).await.expect("waiting");
        Self {
            url: format!("http://{address}"),
            key,
            cx,
            clock,
            kind,
            database_url: url,
            // Answers are looked at as they came over the wire.
            http: super::http_client()
                .no_gzip()
                .no_brotli()
                .redirect(reqwest::redirect::Policy::none())
                .build()
                .expect("a client"),
            metrics,
            stop: Some((stopper, thread)),
            _folder: folder,
        }
    }

    /// Moves the clock and refreshes what became stale.
    pub async fn at(&self, instant: &str) {
        self.clock.set(instant.parse::<DateTime<Utc>>().expect("an instant"));
        self.refresh().await;
    }

    /// Refreshes what is stale, as the job loop would, and waits until nothing is: the loop may hold some of it.
    pub async fn refresh(&self) {
        use eavesward_service::domain::base::clock::Clock as _;
        corrections::run(&self.cx).await.expect("correcting");
        for _ in 0..200 {
            refresh::run(&self.cx).await.expect("refreshing");
            if self.cx.store.stale_count(self.clock.now()).await.expect("counting") == 0 {
                return;
            }
            tokio::time::sleep(std::time::Duration::from_millis(25)).await;
        }
        panic!("some systems stay stale");
    }

    /// Works out what findings answered, as the job loop would, and waits until nothing is left to do.
    pub async fn score(&self) {
        for _ in 0..200 {
            scoring::run(&self.cx).await.expect("scoring");
            if self.cx.store.unscored_count().await.expect("counting") == 0 {
                return;
            }
            tokio::time::sleep(std::time::Duration::from_millis(25)).await;
        }
        panic!("some findings stay unanswered");
    }

    /// A further account's key.
    pub async fn other_account(&self) -> String {
        let (_, secret) = accounts::create(&self.cx, "another account").await.expect("an account");
        secret.reveal().to_owned()
    }

    /// The metrics as text, with the figures of now. They need `metrics_bind` among the settings.
    pub async fn metrics(&self) -> String {
        self.metrics.1.read_once().await;
        self.last_metrics().await
    }

    /// The same with the figures that were read last.
    pub async fn last_metrics(&self) -> String {
        let address = self.metrics.0;
        let url = format!("http://{}/metrics", address.expect("metrics are served"));
        let reply = Reply::of(self.http.get(url)).await;
        assert_eq!(reply.status, 200, "{}", reply.text);
        reply.text
    }

    /// What stops the service, for a look at it while it stops.
    pub fn stopper(&self) -> server::Stopper {
        self.stop.as_ref().expect("it runs").0.clone()
    }

    /// A request without any key.
    pub fn anonymous(&self, method: &str, path: &str) -> reqwest::RequestBuilder {
        let method = method.parse::<reqwest::Method>().expect("a method");
        self.http.request(method, format!("{}{path}", self.url))
    }

    /// A request with the first account's key.
    pub fn request(&self, method: &str, path: &str) -> reqwest::RequestBuilder {
        self.request_as(&self.key, method, path)
    }

    /// A request with another key.
    pub fn request_as(&self, key: &str, method: &str, path: &str) -> reqwest::RequestBuilder {
        self.anonymous(method, path).bearer_auth(key)
    }

    /// GET, which has to succeed.
    pub async fn get(&self, path: &str) -> Value {
        Reply::of(self.request("GET", path)).await.expect(200)
    }

    /// POST, which has to make something. `null` is no body.
    pub async fn post(&self, path: &str, body: &Value) -> Value {
        self.send("POST", path, body).await.expect(201)
    }

    /// Every item of a list, page by page. `path` may carry a query; pages are never larger than asked for and, but for
    /// the last, never smaller.
    pub async fn walk(&self, path: &str, limit: usize) -> Vec<Value> {
        let join = if path.contains('?') { '&' } else { '?' };
        let mut all = Vec::new();
        let mut cursor = String::new();
        for _ in 0..1000 {
            let page = self.get(&format!("{path}{join}limit={limit}{cursor}")).await;
            let items = page["items"].as_array().expect("items");
            all.extend(items.iter().cloned());
            match page["next_cursor"].as_str() {
                Some(next) => {
                    assert_eq!(items.len(), limit, "only the last page may be short");
                    cursor = format!("&cursor={next}");
                }
                None => return all,
            }
        }
        panic!("{path} does not end");
    }

    /// Any JSON request.
    pub async fn send(&self, method: &str, path: &str, body: &Value) -> Reply {
        let request = self.request(method, path);
        Reply::of(if body.is_null() { request } else { request.json(body) }).await
    }

    /// PUT under a version.
    pub async fn put(&self, path: &str, version: i64, body: &Value) -> Reply {
        let request = self.request("PUT", path).header("If-Match", format!("\"{version}\""));
        Reply::of(request.json(body)).await
    }

    /// Stops the service the way SIGTERM does, and waits for it.
    pub async fn stop(mut self) {
        if let Some((stopper, thread)) = self.stop.take() {
            stopper.stop().await;
            tokio::task::spawn_blocking(move || thread.join().expect("it ended well"))
                .await
                .expect("joining");
        }
    }
}

/// An answer, read to its end.
#[derive(Debug)]
pub struct Reply {
    /// HTTP status.
    pub status: u16,
    /// Headers.
    pub headers: reqwest::header::HeaderMap,
    /// Body as text.
    pub text: String,
}

impl Reply {
    /// Sends a request.
    pub async fn of(request: reqwest::RequestBuilder) -> Self {
        let mut response = request.send().await.expect("an answer");
        let (status, headers) = (response.status().as_u16(), response.headers().clone());
        let endless = headers.get("content-type").is_some_and(|kind| kind == "text/event-stream");
        let text = if endless {
            // What came at once; the rest may take for ever.
            let piece = response.chunk().await.expect("a piece").unwrap_or_default();
            String::from_utf8(piece.to_vec()).expect("UTF-8")
        } else {
            response.text().await.expect("a body")
        };
        Self { status, headers, text }
    }

    /// The body as JSON, if the status is the expected one.
    #[track_caller]
    pub fn expect(&self, status: u16) -> Value {
        assert_eq!(self.status, status, "{}", self.text);
        if self.text.is_empty() { Value::Null } else { serde_json::from_str(&self.text).expect("JSON") }
    }

    /// The problem's fields, if it is one with the expected code.
    #[track_caller]
    pub fn problem(&self, code: &str) -> Value {
        assert_eq!(self.header("content-type"), "application/problem+json", "{}", self.text);
        let problem: Value = serde_json::from_str(&self.text).expect("JSON");
        assert_eq!(problem["code"], code, "{}", self.text);
        assert_eq!(problem["status"], self.status, "{}", self.text);
        problem
    }

    /// The names of the refused fields, if it is a problem with the expected code.
    #[track_caller]
    pub fn fields(&self, code: &str) -> Vec<String> {
        let problem = self.problem(code);
        let errors = problem["errors"].as_array().unwrap_or_else(|| panic!("no fields: {}", self.text));
        for error in errors {
            assert!(error["message"].as_str().is_some_and(|text| !text.is_empty()), "{}", self.text);
        }
        errors.iter().map(|error| error["field"].as_str().expect("a name").to_owned()).collect()
    }

    /// A header, empty when absent.
    pub fn header(&self, name: &str) -> &str {
        self.headers.get(name).map_or("", |value| value.to_str().expect("text"))
    }
}

/// Runs async functions that take `&App` over both databases, a test each.
macro_rules! over_both {
    ($($(#[$meta:meta])* $name:ident;)*) => {
        mod sqlite {
            $(#[tokio::test] async fn $name() {
                let app = $crate::support::app::App::start($crate::support::app::Kind::Sqlite).await;
                super::$name(&app).await;
                app.stop().await;
            })*
        }
        mod postgres {
            $(#[tokio::test] async fn $name() {
                let app = $crate::support::app::App::start($crate::support::app::Kind::Postgres).await;
                super::$name(&app).await;
                app.stop().await;
            })*
        }
    };
}
pub(crate) use over_both;
