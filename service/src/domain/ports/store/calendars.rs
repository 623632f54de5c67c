//! Calendar feeds.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, CalendarId};
use crate::domain::base::paging::PageRequest;
use crate::domain::model::calendar::Calendar;
use async_trait::async_trait;
use chrono::{DateTime, Utc};

/// Calendar feeds.
#[async_trait]
pub trait CalendarStore: Send + Sync {
    /// Adds a feed. It goes when its property does.
    async fn insert_calendar(&self, calendar: &Calendar) -> Stored<()>;
    /// The account's feeds by `(created_at, id)`, revoked ones included.
    async fn calendars(&self, account: AccountId, page: &PageRequest<DateTime<Utc>>)
    -> Stored<Vec<Calendar>>;
    /// Sets `revoked_at` if it is not set; `false` when there is no such feed in the account.
    async fn revoke_calendar(&self, account: AccountId, id: CalendarId, now: DateTime<Utc>) -> Stored<bool>;
    /// The feed with this hash, whatever its state.
    async fn calendar_by_hash(&self, hash: &[u8; 32]) -> Stored<Option<Calendar>>;
    /// Says that a feed was read; an earlier instant than the one that is kept changes nothing.
    async fn calendar_was_read(&self, id: CalendarId, now: DateTime<Utc>) -> Stored<()>;
}
