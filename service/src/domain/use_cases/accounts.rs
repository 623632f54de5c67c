//! Accounts and keys: make, list, revoke, authenticate.

use crate::domain::base::bounds::NAME_LENGTH;
use crate::domain::base::check::Check;
use crate::domain::base::error::{Error, Result};
use crate::domain::base::ids::{AccountId, KeyId};
use crate::domain::base::paging::{ListPage, PageRequest};
use crate::domain::base::secret::{Secret, hash};
use crate::domain::context::Context;
use crate::domain::model::account::{Account, Key, KeyDraft, Scope};
use crate::domain::model::quota::Usage;
use chrono::{DateTime, Utc};

/// The start of a key's secret.
const SECRET_PREFIX: &str = "ew";

fn new_key(id: KeyId, account_id: AccountId, draft: KeyDraft, now: DateTime<Utc>) -> Result<(Key, Secret)> {
    let mut check = Check::new();
    check.text("name", &draft.name, NAME_LENGTH);
    if draft.scopes.is_empty() {
        check.refuse("scopes", "it is empty; give at least one of read, write, admin");
    }
    if draft.system_id.is_some() && draft.scopes.iter().any(|scope| *scope != Scope::Read) {
        check.refuse("scopes", "a key for one system may only read; give read alone, or leave system_id out");
    }
    if let Some(at) = draft.expires_at.filter(|at| *at <= now) {
        check.refuse("expires_at", format!("{at} is already past"));
    }
    if let Some(at) = draft.expires_at {
        check.date("expires_at", at.date_naive());
    }
    check.done()?;
    let mut scopes = draft.scopes;
    scopes.sort_unstable();
    scopes.dedup();
    let secret = Secret::random(SECRET_PREFIX)?;
    let key = Key {
        id,
        account_id,
        name: draft.name,
        scopes,
        system_id: draft.system_id,
        hash: hash(secret.reveal()),
        hint: secret.hint(SECRET_PREFIX),
        created_at: now,
        expires_at: draft.expires_at,
        revoked_at: None,
    };
    Ok((key, secret))
}

/// On an empty database, makes an account with a key that may do everything. Later it does nothing, and on several
/// replicas only the first one does it.
pub async fn bootstrap(cx: &Context, name: &str) -> Result<Option<(Account, Secret)>> {
    let now = cx.clock.now();
    let account = Account { id: AccountId::new(), name: name.to_owned(), created_at: now };
    let draft = KeyDraft::of_everything("first key");
    let (key, secret) = new_key(KeyId::new(), account.id, draft, now)?;
    Ok(cx.store.bootstrap(&account, &key).await?.then_some((account, secret)))
}

/// Makes another account with a key that may do everything.
pub async fn create(cx: &Context, name: &str) -> Result<(Account, Secret)> {
    let mut check = Check::new();
    check.text("name", name, NAME_LENGTH);
    check.done()?;
    let now = cx.clock.now();
    let account = Account { id: AccountId::new(), name: name.to_owned(), created_at: now };
    let draft = KeyDraft::of_everything("first key");
    let (key, secret) = new_key(KeyId::new(), account.id, draft, now)?;
    cx.store.insert_account(&account, &key).await?;
    Ok((account, secret))
}

/// The account.
pub async fn get(cx: &Context, id: AccountId) -> Result<Account> {
    cx.store.account(id).await?.ok_or_else(|| Error::NotFound { what: "account", id: id.to_string() })
}

/// What the account has of what its quotas count.
pub async fn usage(cx: &Context, id: AccountId) -> Result<Vec<Usage>> {
    Ok(cx.store.usage(id, cx.clock.now().date_naive()).await?)
}

/// Makes a key. The caller gives the `id`, so that a repeated request makes it once. A repetition gives it another
/// secret, because that of the first attempt was never shown.
pub async fn create_key(
    cx: &Context,
    account: AccountId,
    id: KeyId,
    draft: KeyDraft,
) -> Result<(Key, Secret)> {
    let system = draft.system_id;
    let (key, secret) = new_key(id, account, draft, cx.clock.now())?;
    if let Some(system) = system
        && cx.store.system(account, system).await?.is_none()
    {
        return Err(Error::field("system_id", format!("there is no system {system} in this account")));
    }
    if !cx.store.insert_key(&key).await? {
        return Err(Error::Conflict(format!(
            "the first attempt of this request made key {id}, which was revoked since; send the request again"
        )));
    }
    // The key that an earlier attempt has made is as old as that attempt.
    let made = cx.store.key_by_hash(&key.hash).await?;
    Ok((made.unwrap_or(key), secret))
}

/// The account's keys, oldest first.
pub async fn keys(
    cx: &Context,
    account: AccountId,
    cursor: Option<&str>,
    limit: Option<u32>,
) -> Result<ListPage<Key>> {
    let asked = PageRequest::read("keys", cursor, limit)?;
    let rows = cx.store.keys(account, &asked).await?;
    Ok(asked.page("keys", rows, |key| (key.created_at, key.id.0)))
}

/// Revokes a key; doing it twice changes nothing.
pub async fn revoke_key(cx: &Context, account: AccountId, id: KeyId) -> Result<()> {
    if cx.store.revoke_key(account, id, cx.clock.now()).await? {
        Ok(())
    } else {
        Err(Error::NotFound { what: "key", id: id.to_string() })
    }
}

/// The key that has this secret, if it is accepted now.
pub async fn authenticate(cx: &Context, secret: &str) -> Result<Option<Key>> {
    accepted(cx, &hash(secret)).await
}

/// Whether a key that was accepted is still accepted. For answers that take long.
pub async fn still_accepted(cx: &Context, key: &Key) -> Result<bool> {
    Ok(accepted(cx, &key.hash).await?.is_some())
}

async fn accepted(cx: &Context, hash: &[u8; 32]) -> Result<Option<Key>> {
    let now = cx.clock.now();
    let key = cx.store.key_by_hash(hash).await?;
    Ok(key.filter(|key| key.revoked_at.is_none() && key.expires_at.is_none_or(|at| at > now)))
}
