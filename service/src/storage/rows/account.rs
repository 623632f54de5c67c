use super::RowRef;
use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, KeyId, SystemId};
use crate::domain::model::account::{Account, Key, Scope};
use uuid::Uuid;

#[derive(sqlx::FromRow)]
pub(in crate::storage) struct AccountRow {
    id: Uuid,
    name: String,
    created_at: i64,
}

impl AccountRow {
    pub(in crate::storage) fn read(self) -> Stored<Account> {
        let place = RowRef { table: "accounts", id: self.id };
        let created_at = place.instant("created_at", self.created_at)?;
        Ok(Account { id: AccountId(self.id), name: self.name, created_at })
    }
}

#[derive(sqlx::FromRow)]
pub(in crate::storage) struct KeyRow {
    id: Uuid,
    account_id: Uuid,
    name: String,
    scopes: String,
    hash: Vec<u8>,
    hint: String,
    created_at: i64,
    expires_at: Option<i64>,
    revoked_at: Option<i64>,
    system_id: Option<Uuid>,
    last_used_at: Option<i64>,
}

/// Scopes as they are stored.
pub(in crate::storage) fn scope_words(scopes: &[Scope]) -> String {
    scopes.iter().map(|scope| scope.as_str()).collect::<Vec<_>>().join(" ")
}

impl KeyRow {
    pub(in crate::storage) fn read(self) -> Stored<Key> {
        let place = RowRef { table: "keys", id: self.id };
        Ok(Key {
            id: KeyId(self.id),
            account_id: AccountId(self.account_id),
            name: self.name,
            scopes: place.word("scopes", self.scopes.split_whitespace().map(Scope::parse).collect())?,
            hash: place.word("hash", self.hash.try_into().ok())?,
            system_id: self.system_id.map(SystemId),
            hint: self.hint,
            created_at: place.instant("created_at", self.created_at)?,
            expires_at: place.instant_if("expires_at", self.expires_at)?,
            revoked_at: place.instant_if("revoked_at", self.revoked_at)?,
            last_used_at: place.instant_if("last_used_at", self.last_used_at)?,
        })
    }
}
