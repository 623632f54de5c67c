//! Accounts and keys: make, list, revoke, authenticate.

use crate::domain::base::bounds::NAME_LENGTH;
use crate::domain::base::check::Check;
use crate::domain::base::error::{Error, Result};
use crate::domain::base::ids::{AccountId, KeyId};
use crate::domain::base::paging::{ListPage, PageRequest};
use crate::domain::base::secret::{Secret, hash};
use crate::domain::context::Context;
use crate::domain::model::account::{Account, Key, KeyDraft, Scope};
use crate::domain::model::audit::{Act, Deed, ThingKind};
use crate::domain::model::quota::Usage;
use chrono::{DateTime, Utc};
use std::sync::Arc;
use std::time::Duration;

/// The start of a key's secret.
const SECRET_PREFIX: &str = "ew";

/// How often the key of a waiting request is checked. Streams read the status as often.
const KEY_CHECKED_EVERY: Duration = Duration::from_secs(5);

/// The shortest wait between two checks, also while the store is away after the key's end.
const LEAST_WAIT: Duration = Duration::from_millis(100);

/// An account with its first key, before it is stored.
#[derive(Clone, Debug)]
pub struct NewAccount {
    /// The account.
    pub account: Account,
    /// Its key.
    pub key: Key,
    /// The key's secret.
    pub secret: Secret,
}

fn new_key(
    id: KeyId,
    account_id: AccountId,
    draft: KeyDraft,
    maker: Option<&Key>,
    now: DateTime<Utc>,
) -> Result<(Key, Secret)> {
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
    if let Some(maker) = maker {
        maker.check_weaker(&draft, &mut check);
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
        last_used_at: None,
    };
    Ok((key, secret))
}

/// An account with a key that may do everything. It is not stored yet.
///
/// # Errors
/// If the name is not right.
pub fn new_account(cx: &Context, name: &str) -> Result<NewAccount> {
    let mut check = Check::new();
    check.text("name", name, NAME_LENGTH);
    check.done()?;
    let now = cx.clock.now();
    let account = Account { id: AccountId::new(), name: name.to_owned(), created_at: now };
    let draft = KeyDraft::of_everything("first key");
    let (key, secret) = new_key(KeyId::new(), account.id, draft, None, now)?;
    Ok(NewAccount { account, key, secret })
}

impl NewAccount {
    /// The store, acting for the operator, who makes this account.
    fn store(&self, cx: &Context) -> Context {
        let deeds = vec![
            Deed::on("create_account", ThingKind::Account, &self.account.id),
            Deed::on("create_key", ThingKind::Key, &self.key.id),
        ];
        cx.acting(Arc::new(Act::of_operator(self.account.id, deeds)))
    }
}

/// Stores the first account on an empty database. Later it does nothing, and of several replicas only the first one does
/// it. Returns whether it did.
pub async fn store_first(cx: &Context, new: &NewAccount) -> Result<bool> {
    Ok(new.store(cx).store.bootstrap(&new.account, &new.key).await?)
}

/// Stores a further account.
pub async fn store_account(cx: &Context, new: &NewAccount) -> Result<()> {
    Ok(new.store(cx).store.insert_account(&new.account, &new.key).await?)
}

/// On an empty database, makes an account with a key that may do everything.
pub async fn bootstrap(cx: &Context, name: &str) -> Result<Option<(Account, Secret)>> {
    let new = new_account(cx, name)?;
    Ok(store_first(cx, &new).await?.then_some((new.account, new.secret)))
}

/// Makes another account with a key that may do everything.
pub async fn create(cx: &Context, name: &str) -> Result<(Account, Secret)> {
    let new = new_account(cx, name)?;
    store_account(cx, &new).await?;
    Ok((new.account, new.secret))
}

/// The account.
pub async fn get(cx: &Context, id: AccountId) -> Result<Account> {
    cx.store.account(id).await?.ok_or_else(|| Error::NotFound { what: "account", id: id.to_string() })
}

/// What the account has of what its quotas count.
pub async fn usage(cx: &Context, id: AccountId) -> Result<Vec<Usage>> {
    Ok(cx.store.usage(id, cx.clock.now().date_naive()).await?)
}

/// Makes a key for the operator. The caller gives the `id`. A repetition gives the key another secret, because that of the
/// first attempt was never shown.
pub async fn create_key(
    cx: &Context,
    account: AccountId,
    id: KeyId,
    draft: KeyDraft,
) -> Result<(Key, Secret)> {
    let (key, secret) = prepare_key(cx, account, id, draft, None).await?;
    Ok((store_key(cx, key).await?, secret))
}

