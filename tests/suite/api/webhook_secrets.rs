//! Webhook secrets where they are stored: encrypted, bound to their row, and replaced when their key is gone.

use super::receiver::Receiver;
use super::scenario::id_of;
use crate::support::SECRETS_KEY;
use crate::support::app::{App, Kind, over_both};
use eavesward_service::config::Settings;
use eavesward_service::domain::background::secrets::{SecretsCheck, check};
use eavesward_service::domain::context::Context;
use eavesward_service::storage::{ConnectOptions, Database, SecretKeys, add_key, make_key_file};
use serde_json::{Value, json};
use sqlx::{AssertSqlSafe, Connection as _};
use std::sync::Arc;

over_both! {
    a_secret_is_stored_encrypted;
    a_lost_key_pauses_until_a_new_secret_is_made;
    a_key_that_is_back_lets_it_go_on;
}

const OTHER_KEY: &str = "HxwdGhkYFxYVFBMSERAPDg0MCwoJCAcGBQQDAgEAAAA=";

async fn subscribe(app: &App, to: &str) -> (String, String) {
    let made = app.post("/v1/subscriptions", &json!({"name": "upkeep rota", "to": to})).await;
    let secret = made["secret"].as_str().expect("a secret").to_owned();
    (id_of(&made["subscription"]), secret)
}

/// What the column holds, as text of bytes.
async fn stored(app: &App) -> Vec<u8> {
    let text = "SELECT secret FROM subscriptions";
    let row: (Vec<u8>,) = match app.kind {
        Kind::Sqlite => {
            let mut raw =
                sqlx_sqlite::SqliteConnection::connect(&app.database_url).await.expect("a connection");
            sqlx::query_as(text).fetch_one(&mut raw).await.expect("a row")
        }
        Kind::Postgres => {
            let mut raw =
                sqlx_postgres::PgConnection::connect(&app.database_url).await.expect("a connection");
            sqlx::query_as(text).fetch_one(&mut raw).await.expect("a row")
        }
    };
    row.0
}

async fn run(app: &App, text: &str) {
    let text = AssertSqlSafe(text.to_owned());
    match app.kind {
        Kind::Sqlite => {
            let mut raw =
                sqlx_sqlite::SqliteConnection::connect(&app.database_url).await.expect("a connection");
            sqlx::query(text).execute(&mut raw).await.expect("it runs");
        }
        Kind::Postgres => {
            let mut raw =
                sqlx_postgres::PgConnection::connect(&app.database_url).await.expect("a connection");
            sqlx::query(text).execute(&mut raw).await.expect("it runs");
        }
    }
}

/// What a start with these keys finds and does.
async fn start_with(app: &App, keys: Option<&str>) -> SecretsCheck {
    let secret_keys = keys.map(|text| SecretKeys::of_text(text).expect("keys"));
    let options = ConnectOptions { secret_keys, ..ConnectOptions::default() };
    let database = Database::connect(&app.database_url, &options).await.expect("it opens");
    let cx = Context { store: Arc::new(database), ..app.cx.clone() };
    let found = check(&cx).await.expect("a look at the secrets");
    cx.store.close().await;
    found
}

async fn a_secret_is_stored_encrypted(app: &App) {
    let (id, secret) = subscribe(app, "https://hooks.example/eaves").await;
    let plain = {
        use base64::Engine as _;
        let text = secret.strip_prefix("whsec_").expect("the scheme's start");
        base64::engine::general_purpose::STANDARD.decode(text).expect("Base64")
    };
    let first = stored(app).await;
    assert!(
        first.len() > plain.len() && !first.windows(8).any(|piece| plain.windows(8).any(|own| own == piece))
    );
    // A change that leaves the secret alone leaves it as it is.
    let path = format!("/v1/subscriptions/{id}");
    app.put(&path, 1, &json!({"name": "rota", "to": "https://hooks.example/eaves"})).await.expect(200);
    assert_eq!(stored(app).await, first);
    let rotated = app.send("POST", &format!("{path}/secret"), &Value::Null).await.expect(200);
    assert_ne!(rotated["secret"], secret);
    assert_ne!(stored(app).await, first);
    assert_eq!(start_with(app, Some(SECRETS_KEY)).await, SecretsCheck::default(), "nothing is left to do");
}

