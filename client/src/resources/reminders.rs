//! Reminders: what became of tasks.

use crate::{Client, Error, Follow, ReminderQuery, requests};
use eavesward_contract::ReminderFeed;

/// The reminders' feed: what became of tasks.
#[derive(Clone, Copy, Debug)]
pub struct Reminders<'a>(pub(super) &'a Client);

impl Reminders<'_> {
    /// A stretch of the feed, oldest entry first. Keep its `cursor` and give it as `after` the next time.
    pub async fn pull(&self, query: &ReminderQuery) -> Result<ReminderFeed, Error> {
        self.0.call(requests::pull_reminders(query)).await
    }

    /// Entries as they come, without an end, from the query's cursor on.
    pub fn follow(&self, query: &ReminderQuery) -> Follow {
        Follow::new(self.0.clone(), query.clone())
    }
}
