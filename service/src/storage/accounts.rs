//! Accounts and keys.

use crate::domain::base::clock::MOST_AHEAD;
use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, KeyId};
use crate::domain::base::paging::PageRequest;
use crate::domain::model::account::{Account, Key};
use crate::domain::model::quota::Counted;
use crate::domain::ports::store::accounts::AccountStore;
use crate::storage::connection::{Database, Tx, retried};
use crate::storage::rows::{AccountRow, KeyRow, scope_words, values};
use crate::storage::sql::{Sql, pieces, sql};
use async_trait::async_trait;
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// Keys of one statement that notes their uses.
const USES: usize = 64;

const KEY_COLUMNS: &str = "id, account_id, name, scopes, hash, hint, created_at, expires_at, revoked_at, \
                           system_id";

fn select_keys() -> Sql {
    let mut query = sql("SELECT ");
    query.push(KEY_COLUMNS).push(", last_used_at FROM keys WHERE ");
    query
}

fn insert_key(key: &Key) -> Sql {
    let mut query = sql("INSERT INTO keys (");
    query.push(KEY_COLUMNS).push(") ").bind_rows(&[key], |row, key| {
        row.on(key.id)
            .on(key.account_id)
            .on(&key.name)
            .on(scope_words(&key.scopes))
            .on(&key.hash)
            .on(&key.hint);
        row.on(key.created_at).on(key.expires_at).on(key.revoked_at).on(key.system_id);
    });
    query.push(
        " ON CONFLICT (id) DO UPDATE SET hash = excluded.hash, hint = excluded.hint \
                WHERE keys.account_id = excluded.account_id AND keys.revoked_at IS NULL",
    );
    query
}

/// Notes that an account was made. Returns `false` if that was noted before. A second process waits here
/// until the first has ended its transaction.
async fn first_ever(tx: &mut Tx) -> Stored<bool> {
    Ok(tx.run(sql("INSERT INTO bootstrap (one) VALUES (1) ON CONFLICT DO NOTHING")).await? == 1)
}

async fn insert(tx: &mut Tx, account: &Account, key: &Key) -> Stored<()> {
    let query = sql("INSERT INTO accounts (id, name, created_at) VALUES ($1, $2, $3)");
    tx.run(query.on(account.id).on(&account.name).on(account.created_at)).await?;
    tx.run(insert_key(key)).await?;
    Ok(())
}

#[async_trait]
impl AccountStore for Database {
    async fn bootstrap(&self, account: &Account, key: &Key) -> Stored<bool> {
        let mut tx = self.begin().await?;
        if !first_ever(&mut tx).await? {
            return Ok(false);
        }
        insert(&mut tx, account, key).await?;
        tx.commit().await?;
        Ok(true)
    }

    async fn insert_account(&self, account: &Account, key: &Key) -> Stored<()> {
        let mut tx = self.begin().await?;
        first_ever(&mut tx).await?;
        insert(&mut tx, account, key).await?;
        tx.commit().await
    }

    async fn account(&self, id: AccountId) -> Stored<Option<Account>> {
        let query = sql("SELECT id, name, created_at FROM accounts WHERE id = $1").on(id);
        self.first::<AccountRow>(query).await?.map(AccountRow::read).transpose()
    }

    async fn accounts(&self) -> Stored<Vec<Account>> {
        let query = sql("SELECT id, name, created_at FROM accounts ORDER BY created_at, id");
        values(self.all(query).await?, AccountRow::read)
    }

    async fn insert_key(&self, key: &Key) -> Stored<bool> {
        let mut tx = self.begin().await?;
        let stored = tx.run(insert_key(key)).await? > 0;
        if stored {
            self.within_quota(&mut tx, key.account_id, Counted::Keys).await?;
        }
        tx.commit().await?;
        Ok(stored)
    }

    async fn keys(&self, account: AccountId, page: &PageRequest<DateTime<Utc>>) -> Stored<Vec<Key>> {
        let mut query = select_keys();
        query.push("account_id = ").bind(account);
        if let Some(after) = &page.after {
            query.push(" AND (created_at, id) > (").bind(after.key).push(", ").bind(after.id).push(")");
        }
        query.push(" ORDER BY created_at, id LIMIT ").bind(page.rows());
        values(self.all(query).await?, KeyRow::read)
    }

    async fn revoke_key(&self, account: AccountId, id: KeyId, now: DateTime<Utc>) -> Stored<bool> {
        let query =
            sql("UPDATE keys SET revoked_at = COALESCE(revoked_at, $1) WHERE account_id = $2 AND id = $3");
        Ok(self.run(query.on(now).on(account).on(id)).await? > 0)
    }

    async fn note_key_uses(&self, used: &[(KeyId, DateTime<Utc>)], now: DateTime<Utc>) -> Stored<u64> {
        let mut used = used.to_vec();
        used.sort_unstable();
        let mut rows = 0;
        for piece in pieces(&used, USES) {
            rows += retried(async || {
                let mut tx = self.begin().await?;
                if tx.has_row_locks() {
                    // In the order of their ids, as everybody does who locks several.
                    let ids: Vec<KeyId> = piece.iter().map(|(id, _)| *id).collect();
                    let mut lock = sql("SELECT id FROM keys WHERE id IN ");
                    lock.bind_list(&ids).push(" ORDER BY id").push(tx.for_update());
                    tx.all::<(Uuid,)>(lock).await?;
                }
                let mut query = sql("UPDATE keys SET last_used_at = used.column2 FROM (");
                query.bind_rows(piece, |row, (id, at)| {
                    // Noted while the clock was ahead: it cannot have been later than now.
                    row.on(*id).on((*at).min(now));
                });
                query.push(") AS used WHERE keys.id = used.column1 AND (keys.last_used_at IS NULL");
                query
                    .push(" OR keys.last_used_at < used.column2 OR keys.last_used_at > ")
                    .bind(now + MOST_AHEAD);
                query.push(")");
                let rows = tx.run(query).await?;
                tx.commit().await?;
                Ok(rows)
            })
            .await?;
        }
        Ok(rows)
    }

    async fn key_by_hash(&self, hash: &[u8; 32]) -> Stored<Option<Key>> {
        let mut query = select_keys();
        query.push("hash = ").bind(hash);
        self.first::<KeyRow>(query).await?.map(KeyRow::read).transpose()
    }
}
