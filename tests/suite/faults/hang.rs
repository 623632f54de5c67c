//! PostgreSQL that stays connected and does not answer: whoever waits for it is told within a bound, and all goes on
//! once it answers again.

use crate::storage::Rig;
use crate::support::app::{App, Kind, Reply};
use eavesward_service::config::DatabaseUrl;
use eavesward_service::domain::base::error::StoreError;
use eavesward_service::domain::base::ids::AccountId;
use eavesward_service::domain::ports::store::Store as _;
use eavesward_service::domain::ports::store::accounts::AccountStore as _;
use eavesward_service::storage::{ConnectOptions, Database};
use sqlx::Connection as _;
use std::io::{Read as _, Write as _};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::sync::{Arc, Condvar, Mutex};
use std::time::{Duration, Instant};

/// A line to the test cluster that can be held: it stays open then and carries nothing.
struct Line {
    url: String,
    gate: Arc<Gate>,
}

#[derive(Default)]
struct Gate {
    held: Mutex<bool>,
    opened: Condvar,
}

impl Gate {
    fn pass(&self) {
        let held = self.held.lock().expect("a gate");
        drop(self.opened.wait_while(held, |held| *held).expect("a gate"));
    }
}

impl Line {
    fn to(url: &str) -> Self {
        let far = reqwest::Url::parse(url).expect("a URL");
        let far_port = far.port().expect("the cluster's port");
        let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
        let mut near = far;
        near.set_port(Some(listener.local_addr().expect("its address").port())).expect("a port");
        let gate = Arc::<Gate>::default();
        let own = gate.clone();
        std::thread::spawn(move || {
            for near in listener.incoming().map_while(Result::ok) {
                let Ok(far) = TcpStream::connect(("127.0.0.1", far_port)) else { return };
                let (from, to) = (near.try_clone().expect("a socket"), far.try_clone().expect("a socket"));
                let (there, back) = (own.clone(), own.clone());
                std::thread::spawn(move || pass_on(&there, from, to));
                std::thread::spawn(move || pass_on(&back, far, near));
            }
        });
        Self { url: near.into(), gate }
    }

    fn hold(&self) {
        *self.gate.held.lock().expect("a gate") = true;
    }

    fn release(&self) {
        *self.gate.held.lock().expect("a gate") = false;
        self.gate.opened.notify_all();
    }
}

fn pass_on(gate: &Gate, mut from: TcpStream, mut to: TcpStream) {
    let mut buffer = [0; 4096];
    while let Ok(read @ 1..) = from.read(&mut buffer) {
        gate.pass();
        if to.write_all(&buffer[..read]).is_err() {
            break;
        }
    }
    let _ = (from.shutdown(Shutdown::Both), to.shutdown(Shutdown::Both));
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn readiness_is_told_soon_while_the_database_hangs() {
    let mut line = None;
    let app = App::start_with(Kind::Postgres, |layer| {
        let direct = layer.database_url.as_ref().expect("a database").reveal();
        let held = line.insert(Line::to(direct));
        layer.database_url = Some(DatabaseUrl::new(held.url.as_str()));
        layer.metrics_bind = Some("127.0.0.1:0".to_owned());
    })
    .await;
    let line = line.expect("a line");
    let ready = || Reply::of(app.anonymous("GET", "/readyz"));
    assert_eq!(ready().await.status, 200);
    line.hold();
    for _ in 0..3 {
        let began = Instant::now();
        for reply in futures_util::future::join_all((0..20).map(|_| ready())).await {
            assert!(!reply.header("retry-after").is_empty());
            let told = reply.problem("unavailable");
            assert!(told["detail"].as_str().is_some_and(|text| text.contains("does not answer")), "{told}");
        }
        // It takes 1.5 s. The wait for a connection alone would take 15 s.
        assert!(began.elapsed() < Duration::from_secs(10), "{:?}", began.elapsed());
    }
    assert_eq!(Reply::of(app.anonymous("GET", "/healthz")).await.status, 200);
    assert!(
        app.last_metrics().await.contains("eavesward_figures_age_seconds"),
        "metrics are shown all the same"
    );
    line.release();
    let mut last = ready().await;
    for _ in 0..300 {
        if last.status == 200 {
            break;
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
        last = ready().await;
    }
    assert_eq!(last.status, 200, "{}", last.text);
    app.get("/v1/account").await;
    app.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_statement_without_an_answer_ends_and_its_connection_comes_back() {
    let rig = Rig::postgres().await;
    let mut rival = sqlx_postgres::PgConnection::connect(&rig.url).await.expect("a connection");
    let run = async |rival: &mut sqlx_postgres::PgConnection, text: &'static str| {
        sqlx::query(text).execute(rival).await.expect("it runs");
    };
    run(&mut rival, "BEGIN").await;
    run(&mut rival, "LOCK TABLE accounts IN ACCESS EXCLUSIVE MODE").await;
    let options = ConnectOptions {
        max_connections: 1,
        acquire_timeout: Duration::from_secs(2),
        answer_timeout: Duration::from_millis(300),
        ..ConnectOptions::default()
    };
    let database = Database::connect(&rig.url, &options).await.expect("it connects");
    let nobody = AccountId(uuid::Uuid::nil());
    for _ in 0..3 {
        // Without a bound this would wait for the rival, who waits for this.
        let error = database.account(nobody).await.expect_err("the table is locked");
        assert!(matches!(error, StoreError::NoAnswer(_) | StoreError::Unavailable(_)), "{error:?}");
    }
    run(&mut rival, "ROLLBACK").await;
    let mut found = database.account(nobody).await;
    for _ in 0..300 {
        if found.is_ok() {
            break;
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
        found = database.account(nobody).await;
    }
    assert_eq!(found.expect("the one connection is free again"), None);
    database.close().await;
    rig.end().await;
}