async fn a_lost_key_pauses_until_a_new_secret_is_made(app: &App) {
    let (id, _) = subscribe(app, "https://hooks.example/eaves").await;
    // The database of before comes back without its key file; this service has another one.
    let path = format!("/v1/subscriptions/{id}");
    let other = match app.kind {
        Kind::Sqlite => "CAST(hash || hash AS BLOB)",
        Kind::Postgres => "hash || hash",
    };
    run(app, &format!("UPDATE subscriptions SET secret = (SELECT {other} FROM keys LIMIT 1)")).await;
    let lost = stored(app).await;
    let found = check(&app.cx).await.expect("a look at the secrets");
    assert_eq!(found, SecretsCheck { paused: 1, ..SecretsCheck::default() });
    assert_eq!(check(&app.cx).await.expect("again"), SecretsCheck::default());
    let shown = app.get(&path).await;
    assert!(shown["paused_because"].as_str().is_some_and(|why| why.contains("Make a new secret")), "{shown}");
    // Nothing goes out unsigned, and no change takes the secret away for good.
    for refused in [format!("{path}/resume"), format!("{path}/test")] {
        let reply = app.send("POST", &refused, &Value::Null).await;
        assert!(
            reply.problem("conflict")["detail"].to_string().contains("/secret makes one"),
            "{}",
            reply.text
        );
    }
    let version = shown["version"].as_i64().expect("a version");
    app.put(&path, version, &json!({"name": "rota", "to": "https://hooks.example/eaves"})).await.expect(200);
    assert_eq!(stored(app).await, lost);
    let new = app.send("POST", &format!("{path}/secret"), &Value::Null).await.expect(200);
    assert!(new["secret"].as_str().is_some_and(|text| text.starts_with("whsec_")), "{new}");
    assert_eq!(new["subscription"]["paused_at"], Value::Null, "it goes on");
}

async fn a_key_that_is_back_lets_it_go_on(app: &App) {
    let (id, _) = subscribe(app, "https://hooks.example/eaves").await;
    let by_hand =
        app.post("/v1/subscriptions", &json!({"name": "rest", "to": "https://hooks.example/rest"})).await;
    let by_hand = id_of(&by_hand["subscription"]);
    app.send("POST", &format!("/v1/subscriptions/{by_hand}/pause"), &Value::Null).await.expect(200);
    assert_eq!(start_with(app, Some(OTHER_KEY)).await, SecretsCheck { paused: 1, ..SecretsCheck::default() });
    let shown = app.get(&format!("/v1/subscriptions/{id}")).await;
    assert!(shown["paused_at"].is_string(), "{shown}");
    // Now the old key is known again, beside a new one.
    let both = format!("{OTHER_KEY}\n{SECRETS_KEY}");
    let found = start_with(app, Some(&both)).await;
    assert_eq!(found, SecretsCheck { sealed: 2, resumed: 1, ..SecretsCheck::default() });
    let shown = app.get(&format!("/v1/subscriptions/{id}")).await;
    assert_eq!(shown["paused_at"], Value::Null, "{shown}");
    let rest = app.get(&format!("/v1/subscriptions/{by_hand}")).await;
    assert!(rest["paused_at"].is_string(), "who paused it by hand keeps it so: {rest}");
    // From here on the new key alone is enough.
    assert_eq!(start_with(app, Some(OTHER_KEY)).await, SecretsCheck::default());
}

