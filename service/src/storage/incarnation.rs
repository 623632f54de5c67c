//! Notices that the database is a restored backup. The feeds then begin another generation.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::AccountId;
use crate::domain::model::audit::{Act, Deed, ThingKind};
use crate::storage::connection::{Database, Db, Tx};
use crate::storage::recorder;
use crate::storage::sql::sql;
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// The mark of an SQLite file. `deploy/backup.sh` gives its copies another one.
const SQLITE: &str = "in use";

impl Database {
    /// Compares the database with what was noted about it at the last start. If it is a restored backup, it begins
    /// another generation of all feeds, and returns `true`. `restored` says so in any case.
    ///
    /// A backup of SQLite carries a mark. PostgreSQL's backup is restored into another database, which its server knows
    /// by another number.
    ///
    /// # Errors
    /// If the database cannot be read or written.
    pub async fn note_incarnation(&self, now: DateTime<Utc>, restored: bool) -> Stored<bool> {
        let mark = self.mark().await?;
        let mut tx = self.begin().await?;
        let mut query = sql("SELECT mark FROM incarnation");
        query.push(tx.for_update());
        let noted = tx.first::<(String,)>(query).await?.map(|(mark,)| mark);
        let restored = restored || noted.as_ref().is_some_and(|noted| *noted != mark);
        if restored {
            begin_generation(&mut tx, now).await?;
            for (account,) in tx.all::<(Uuid,)>(sql("SELECT id FROM accounts ORDER BY id")).await? {
                let account = AccountId(account);
                let deed = Deed::on("restore_backup", ThingKind::Account, &account);
                tx.run(recorder::insert(&Act::of_operator(account, vec![deed]), now)).await?;
            }
        }
        if noted.as_ref() != Some(&mark) {
            let query = sql("INSERT INTO incarnation (one, mark) VALUES (1, $1) \
                 ON CONFLICT (one) DO UPDATE SET mark = excluded.mark");
            tx.run(query.on(mark)).await?;
        }
        tx.commit().await?;
        Ok(restored)
    }

    async fn mark(&self) -> Stored<String> {
        if matches!(self.db, Db::Sqlite(..)) {
            return Ok(SQLITE.to_owned());
        }
        let query = sql("SELECT CAST(oid AS TEXT) FROM pg_database WHERE datname = current_database()");
        let number = self.first::<(String,)>(query).await?.map_or_else(String::new, |(number,)| number);
        // Some servers do not tell it.
        let query = sql("SELECT CAST(system_identifier AS TEXT) FROM pg_control_system()");
        let server = self.first::<(String,)>(query).await.ok().flatten();
        Ok(format!("{}/{number}", server.map_or_else(String::new, |(server,)| server)))
    }
}

/// Begins another generation of every feed. Its number is the present second, so that a backup that is restored twice
/// begins two of them.
async fn begin_generation(tx: &mut Tx, now: DateTime<Utc>) -> Stored<()> {
    let query = sql("INSERT INTO feeds (account_id, last, forgotten, generation) \
         SELECT id, 0, 0, CAST($1 AS BIGINT) FROM accounts WHERE TRUE ON CONFLICT (account_id) DO UPDATE SET generation = \
         CASE WHEN feeds.generation >= excluded.generation THEN feeds.generation + 1 ELSE excluded.generation END");
    tx.run(query.on(now.timestamp())).await.map(drop)
}
