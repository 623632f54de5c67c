//! Requests with an `Idempotency-Key` whose attempt ends without an answer: the next attempt goes on at once. The clock
//! stands still, so no claim ends by itself.

use crate::support::app::{App, Kind, Reply};
use serde_json::{Value, json};
use sqlx::{AssertSqlSafe, Connection as _};
use std::io::Write as _;
use std::time::Duration;

/// Starts a service and gives the address of its database.
async fn start(kind: Kind) -> (App, String) {
    let mut url = String::new();
    let app = App::start_with(kind, |layer| {
        layer.database_url.as_ref().expect("a database").reveal().clone_into(&mut url);
    })
    .await;
    (app, url)
}

async fn run(url: &str, text: &str) {
    let text = AssertSqlSafe(text.to_owned());
    if url.starts_with("sqlite:") {
        let mut raw = sqlx_sqlite::SqliteConnection::connect(url).await.expect("a connection");
        sqlx::query(text).execute(&mut raw).await.expect("it runs");
    } else {
        let mut raw = sqlx_postgres::PgConnection::connect(url).await.expect("a connection");
        sqlx::query(text).execute(&mut raw).await.expect("it runs");
    }
}

fn orchard() -> Value {
    json!({"name": "orchard", "latitude_deg": 48.0, "longitude_deg": 0.5, "time_zone": "Europe/London"})
}

async fn add(app: &App) -> Reply {
    Reply::of(app.request("POST", "/v1/properties").header("Idempotency-Key", "a").json(&orchard())).await
}

async fn a_failed_attempt_frees_its_key(kind: Kind) {
    let (app, url) = start(kind).await;
    let (spoil, mend) = match kind {
        Kind::Sqlite => (
            "CREATE TRIGGER spoilt BEFORE INSERT ON properties BEGIN SELECT RAISE(ABORT, 'spoilt'); END",
            "DROP TRIGGER spoilt",
        ),
        Kind::Postgres => (
            "ALTER TABLE properties ADD CONSTRAINT spoilt CHECK (FALSE) NOT VALID",
            "ALTER TABLE properties DROP CONSTRAINT spoilt",
        ),
    };
    run(&url, spoil).await;
    for _ in 0..2 {
        let failed = add(&app).await;
        assert_eq!(failed.status, 500, "{}", failed.text);
        let detail = failed.problem("internal")["detail"].to_string();
        assert!(detail.contains("may have been made") && detail.contains("same Idempotency-Key"), "{detail}");
    }
    run(&url, mend).await;
    add(&app).await.expect(201);
    assert_eq!(app.walk("/v1/properties", 100).await.len(), 1);
    app.stop().await;
}

#[tokio::test]
async fn a_failed_attempt_frees_its_key_on_sqlite() {
    a_failed_attempt_frees_its_key(Kind::Sqlite).await;
}

#[tokio::test]
async fn a_failed_attempt_frees_its_key_on_postgres() {
    a_failed_attempt_frees_its_key(Kind::Postgres).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_caller_who_goes_away_leaves_the_key_free() {
    let (app, url) = start(Kind::Postgres).await;
    let mut rival = sqlx_postgres::PgConnection::connect(&url).await.expect("a connection");
    sqlx::query("BEGIN").execute(&mut rival).await.expect("it begins");
    sqlx::query("LOCK TABLE properties IN ACCESS EXCLUSIVE MODE").execute(&mut rival).await.expect("a lock");
    // The attempt waits for the rival.
    let address = app.url.strip_prefix("http://").expect("plain HTTP").to_owned();
    let body = orchard().to_string();
    let mut line = std::net::TcpStream::connect(&address).expect("a connection");
    write!(
        line,
        "POST /v1/properties HTTP/1.1\r\nHost: {address}\r\nAuthorization: Bearer {}\r\nIdempotency-Key: a\r\n\
         Content-Type: application/json\r\nContent-Length: {}\r\n\r\n{body}",
        app.key,
        body.len()
    )
    .expect("it is sent");
    let waiting = "SELECT count(*) FROM pg_stat_activity WHERE wait_event_type = 'Lock' AND datname = current_database()";
    for _ in 0..400 {
        let (count,): (i64,) = sqlx::query_as(waiting).fetch_one(&mut rival).await.expect("a count");
        if count > 0 {
            break;
        }
        tokio::time::sleep(Duration::from_millis(25)).await;
    }
    assert_eq!(add(&app).await.status, 409, "the first attempt runs");
    drop(line);
    sqlx::query("ROLLBACK").execute(&mut rival).await.expect("it ends");
    let mut last = add(&app).await;
    for _ in 0..400 {
        if last.status != 409 {
            break;
        }
        tokio::time::sleep(Duration::from_millis(25)).await;
        last = add(&app).await;
    }
    last.expect(201);
    assert_eq!(app.walk("/v1/properties", 100).await.len(), 1);
    app.stop().await;
}
