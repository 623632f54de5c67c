//! Brings the tables up to date, and says which versions of the service may run on them.
//!
//! The steps of the tables are numbered. Each migration names the oldest step that a version has to know to run on the
//! tables, and stores it in `oldest_version` if it raises it. So an older version starts on newer tables that it can live
//! with, and stops on others.

use crate::domain::base::error::{StoreError, Stored};
use crate::storage::connection::{Database, Db, Tx};
use crate::storage::errors::failed;
use crate::storage::sql::sql;
use sqlx::migrate::{MigrateError, Migrator};
use std::sync::LazyLock;

static SQLITE: LazyLock<Migrator> = LazyLock::new(|| growing(sqlx::migrate!("migrations/sqlite")));
static POSTGRES: LazyLock<Migrator> = LazyLock::new(|| growing(sqlx::migrate!("migrations/postgres")));

/// Steps of a newer version are no fault by themselves: `oldest_version` says whether they are.
fn growing(mut migrator: Migrator) -> Migrator {
    migrator.set_ignore_missing(true);
    migrator
}

/// The last step that this version knows.
fn known() -> i64 {
    SQLITE.iter().map(|migration| migration.version).max().unwrap_or_default()
}

fn not_migrated(error: MigrateError) -> StoreError {
    match error {
        MigrateError::Execute(error) => failed(error),
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

/// Refuses tables that this version cannot live with.
async fn fits(tx: &mut Tx) -> Stored<()> {
    let oldest = tx.first::<(i64,)>(sql("SELECT step FROM oldest_version")).await?.unwrap_or_default().0;
    let known = known();
    if oldest <= known {
        return Ok(());
    }
    Err(StoreError::Failed(
        format!(
            "a newer version of the service has changed the tables: a version has to know step {oldest} of them, and this \
             one knows the steps up to {known}; start the newer version, or restore a backup of before"
        )
        .into(),
    ))
}

impl Database {
    /// Brings the tables up to date. Several processes may call this at once: one migrates, the others wait
    /// and find it done.
    ///
    /// # Errors
    /// If the database cannot be reached, or if this version is too old for its tables.
    pub async fn migrate(&self) -> Stored<()> {
        match &self.db {
            // The migrator takes an advisory lock, and each migration is a transaction.
            Db::Pg(pool) => POSTGRES.run(pool).await.map_err(not_migrated)?,
            // On SQLite the migrator takes no lock. So all migrations run inside one transaction, which holds
            // SQLite's own lock. The transaction of each migration becomes a savepoint.
            Db::Sqlite(pool, writers) => {
                let _turn = writers.lock().await;
                let mut tx = pool.begin_with("BEGIN IMMEDIATE").await.map_err(failed)?;
                // `run_direct`, because the future of `run` is not `Send` with a connection.
                SQLITE.run_direct(None, &mut *tx, false).await.map_err(not_migrated)?;
                tx.commit().await.map_err(failed)?;
            }
        }
        fits(&mut self.begin_reading().await?).await
    }

    /// Makes every system stale that an older model has refreshed, and returns how many.
    ///
    /// # Errors
    /// If the database fails.
    pub async fn adopt_model(&self) -> Stored<u64> {
        let query = sql("UPDATE refreshes SET refresh_at = 0 WHERE model_version < $1 AND refresh_at <> 0");
        self.run(query.on(self.model_version)).await
    }

    /// How many systems a newer model has refreshed. This version leaves them alone.
    ///
    /// # Errors
    /// If the database fails.
    pub async fn refreshed_by_newer_model(&self) -> Stored<i64> {
        let query = sql("SELECT COUNT(*) FROM refreshes WHERE model_version > $1").on(self.model_version);
        Ok(self.first::<(i64,)>(query).await?.unwrap_or_default().0)
    }

    /// Takes over the systems that a newer model has refreshed: they are stale, and this version's model refreshes them.
    /// Returns how many.
    ///
    /// # Errors
    /// If the database fails.
    pub async fn take_back_model(&self) -> Stored<u64> {
        let query = sql(
            "UPDATE refreshes SET refresh_at = 0, refreshed_version = 0, model_version = $1 WHERE model_version > $1",
        );
        self.run(query.on(self.model_version)).await
    }
}
