//! Calendar feeds.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// A request to make a calendar feed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct CalendarRequest {
    /// What it is called, here and in the calendar.
    pub name: String,
    /// The one property it is of; the whole account when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub property_id: Option<Uuid>,
    /// How many days ahead it looks; 400 when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub horizon_days: Option<u32>,
}

/// A calendar feed, without its secret address.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Calendar {
    /// Id of the feed.
    pub id: Uuid,
    /// What it is called.
    pub name: String,
    /// The one property it is of, with which it goes; the whole account when absent.
    pub property_id: Option<Uuid>,
    /// How many days ahead it looks.
    pub horizon_days: u32,
    /// The first characters of the secret in its address, to tell feeds apart.
    pub hint: String,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// When it was last read, to the hour; absent when it never was.
    pub last_read_at: Option<DateTime<Utc>>,
    /// When it was revoked, if it was.
    pub revoked_at: Option<DateTime<Utc>>,
}

/// A new calendar feed with its address, which is shown this once. Whoever has it can read the feed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct CalendarCreated {
    /// The feed.
    pub calendar: Calendar,
    /// Its path below the service's base URL. Only a hash of the secret in it is stored: it cannot be shown again.
    pub path: String,
    /// Its address as this request reached the service. Behind a proxy that adds to the path, put `path` behind the base URL
    /// that you use.
    pub url: String,
}
