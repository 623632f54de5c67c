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
    /// Brings the tables up to date. Several processes may call this at once: one migrates, the others wait
    /// and find it done.
    ///
    /// # Errors
    /// If the database cannot be reached, or if a newer version of the service made its tables.
    pub async fn migrate(&self) -> Stored<()> {
        match &self.db {
            // The migrator takes an advisory lock, and each migration is a transaction.
            Db::Pg(pool) => POSTGRES.run(pool).await.map_err(not_migrated),
            // On SQLite the migrator takes no lock. So all migrations run inside one transaction, which holds
            // SQLite's own lock. The transaction of each migration becomes a savepoint.
            Db::Sqlite(pool, writers) => {
                let _turn = writers.lock().await;
                let mut tx = pool.begin_with("BEGIN IMMEDIATE").await.map_err(failed)?;
                // `run_direct`, because the future of `run` is not `Send` with a connection.
                SQLITE.run_direct(None, &mut *tx, false).await.map_err(not_migrated)?;
                tx.commit().await.map_err(failed)
            }
        }
    }
}