/// Makes a key for a caller whose own key is `maker`. The new one can do no more, and not for longer.
///
/// # Errors
/// The fields in which it would be stronger; or that the maker was revoked or has expired meanwhile.
pub async fn create_weaker_key(
    cx: &Context,
    maker: &Key,
    id: KeyId,
    draft: KeyDraft,
) -> Result<(Key, Secret)> {
    let (key, secret) = prepare_key(cx, maker.account_id, id, draft, Some(maker)).await?;
    // The body may have come slowly.
    if !still_accepted(cx, maker).await? {
        return Err(Error::KeyEnded);
    }
    Ok((store_key(cx, key).await?, secret))
}

/// A key with its secret, before it is stored.
pub async fn prepare_key(
    cx: &Context,
    account: AccountId,
    id: KeyId,
    draft: KeyDraft,
    maker: Option<&Key>,
) -> Result<(Key, Secret)> {
    let system = draft.system_id;
    let made = new_key(id, account, draft, maker, cx.clock.now())?;
    if let Some(system) = system
        && cx.store.system(account, system).await?.is_none()
    {
        return Err(Error::field("system_id", format!("there is no system {system} in this account")));
    }
    Ok(made)
}

/// Stores a key, and returns it as it is stored.
pub async fn store_key(cx: &Context, key: Key) -> Result<Key> {
    if !cx.store.insert_key(&key).await? {
        let id = key.id;
        return Err(Error::Conflict(format!(
            "the first attempt of this request made key {id}, which was revoked since; send the request again"
        )));
    }
    // The key that an earlier attempt has made is as old as that attempt.
    let made = cx.store.key_by_hash(&key.hash).await?;
    Ok(made.unwrap_or(key))
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

/// Revokes a key; doing it twice changes nothing. A key may revoke any key of its account, also a stronger one: the first
/// person who notices a leak stops it.
pub async fn revoke_key(cx: &Context, account: AccountId, id: KeyId) -> Result<()> {
    if cx.store.revoke_key(account, id, cx.clock.now()).await? {
        cx.notify_key_holders();
        Ok(())
    } else {
        Err(Error::NotFound { what: "key", id: id.to_string() })
    }
}

/// The key that has this secret, if it is accepted now. Notes that it was used.
pub async fn authenticate(cx: &Context, secret: &str) -> Result<Option<Key>> {
    let now = cx.clock.now();
    let key = cx.store.key_by_hash(&hash(secret)).await?.filter(|key| key.is_accepted(now));
    if let Some(key) = &key {
        cx.key_uses.note(key, now);
    }
    Ok(key)
}

/// Whether a key that was accepted is still accepted, and for as much. For answers that take long.
pub async fn still_accepted(cx: &Context, key: &Key) -> Result<bool> {
    let stored = cx.store.key_by_hash(&key.hash).await?;
    Ok(stored.is_some_and(|stored| {
        stored.is_accepted(cx.clock.now())
            && key.scopes.iter().all(|scope| stored.scopes.contains(scope))
            && stored.system_id == key.system_id
    }))
}

/// How long a waiting request goes on until its key is checked again: until the key's end, but not for long, because
/// another replica may revoke it.
pub fn next_check(cx: &Context, key: &Key) -> Duration {
    let left = key.expires_at.map(|end| (end - cx.clock.now()).to_std().unwrap_or(LEAST_WAIT));
    left.map_or(KEY_CHECKED_EVERY, |left| left.clamp(LEAST_WAIT, KEY_CHECKED_EVERY))
}

/// Waits until a key is no longer accepted: at once if this process revokes it, and otherwise within 5 seconds. While the
/// store is away it goes on.
pub async fn until_ended(cx: &Context, key: &Key) {
    // Subscribed before the first look, so that nothing falls between.
    let mut revoked = cx.keys_revoked.subscribe();
    loop {
        match still_accepted(cx, key).await {
            Ok(true) => {}
            Ok(false) => return,
            Err(error) => {
                tracing::debug!(error = ?error, "a key could not be checked; trying again soon");
            }
        }
        tokio::select! {
            _ = revoked.changed() => {}
            () = tokio::time::sleep(next_check(cx, key)) => {}
        }
    }
}
