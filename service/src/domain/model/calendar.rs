//! Calendar feeds: the dates of an account's tasks, or of those at one property, for whatever calendar a person uses.
//!
//! A calendar cannot send a key, so that the address of a feed is one: it ends in 256 random bits, is shown once, kept only
//! as a hash, and can be revoked. What a feed says is made by `rules::ical`, a pure function.

use crate::domain::base::bounds::Bounds;
use crate::domain::base::ids::{AccountId, CalendarId, PropertyId};
use chrono::{DateTime, Utc};

/// Begins the secret in an address. The log knows it, to leave secrets out.
pub const SECRET_PREFIX: &str = "ewc";

/// Days ahead of a feed that does not say: a year and a month, so that what comes round yearly is always in it.
pub const USUAL_DAYS: u32 = 400;

/// Days ahead of a feed, up to ten years. Judgement: no date further off is worth an alarm.
pub const HORIZON_DAYS: Bounds = Bounds::of(1.0, 3_653.0);

/// The most tasks of a feed. Judgement: some four megabytes; people's calendars become slow before that.
pub const MOST_TASKS: usize = 2_000;

/// A feed as it is stored: the hash of its secret, never the secret.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Calendar {
    /// Id.
    pub id: CalendarId,
    /// Whose it is.
    pub account_id: AccountId,
    /// The one property it is of; all of the account's when absent. It goes with its property.
    pub property_id: Option<PropertyId>,
    /// What it is called, here and in the calendar.
    pub name: String,
    /// How many days ahead it looks.
    pub horizon_days: u32,
    /// SHA-256 of the secret, which has 256 random bits.
    pub hash: [u8; 32],
    /// The first characters of the secret.
    pub hint: String,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// When it was last read, to the hour.
    pub last_read_at: Option<DateTime<Utc>>,
    /// When it was revoked.
    pub revoked_at: Option<DateTime<Utc>>,
}

/// What a new feed is to be.
#[derive(Clone, Debug)]
pub struct CalendarDraft {
    /// What it is called.
    pub name: String,
    /// The one property it is of.
    pub property_id: Option<PropertyId>,
    /// How many days ahead it looks.
    pub horizon_days: Option<u32>,
}
