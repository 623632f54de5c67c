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
        MigrateError::VersionMissing(found) => {
            let known = SQLITE.iter().map(|migration| migration.version).max().unwrap_or_default();
            StoreError::Failed(
                format!(
                    "a newer version of the service has changed the tables: the database has step {found}, and this \
                     version knows the steps up to {known}; start the newer version, or restore a backup of before"
                )
                .into(),
            )
        }
        MigrateError::VersionMismatch(found) => StoreError::Failed(
            format!(
                "step {found} of the database's tables differs from that of this version: another build has made them; \
                 start that build, or restore a backup"
            )
            .into(),
        ),
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
