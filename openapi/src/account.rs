//! Accounts and their keys.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// The account a key belongs to. Everything stored belongs to one account and is invisible to every other.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Account {
    /// Id of the account.
    pub id: Uuid,
    /// What the account is called.
    pub name: String,
    /// When it was made.
    pub created_at: DateTime<Utc>,
}

/// What a key may do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum Scope {
    /// Read everything of the account.
    Read,
    /// Register, change, send rain, log visits.
    Write,
    /// Make and revoke keys.
    Admin,
    /// A word of a newer service; never accepted.
    #[cfg_attr(feature = "service", serde(skip_deserializing))]
    #[cfg_attr(not(feature = "service"), serde(other))]
    Unknown,
}

/// A request to make a key.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct KeyRequest {
    /// What the key is for, so that it can be recognised when it is to be revoked.
    pub name: String,
    /// What it may do; at least one.
    pub scopes: Vec<Scope>,
    /// The one system it is to read; the whole account when absent. Such a key is shown that system's status, forecast,
    /// components and tasks, and nothing else. Its scopes must be `read` alone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub system_id: Option<Uuid>,
    /// The instant from which it is refused; never when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expires_at: Option<DateTime<Utc>>,
}

impl KeyRequest {
    /// A key of the whole account that never ends.
    pub fn new(name: impl Into<String>, scopes: impl Into<Vec<Scope>>) -> Self {
        Self { name: name.into(), scopes: scopes.into(), system_id: None, expires_at: None }
    }

    /// A key that reads one system and nothing else: for a display on a wall, say.
    pub fn of_system(name: impl Into<String>, system_id: Uuid) -> Self {
        Self { system_id: Some(system_id), ..Self::new(name, [Scope::Read]) }
    }

    /// Refused from this instant on.
    pub fn until(self, expires_at: DateTime<Utc>) -> Self {
        Self { expires_at: Some(expires_at), ..self }
    }
}

/// A key, without its secret.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct ApiKey {
    /// Id of the key.
    pub id: Uuid,
    /// What it is for.
    pub name: String,
    /// What it may do.
    pub scopes: Vec<Scope>,
    /// The one system it reads, if it is not for the whole account.
    #[serde(default)]
    pub system_id: Option<Uuid>,
    /// The first characters of the secret, to tell keys apart.
    pub hint: String,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// When it stops being accepted, if ever.
    pub expires_at: Option<DateTime<Utc>>,
    /// When it was revoked, if it was.
    pub revoked_at: Option<DateTime<Utc>>,
}

/// A new key with its secret, which is shown this once.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct KeyCreated {
    /// The key.
    pub key: ApiKey,
    /// The bearer secret. Only a hash of it is stored: it cannot be shown again.
    pub secret: String,
}
