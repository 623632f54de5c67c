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
    /// If no account was ever made, makes this one with its key; says whether it did. Safe with several replicas
    /// starting at once.
    async fn bootstrap(&self, account: &Account, key: &Key) -> Stored<bool>;
    /// Makes a further account with its first key.
    async fn insert_account(&self, account: &Account, key: &Key) -> Stored<()>;
    /// One account.
    async fn account(&self, id: AccountId) -> Stored<Option<Account>>;
    /// All accounts, oldest first: for the operator's command, never for a route.
    async fn accounts(&self) -> Stored<Vec<Account>>;
    /// Adds a key.
    async fn insert_key(&self, key: &Key) -> Stored<()>;
    /// The account's keys by `(created_at, id)`.
    async fn keys(&self, account: AccountId, page: &PageRequest<DateTime<Utc>>) -> Stored<Vec<Key>>;
    /// Sets `revoked_at` if it is not set; `false` when there is no such key in the account.
    async fn revoke_key(&self, account: AccountId, id: KeyId, now: DateTime<Utc>) -> Stored<bool>;
    /// The key with this hash, whatever its state.
    async fn key_by_hash(&self, hash: &[u8; 32]) -> Stored<Option<Key>>;
}
