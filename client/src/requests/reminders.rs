//! The reminders' feed.

use crate::Request;
use crate::query::ReminderQuery;

/// `GET /v1/reminders`: the next entries of the feed.
pub fn pull_reminders(query: &ReminderQuery) -> Request {
    query.put_on(Request::get("/v1/reminders"))
}
