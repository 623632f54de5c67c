//! Brings the tables up to date.

use crate::domain::base::error::{StoreError, Stored};
use crate::storage::connection::{Database, Db};
use crate::storage::errors::failed;
use sqlx::migrate::{MigrateError, Migrator};

static SQLITE: Migrator = sqlx::migrate!("migrations/sqlite");
static POSTGRES: Migrator = sqlx::migrate!("migrations/postgres");

fn not_migrated(error: MigrateError) -> StoreError {
    match error {
        MigrateError::Execute(error) => failed(error),
        other => StoreError::Failed(other.into()),
    }
}

impl Database {
    /// Brings the tables up to date. Several processes may do it at once: one works, the others wait and find it done.
    ///
    /// # Errors
    /// When the database cannot be reached, or its tables were made by a version newer than this one.
    pub async fn migrate(&self) -> Stored<()> {
        match &self.db {
            // The migrator takes an advisory lock, and each migration is a transaction.
            Db::Pg(pool) => POSTGRES.run(pool).await.map_err(not_migrated),
            // Here the migrator takes no lock, so that all of it runs inside one transaction that holds SQLite's own;
            // the transactions of single migrations become savepoints.
            Db::Sqlite(pool, writers) => {
                let _turn = writers.lock().await;
                let mut tx = pool.begin_with("BEGIN IMMEDIATE").await.map_err(failed)?;
                // Not `run`, whose future is not `Send` when it is given a connection.
                SQLITE.run_direct(None, &mut *tx, false).await.map_err(not_migrated)?;
                tx.commit().await.map_err(failed)
            }
        }
    }
}
