//! The storage suite: what the storage traits promise, run over both databases.
//!
//! A case is an async function that takes a [`Rig`]; [`on_both!`] makes two tests of it. Values are made by [`make`].
#![expect(clippy::unwrap_used, reason = "a case that meets an error has failed")]

mod accounts;
mod audit;
mod calendars;
mod clock_ahead;
mod connecting;
mod deliveries;
mod duty_settings;
mod gauge_models;
mod golden;
mod idempotency;
mod key_uses;
mod leases;
mod make;
mod packed;
mod places;
mod rain;
mod refresh;
mod reminders;
mod rounds;
mod skill;
mod subscriptions;
mod systems;
mod tasks;
mod usage;
mod versions;
mod visits;

use eavesward_service::storage::{ConnectOptions, Database, SecretKeys};

/// A migrated database that no other test knows.
pub struct Rig {
    pub database: Database,
    pub url: String,
    dir: Option<tempfile::TempDir>,
}

/// The usual options, with the key that encrypts secrets.
pub fn options() -> ConnectOptions {
    let secret_keys = SecretKeys::of_text(crate::support::SECRETS_KEY).expect("a key");
    ConnectOptions { secret_keys: Some(secret_keys), ..ConnectOptions::default() }
}

impl Rig {
    async fn at(url: String, dir: Option<tempfile::TempDir>) -> Self {
        let database = Database::connect(&url, &options()).await.expect("connect");
        database.migrate().await.expect("migrate");
        Self { database, url, dir }
    }

    pub async fn sqlite() -> Self {
        let dir = tempfile::tempdir().expect("a directory");
        Self::at(format!("sqlite://{}/store.db", dir.path().display()), Some(dir)).await
    }

    pub async fn postgres() -> Self {
        Self::at(crate::support::postgres::fresh_database().await, None).await
    }

    /// Another process on the same database, as far as the database can tell.
    pub async fn replica(&self) -> Database {
        Database::connect(&self.url, &options()).await.expect("connect a replica")
    }

    /// Runs a statement past the storage traits, and returns the number that it finds.
    pub async fn raw(&self, text: &'static str) -> i64 {
        use sqlx::Connection as _;
        let number: Option<(Option<i64>,)> = if self.database.backend() == "sqlite" {
            let mut connection = sqlx_sqlite::SqliteConnection::connect(&self.url).await.expect("connect");
            sqlx::query_as(text).fetch_optional(&mut connection).await.expect(text)
        } else {
            let mut connection = sqlx_postgres::PgConnection::connect(&self.url).await.expect("connect");
            sqlx::query_as(text).fetch_optional(&mut connection).await.expect(text)
        };
        number.and_then(|(number,)| number).unwrap_or_default()
    }

    pub async fn end(self) {
        use eavesward_service::domain::ports::store::Store as _;
        self.database.close().await;
        drop(self.dir);
    }
}

/// Makes two tests of each case, one a database.
macro_rules! on_both {
    ($($case:ident),* $(,)?) => {
        mod sqlite {
            $(#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
            async fn $case() {
                let rig = crate::storage::Rig::sqlite().await;
                super::$case(&rig).await;
                rig.end().await;
            })*
        }
        mod postgres {
            $(#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
            async fn $case() {
                let rig = crate::storage::Rig::postgres().await;
                super::$case(&rig).await;
                rig.end().await;
            })*
        }
    };
}
use on_both;
