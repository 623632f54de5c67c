//! Accounts and their keys.

use crate::setters::setters;
use crate::word::open_words;
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// The account that a key belongs to. Everything stored belongs to one account, and no other account can see it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Account {
    /// Id of the account.
    pub id: Uuid,
    /// Name of the account.
    pub name: String,
    /// When the account was made.
    pub created_at: DateTime<Utc>,
    /// How much the account has of what its quotas bound. A write beyond a quota is answered 409 `quota_reached`.
    #[serde(default)]
    pub quotas: Vec<Quota>,
}

open_words! {
    /// What a quota counts.
    QuotaOf, other: "A quota that this version does not know, with its word." {
        /// Keys that are not revoked.
        Keys "keys",
        /// Calendar feeds that are not revoked.
        Calendars "calendars",
        /// Properties.
        Properties "properties",
        /// Rain gauges.
        Gauges "gauges",
        /// Days with a reading, of all rain gauges together.
        RainDays "rain_days",
        /// Systems, retired ones included.
        Systems "systems",
        /// Subscriptions.
        Subscriptions "subscriptions",
        /// Test messages of the present day in UTC.
        TestMessages "test_messages",
        /// Streams of events that are open. Each process of the service counts its own.
        Streams "streams",
    }
}

/// How much an account has of one kind, and how much it may have.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Quota {
    /// What is counted.
    pub of: QuotaOf,
    /// How many there are.
    pub used: u64,
    /// The most that there may be. It is absent if nothing bounds them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub most: Option<u64>,
}

/// What a key may do.
///
/// - `read`: read everything of the account.
/// - `write`: register and change things, send rain, log visits.
/// - `admin`: manage keys, calendars and subscriptions, and read the audit.
///
/// No scope includes another one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub enum Scope {
    /// Read everything of the account.
    Read,
    /// Register and change things, send rain, log visits.
    Write,
    /// Manage keys, calendars and subscriptions, and read the audit.
    Admin,
    /// A scope of a newer service, which this version does not know. Requests with it are refused.
    #[cfg_attr(feature = "service", serde(skip_deserializing))]
    #[cfg_attr(not(feature = "service"), serde(other))]
    Unknown,
}

/// A request to make a key.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct KeyRequest {
    /// What the key is for, 1 to 200 characters. It helps to recognise the key when you revoke it.
    pub name: String,
    /// What the key may do: at least one scope, and none that the key of this request lacks.
    pub scopes: Vec<Scope>,
    /// The only system that the key may read; the whole account when absent. Such a key reads that system's status,
    /// forecast, components and tasks, and nothing else. Its only scope must be `read`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub system_id: Option<Uuid>,
    /// The instant from which the key is refused; it never expires when absent. If the key of this request expires, this
    /// must not be later.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expires_at: Option<DateTime<Utc>>,
}

impl KeyRequest {
    /// A key for the whole account that never expires.
    pub fn new(name: impl Into<String>, scopes: impl Into<Vec<Scope>>) -> Self {
        Self { name: name.into(), scopes: scopes.into(), system_id: None, expires_at: None }
    }

    /// A key that reads one system and nothing else, such as for a display on a wall.
    pub fn of_system(name: impl Into<String>, system_id: Uuid) -> Self {
        Self { system_id: Some(system_id), ..Self::new(name, [Scope::Read]) }
    }
}

setters! { KeyRequest { system_id: Option<Uuid>, expires_at: Option<DateTime<Utc>> } }

/// A key, without its secret.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct ApiKey {
    /// Id of the key.
    pub id: Uuid,
    /// What the key is for.
    pub name: String,
    /// What the key may do.
    pub scopes: Vec<Scope>,
    /// The only system that the key may read; null when the key is for the whole account.
    pub system_id: Option<Uuid>,
    /// The first characters of the secret, to tell keys apart.
    pub hint: String,
    /// When the key was made.
    pub created_at: DateTime<Utc>,
    /// The instant from which the key is refused; null when it never expires.
    pub expires_at: Option<DateTime<Utc>>,
    /// When the key was revoked; null when it was not.
    pub revoked_at: Option<DateTime<Utc>>,
    /// The minute in which the key was last used; null when it never was. It is written about a minute later.
    pub last_used_at: Option<DateTime<Utc>>,
}

/// A new key with its secret. No other answer shows the secret.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct KeyCreated {
    /// The key.
    pub key: ApiKey,
    /// The secret, to be sent as a bearer token. The service stores only its hash and cannot show it again.
    pub secret: String,
}
