//! Calendar feeds in the store.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, CalendarId};
use crate::domain::base::paging::PageRequest;
use crate::domain::model::calendar::Calendar;
use async_trait::async_trait;
use chrono::{DateTime, Utc};

/// Calendar feeds.
#[async_trait]
pub trait CalendarStore: Send + Sync {
    /// Adds a feed, which is deleted with its property. If its id exists already, an earlier attempt of the same request
    /// has made it, and nobody was told its address: the feed gets the new one. Returns the feed as it is stored;
    /// `None`, with nothing changed, if that feed was revoked since.
    async fn insert_calendar(&self, calendar: &Calendar) -> Stored<Option<Calendar>>;
    /// The account's feeds by `(created_at, id)`, revoked ones included.
    async fn calendars(&self, account: AccountId, page: &PageRequest<DateTime<Utc>>)
    -> Stored<Vec<Calendar>>;
    /// Sets `revoked_at` if it is not set; `false` if the account has no such feed.
    async fn revoke_calendar(&self, account: AccountId, id: CalendarId, now: DateTime<Utc>) -> Stored<bool>;
    /// The feed with this hash, in any state.
    async fn calendar_by_hash(&self, hash: &[u8; 32]) -> Stored<Option<Calendar>>;
    /// Notes that a feed was read. An instant before the stored one changes nothing, unless a clock that was ahead has
    /// stored that.
    async fn calendar_was_read(&self, id: CalendarId, now: DateTime<Utc>) -> Stored<()>;
}
