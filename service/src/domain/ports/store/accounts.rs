//! Accounts and keys in the store.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, KeyId};
use crate::domain::base::paging::PageRequest;
use crate::domain::model::account::{Account, Key};
use async_trait::async_trait;
use chrono::{DateTime, Utc};

/// Accounts and keys.
#[async_trait]
pub trait AccountStore: Send + Sync {
    /// Makes this account with its key, if no account was ever made. Returns whether it did. It is safe if several
    /// replicas start at once.
    async fn bootstrap(&self, account: &Account, key: &Key) -> Stored<bool>;
    /// Makes another account with its first key.
    async fn insert_account(&self, account: &Account, key: &Key) -> Stored<()>;
    /// One account.
    async fn account(&self, id: AccountId) -> Stored<Option<Account>>;
    /// All accounts, oldest first: only for the operator's command, never for a route.
    async fn accounts(&self) -> Stored<Vec<Account>>;
    /// Adds a key. If its id exists already, an earlier attempt of the same request has made it, and nobody was told its
    /// secret: the key gets the new secret. `false`, with nothing changed, if that key was revoked since.
    async fn insert_key(&self, key: &Key) -> Stored<bool>;
    /// The account's keys by `(created_at, id)`.
    async fn keys(&self, account: AccountId, page: &PageRequest<DateTime<Utc>>) -> Stored<Vec<Key>>;
    /// Sets `revoked_at` if it is not set; `false` if the account has no such key.
    async fn revoke_key(&self, account: AccountId, id: KeyId, now: DateTime<Utc>) -> Stored<bool>;
    /// Notes the minutes in which keys were last used. None goes back, except one that lies ahead of `now`: a clock that
    /// was ahead has written it. Returns how many keys were changed.
    async fn note_key_uses(&self, used: &[(KeyId, DateTime<Utc>)], now: DateTime<Utc>) -> Stored<u64>;
    /// The key with this hash, in any state.
    async fn key_by_hash(&self, hash: &[u8; 32]) -> Stored<Option<Key>>;
}
