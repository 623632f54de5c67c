//! Calendar feeds: the dates of an account's tasks, or of those at one property, for any calendar program.
//!
//! A calendar program cannot send a key, so the address of a feed acts as one. It ends in 256 random bits, is shown
//! once and can be revoked. Only its hash is stored. `rules::ical`, a pure function, writes the feed.

use crate::domain::base::bounds::Bounds;
use crate::domain::base::ids::{AccountId, CalendarId, PropertyId};
use chrono::{DateTime, Utc};

/// The start of the secret in an address. The log uses it to leave secrets out.
pub const SECRET_PREFIX: &str = "ewc";

/// Days ahead of a feed if it does not say: a year and a month, so that yearly tasks are always in it.
pub const USUAL_DAYS: u32 = 400;

/// Days ahead of a feed, up to ten years. Judgement: no later date is worth an alarm.
pub const HORIZON_DAYS: Bounds = Bounds::of(1.0, 3_653.0);

/// The most tasks of a feed. Judgement: they are some four megabytes, and calendar programs become slow before
/// that.
pub const MOST_TASKS: usize = 2_000;

/// A feed as it is stored: the hash of its secret, never the secret.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Calendar {
    /// Id.
    pub id: CalendarId,
    /// The account that owns it.
    pub account_id: AccountId,
    /// The only property that it covers; the whole account if absent. The feed is deleted with its property.
    pub property_id: Option<PropertyId>,
    /// Its name, here and in the calendar.
    pub name: String,
    /// How many days ahead it looks.
    pub horizon_days: u32,
    /// SHA-256 of the secret, which has 256 random bits.
    pub hash: [u8; 32],
    /// The first characters of the secret.
    pub hint: String,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// When it was last read, within an hour.
    pub last_read_at: Option<DateTime<Utc>>,
    /// When it was revoked.
    pub revoked_at: Option<DateTime<Utc>>,
}

/// The settings of a new feed.
#[derive(Clone, Debug)]
pub struct CalendarDraft {
    /// Its name.
    pub name: String,
    /// The only property that it covers.
    pub property_id: Option<PropertyId>,
    /// How many days ahead it looks.
    pub horizon_days: Option<u32>,
}
