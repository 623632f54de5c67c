//! Accounts, keys and who may do what.

use crate::domain::Context;
use crate::domain::check::Check;
use crate::domain::error::{Error, Result};
use crate::domain::ids::{self, AccountId, KeyId, SystemId};
use crate::domain::paging::{PageAsked, PageFound};
use base64::{Engine as _, engine::general_purpose::URL_SAFE_NO_PAD};
use chrono::{DateTime, Utc};
use sha2::{Digest, Sha256};

/// Begins the secret of a key.
const WORD: &str = "ew";

/// Everything stored belongs to one account.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Account {
    /// Id.
    pub id: AccountId,
    /// What it is called.
    pub name: String,
    /// When it was made.
    pub created_at: DateTime<Utc>,
}

/// What a key may do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Scope {
    /// Read everything of the account.
    Read,
    /// Register, change, send rain, log visits.
    Write,
    /// Make and revoke keys.
    Admin,
}

impl Scope {
    /// All scopes.
    pub const ALL: [Self; 3] = [Self::Read, Self::Write, Self::Admin];

    /// The word that is stored and shown.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Read => "read",
            Self::Write => "write",
            Self::Admin => "admin",
        }
    }

    /// Reads the word.
    pub fn parse(text: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|scope| scope.as_str() == text)
    }
}

/// A key as it is stored: the hash of the secret, never the secret.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Key {
    /// Id.
    pub id: KeyId,
    /// Whose it is.
    pub account_id: AccountId,
    /// What it is for.
    pub name: String,
    /// What it may do, sorted, without repeats.
    pub scopes: Vec<Scope>,
    /// The one system it reads, if it is not for the whole account. Its only scope is `read` then.
    pub system_id: Option<SystemId>,
    /// SHA-256 of the secret. A fast hash is enough: the secret has 256 random bits, so nothing can be guessed.
    pub hash: [u8; 32],
    /// The first characters of the secret.
    pub hint: String,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// When it stops being accepted.
    pub expires_at: Option<DateTime<Utc>>,
    /// When it was revoked.
    pub revoked_at: Option<DateTime<Utc>>,
}

/// A secret that shows itself only when asked to.
#[derive(Clone, PartialEq, Eq)]
pub struct Secret(String);

impl Secret {
    /// A new one: a word that says what it is for, and 256 random bits.
    ///
    /// # Errors
    /// When the operating system gives no randomness.
    pub(crate) fn random(word: &str) -> Result<Self> {
        Ok(Self(format!("{word}_{}", URL_SAFE_NO_PAD.encode(ids::random_256()?))))
    }

    /// Its first characters, to tell it from others: the word and six more.
    pub(crate) fn hint(&self, word: &str) -> String {
        self.0.chars().take(word.len() + 7).collect()
    }

    /// The text, to be shown to its owner once.
    pub fn reveal(&self) -> &str {
        &self.0
    }
}

impl std::fmt::Debug for Secret {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Secret(..)")
    }
}

/// What a new key is to be.
#[derive(Clone, Debug)]
pub struct KeyDraft {
    /// What it is for.
    pub name: String,
    /// What it may do.
    pub scopes: Vec<Scope>,
    /// The one system it is to read; the whole account when absent.
    pub system_id: Option<SystemId>,
    /// When it stops being accepted.
    pub expires_at: Option<DateTime<Utc>>,
}

impl KeyDraft {
    /// A key that may do everything, for ever.
    pub fn of_everything(name: &str) -> Self {
        Self { name: name.to_owned(), scopes: Scope::ALL.to_vec(), system_id: None, expires_at: None }
    }
}

/// How far a key that reads can see: the whole account, or one system of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reach {
    /// The account.
    pub account: AccountId,
    /// The one system, if it is not all.
    pub only: Option<SystemId>,
}

impl Reach {
    /// Whether what belongs to a system is seen.
    pub fn sees(&self, system: SystemId) -> bool {
        self.only.is_none_or(|only| only == system)
    }

    /// The account, to look a system up in.
    ///
    /// # Errors
    /// The system is not found, in the same words as one that does not exist.
    pub fn to(&self, system: SystemId) -> Result<AccountId> {
        if self.sees(system) {
            Ok(self.account)
        } else {
            Err(Error::NotFound { what: "system", id: system.to_string() })
        }
    }

