//! Accounts, keys and who may do what.

use crate::domain::base::check::Check;
use crate::domain::base::error::{Error, Result};
use crate::domain::base::ids::{AccountId, KeyId, SystemId};
use chrono::{DateTime, Utc};

/// An account. Everything that is stored belongs to one account.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Account {
    /// Id.
    pub id: AccountId,
    /// Its name.
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
    /// Make and revoke keys, secret addresses and subscriptions, and read the audit. It includes neither of the others.
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
    /// The account that owns it.
    pub account_id: AccountId,
    /// What it is for.
    pub name: String,
    /// What it may do, sorted, without repeats.
    pub scopes: Vec<Scope>,
    /// The only system that the key can read; the whole account if absent. Such a key has only the scope `read`.
    pub system_id: Option<SystemId>,
    /// SHA-256 of the secret. A fast hash is enough: the secret has 256 random bits, so it cannot be guessed.
    pub hash: [u8; 32],
    /// The first characters of the secret.
    pub hint: String,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// When it stops being accepted.
    pub expires_at: Option<DateTime<Utc>>,
    /// When it was revoked.
    pub revoked_at: Option<DateTime<Utc>>,
    /// The minute in which it was last used, as far as it is written.
    pub last_used_at: Option<DateTime<Utc>>,
}

impl Key {
    /// Whether it is accepted at an instant.
    pub fn is_accepted(&self, now: DateTime<Utc>) -> bool {
        self.revoked_at.is_none() && self.expires_at.is_none_or(|at| at > now)
    }

    /// Refuses the draft of a key that could do more than this one, or for longer.
    pub fn check_weaker(&self, draft: &KeyDraft, check: &mut Check) {
        let beyond: Vec<&str> = draft
            .scopes
            .iter()
            .filter(|scope| !self.scopes.contains(scope))
            .map(|scope| scope.as_str())
            .collect();
        if !beyond.is_empty() {
            let (words, name) = (beyond.join(" and "), &self.name);
            check.refuse(
                "scopes",
                format!(
                    "the key {name:?} that makes it lacks {words}; leave that out, or use a key that has it"
                ),
            );
        }
        if let Some(only) = self.system_id.filter(|only| draft.system_id != Some(*only)) {
            check.refuse("system_id", format!("the key that makes it is for system {only} alone; give that"));
        }
        if let Some(end) = self.expires_at
            && draft.expires_at.is_none_or(|at| at > end)
        {
            let given =
                draft.expires_at.map_or_else(|| "it is missing".to_owned(), |at| format!("{at} is too late"));
            check.refuse(
                "expires_at",
                format!("{given}: the key that makes it expires at {end}; give that or an earlier instant"),
            );
        }
    }
}

/// The settings of a new key.
#[derive(Clone, Debug)]
pub struct KeyDraft {
    /// What it is for.
    pub name: String,
    /// What it may do.
    pub scopes: Vec<Scope>,
    /// The only system that it can read; the whole account if absent.
    pub system_id: Option<SystemId>,
    /// When it stops being accepted.
    pub expires_at: Option<DateTime<Utc>>,
}

impl KeyDraft {
    /// A key that may do everything and does not expire.
    pub fn of_everything(name: &str) -> Self {
        Self { name: name.to_owned(), scopes: Scope::ALL.to_vec(), system_id: None, expires_at: None }
    }
}

/// What a key can read: the whole account, or one system of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ReadAccess {
    /// The account.
    pub account: AccountId,
    /// The only system that it can read; all if absent.
    pub only: Option<SystemId>,
}

impl ReadAccess {
    /// Whether the key can read what belongs to a system.
    pub fn sees(&self, system: SystemId) -> bool {
        self.only.is_none_or(|only| only == system)
    }

    /// The account in which to look up a system.
    ///
    /// # Errors
    /// The system is not found. The message is the same as for a system that does not exist.
    pub fn to(&self, system: SystemId) -> Result<AccountId> {
        if self.sees(system) {
            Ok(self.account)
        } else {
            Err(Error::NotFound { what: "system", id: system.to_string() })
        }
    }

    /// The system to which a list is limited: the one that was asked for. A key for one system never sees more than
    /// that system.
    ///
    /// # Errors
    /// If the caller asked for a system that the key cannot read.
    pub fn narrowed(&self, asked: Option<SystemId>) -> Result<Option<SystemId>> {
        match asked {
            Some(system) => self.to(system).map(|_| Some(system)),
            None => Ok(self.only),
        }
    }
}
