//! Calendar feeds.

use super::lists::list_methods;
use crate::{Client, Error, ListQuery, requests};
use eavesward_contract::{Calendar, CalendarCreated, CalendarRequest};
use uuid::Uuid;

/// Calendar feeds. Managing them needs the scope `admin`; reading one needs only its address.
#[derive(Clone, Copy, Debug)]
pub struct Calendars<'a>(pub(super) &'a Client);

impl Calendars<'_> {
    list_methods!(Calendar, ListQuery, requests::list_calendars);

    /// Makes a feed. Only this answer has its address; it cannot be read again. [`Calendars::url`] gives the
    /// address below this client's base URL.
    pub async fn create(&self, calendar: &CalendarRequest) -> Result<CalendarCreated, Error> {
        self.0.call(requests::create_calendar(calendar)?).await
    }

    /// Revokes a feed. Its address stops working at once.
    pub async fn revoke(&self, id: Uuid) -> Result<(), Error> {
        self.0.send(requests::revoke_calendar(id)).await.map(drop)
    }

    /// The feed as iCalendar text. `path` comes from the answer of [`Self::create`].
    pub async fn read(&self, path: &str) -> Result<String, Error> {
        self.0.send(requests::read_calendar(path)).await?.text()
    }

    /// The address of a new feed, below this client's base URL.
    pub fn url(&self, created: &CalendarCreated) -> Result<String, Error> {
        self.0.url_of(&requests::read_calendar(&created.path)).map(String::from)
    }
}