async fn secrets_of_before_are_encrypted_at_the_next_start(kind: Kind) {
    let service = App::start_with(kind, |layer| layer.local_webhooks = Some(true)).await;
    let app = &service;
    let receiver = Receiver::answering(204).await;
    let (id, _) = subscribe(app, &receiver.url()).await;
    run(app, "UPDATE subscriptions SET secret = (SELECT hash FROM keys LIMIT 1)").await;
    let clear = stored(app).await;
    assert_eq!(clear.len(), 32);
    if matches!(app.kind, Kind::Postgres) {
        let found = start_with(app, None).await;
        assert_eq!(found, SecretsCheck { left: 1, ..SecretsCheck::default() }, "there is no key");
        assert_eq!(stored(app).await, clear);
    }
    assert_eq!(check(&app.cx).await.expect("a look"), SecretsCheck { sealed: 1, ..SecretsCheck::default() });
    assert_ne!(stored(app).await, clear);
    let secret = {
        use base64::Engine as _;
        format!("whsec_{}", base64::engine::general_purpose::STANDARD.encode(&clear))
    };
    app.send("POST", &format!("/v1/subscriptions/{id}/test"), &Value::Null).await;
    crate::support::until("a letter", async || {
        app.cx.notify_readers();
        receiver.letters().pop().filter(|letter| letter.is_signed_with(&secret))
    })
    .await;
    service.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn secrets_of_before_are_encrypted_at_the_next_start_on_sqlite() {
    secrets_of_before_are_encrypted_at_the_next_start(Kind::Sqlite).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn secrets_of_before_are_encrypted_at_the_next_start_on_postgres() {
    secrets_of_before_are_encrypted_at_the_next_start(Kind::Postgres).await;
}

/// PostgreSQL is often not on this machine, so a key made beside it would be lost on the next one.
#[tokio::test]
async fn postgres_without_a_key_stores_no_secret_and_says_how() {
    let app = App::start_with(Kind::Postgres, |layer| layer.secrets_key_file = None).await;
    let new = json!({"name": "upkeep rota", "to": "https://hooks.example/eaves"});
    let refused = app.send("POST", "/v1/subscriptions", &new).await;
    assert!(
        refused.problem("conflict")["detail"].to_string().contains("secrets_key_file"),
        "{}",
        refused.text
    );
    assert_eq!(app.walk("/v1/subscriptions", 10).await.len(), 0);
    app.stop().await;
}

#[tokio::test]
async fn sqlite_makes_a_key_file_beside_it_with_the_first_secret() {
    let app = App::start_with(Kind::Sqlite, |layer| layer.secrets_key_file = None).await;
    let path = format!("{}.secrets-key", app.database_url.strip_prefix("sqlite://").expect("a path"));
    assert!(!std::path::Path::new(&path).exists());
    subscribe(&app, "https://hooks.example/eaves").await;
    let mode =
        std::os::unix::fs::PermissionsExt::mode(&std::fs::metadata(&path).expect("a file").permissions());
    assert_eq!(mode & 0o777, 0o600);
    app.stop().await;
}

/// A command that is run without the key file leaves the subscriptions of the running service alone.
#[tokio::test]
async fn a_command_without_the_key_pauses_nothing() {
    let app = App::start(Kind::Sqlite).await;
    let (id, _) = subscribe(&app, "https://hooks.example/eaves").await;
    for words in [vec!["key", "--list"], vec!["migrate"]] {
        let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_served"));
        let done =
            command.args(&words).args(["--database-url", &app.database_url]).output().expect("it runs");
        assert!(done.status.success(), "{words:?}: {}", String::from_utf8_lossy(&done.stderr));
    }
    let shown = app.get(&format!("/v1/subscriptions/{id}")).await;
    assert_eq!(shown["paused_at"], Value::Null, "{shown}");
    app.stop().await;
}

#[test]
fn a_key_file_is_made_once_for_its_owner_alone() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("keys");
    make_key_file(&path).expect("a file");
    let first = std::fs::read_to_string(&path).expect("a key");
    let again = make_key_file(&path).expect_err("it is there");
    assert_eq!(again.kind(), std::io::ErrorKind::AlreadyExists);
    assert_eq!(std::fs::read_to_string(&path).expect("a key"), first);
    let mode =
        std::os::unix::fs::PermissionsExt::mode(&std::fs::metadata(&path).expect("a file").permissions());
    assert_eq!(mode & 0o777, 0o600);
    add_key(&path).expect("another key");
    let both = std::fs::read_to_string(&path).expect("keys");
    assert!(both.ends_with(&first) && both.lines().count() == 2, "the old one comes last");
    SecretKeys::of_file(&path).expect("both are read");
    assert_eq!(std::fs::read_dir(folder.path()).expect("a folder").count(), 1, "nothing else stays");
    assert!(add_key(&folder.path().join("none")).is_err());
}

#[test]
fn a_key_file_that_is_not_right_is_told() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("keys");
    std::fs::write(&path, "wellspring").expect("a file");
    let told = SecretKeys::of_file(&path).expect_err("it is no key");
    assert!(told.contains("line 1") && told.contains("keys") && !told.contains("wellspring"), "{told}");
    let told = SecretKeys::of_file(&folder.path().join("none")).expect_err("it is not there");
    assert!(told.contains("cannot be read"), "{told}");
    let settings = Settings::of(eavesward_service::config::Layer::default()).expect("settings");
    assert_eq!(settings.secrets_key_file, None);
}
