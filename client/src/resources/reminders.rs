//! Reminders: a feed of what happens to tasks.

use crate::follow::pull;
use crate::{Client, Error, Follow, ReminderQuery};
use eavesward_contract::ReminderFeed;

/// The reminders' feed: what happens to tasks.
#[derive(Clone, Copy, Debug)]
pub struct Reminders<'a>(pub(super) &'a Client);

impl Reminders<'_> {
    /// Part of the feed, oldest entry first. Store its `cursor` and pass it as `after` the next time.
    pub async fn pull(&self, query: &ReminderQuery) -> Result<ReminderFeed, Error> {
        pull(self.0, query).await
    }

    /// Entries as they arrive, from the query's cursor on. The feed never ends.
    pub fn follow(&self, query: &ReminderQuery) -> Follow {
        Follow::new(self.0.clone(), query.clone())
    }
}