    /// The system that a list is narrowed down to: what was asked for, and for a key of one system never more than that.
    ///
    /// # Errors
    /// Another system was asked for than the one that is seen.
    pub fn narrowed(&self, asked: Option<SystemId>) -> Result<Option<SystemId>> {
        match asked {
            Some(system) => self.to(system).map(|_| Some(system)),
            None => Ok(self.only),
        }
    }
}

/// The hash that a secret is looked up by.
pub fn hash(secret: &str) -> [u8; 32] {
    Sha256::digest(secret.as_bytes()).into()
}

fn new_key(account_id: AccountId, draft: KeyDraft, now: DateTime<Utc>) -> Result<(Key, Secret)> {
    let mut check = Check::new();
    check.text("name", &draft.name, 200);
    if draft.scopes.is_empty() {
        check.refuse("scopes", "it is empty; give at least one of read, write, admin");
    }
    if draft.system_id.is_some() && draft.scopes.iter().any(|scope| *scope != Scope::Read) {
        check.refuse(
            "scopes",
            "a key of one system may read and nothing else; give read alone, or no system_id",
        );
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
    let secret = Secret::random(WORD)?;
    let key = Key {
        id: KeyId::new(),
        account_id,
        name: draft.name,
        scopes,
        system_id: draft.system_id,
        hash: hash(secret.reveal()),
        hint: secret.hint(WORD),
        created_at: now,
        expires_at: draft.expires_at,
        revoked_at: None,
    };
    Ok((key, secret))
}

/// On an empty database, makes an account with a key that may do everything; later, and on every replica but the
/// first, does nothing.
pub async fn bootstrap(cx: &Context, name: &str) -> Result<Option<(Account, Secret)>> {
    let now = cx.clock.now();
    let account = Account { id: AccountId::new(), name: name.to_owned(), created_at: now };
    let draft = KeyDraft::of_everything("first key");
    let (key, secret) = new_key(account.id, draft, now)?;
    Ok(cx.store.bootstrap(&account, &key).await?.then_some((account, secret)))
}

/// Makes a further account with a key that may do everything.
pub async fn create(cx: &Context, name: &str) -> Result<(Account, Secret)> {
    let mut check = Check::new();
    check.text("name", name, 200);
    check.done()?;
    let now = cx.clock.now();
    let account = Account { id: AccountId::new(), name: name.to_owned(), created_at: now };
    let draft = KeyDraft::of_everything("first key");
    let (key, secret) = new_key(account.id, draft, now)?;
    cx.store.insert_account(&account, &key).await?;
    Ok((account, secret))
}

/// The account.
pub async fn get(cx: &Context, id: AccountId) -> Result<Account> {
    cx.store.account(id).await?.ok_or_else(|| Error::NotFound { what: "account", id: id.to_string() })
}

/// Makes a key.
pub async fn create_key(cx: &Context, account: AccountId, draft: KeyDraft) -> Result<(Key, Secret)> {
    let system = draft.system_id;
    let (key, secret) = new_key(account, draft, cx.clock.now())?;
    if let Some(system) = system
        && cx.store.system(account, system).await?.is_none()
    {
        return Err(Error::field("system_id", format!("there is no system {system} in this account")));
    }
    cx.store.insert_key(&key).await?;
    Ok((key, secret))
}

/// The account's keys, oldest first.
pub async fn keys(
    cx: &Context,
    account: AccountId,
    cursor: Option<&str>,
    limit: Option<u32>,
) -> Result<PageFound<Key>> {
    let asked = PageAsked::read("keys", cursor, limit)?;
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

/// The key a secret belongs to, if it is accepted now.
pub async fn authenticate(cx: &Context, secret: &str) -> Result<Option<Key>> {
    accepted(cx, &hash(secret)).await
}

/// Whether a key that was accepted once is so still: for answers that take long.
pub async fn still_accepted(cx: &Context, key: &Key) -> Result<bool> {
    Ok(accepted(cx, &key.hash).await?.is_some())
}

async fn accepted(cx: &Context, hash: &[u8; 32]) -> Result<Option<Key>> {
    let now = cx.clock.now();
    let key = cx.store.key_by_hash(hash).await?;
    Ok(key.filter(|key| key.revoked_at.is_none() && key.expires_at.is_none_or(|at| at > now)))
}
