//! Calendar feeds: dates of tasks for a calendar program.

use crate::setters::setters;
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// A request to make a calendar feed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct CalendarRequest {
    /// Name of the feed, here and in the calendar program; 1 to 200 characters.
    pub name: String,
    /// The only property whose tasks are in the feed; the whole account when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub property_id: Option<Uuid>,
    /// How many days ahead the feed looks, 1 to 3,653; 400 when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub horizon_days: Option<u32>,
}

impl CalendarRequest {
    /// A feed of the whole account that looks 400 days ahead.
    pub fn new(name: impl Into<String>) -> Self {
        Self { name: name.into(), property_id: None, horizon_days: None }
    }
}

setters! { CalendarRequest { property_id: Option<Uuid>, horizon_days: Option<u32> } }

/// A calendar feed, without its secret address.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Calendar {
    /// Id of the feed.
    pub id: Uuid,
    /// Name of the feed.
    pub name: String,
    /// The only property whose tasks are in the feed; the whole account when null. The feed is deleted with its
    /// property.
    pub property_id: Option<Uuid>,
    /// How many days ahead the feed looks.
    pub horizon_days: u32,
    /// The first characters of the secret in the feed's address, to tell feeds apart.
    pub hint: String,
    /// When the feed was made.
    pub created_at: DateTime<Utc>,
    /// When the feed was last read, within an hour; null when it never was.
    pub last_read_at: Option<DateTime<Utc>>,
    /// When the feed was revoked; null when it was not.
    pub revoked_at: Option<DateTime<Utc>>,
}

/// A new calendar feed with its secret address. No other answer shows the address. Everyone who has it can read the
/// feed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct CalendarCreated {
    /// The feed.
    pub calendar: Calendar,
    /// Path of the feed below the service's base URL. The service stores only a hash of the secret in it and cannot
    /// show it again.
    pub path: String,
    /// Full address of the feed, as this request reached the service. If a proxy adds to the path, put `path`
    /// behind your own base URL instead.
    pub url: String,
}
