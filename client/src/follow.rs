//! Following the reminders' feed.

use crate::{Client, Error, ReminderQuery, requests};
use eavesward_contract::{Reminder, ReminderFeed};
use std::collections::VecDeque;
use std::time::Duration;

/// Seconds that the service may wait for an entry. The client asks for less if its time for one attempt is shorter.
const WAIT_S: u64 = 25;
/// The cursor that stands for the end of the feed.
const NOW: &str = "now";

/// What to say of a cursor that the feed does not know. The service's own words are for lists.
const BAD_CURSOR: &str = "The cursor is not one of the reminders' feed. Give the cursor of an earlier answer or entry as it \
    came, or `now` for the end of the feed. Without a cursor the oldest entry that is kept comes first.";

/// The next entries of the feed.
pub(crate) async fn pull(client: &Client, query: &ReminderQuery) -> Result<ReminderFeed, Error> {
    client.call(requests::pull_reminders(query)).await.map_err(|error| error.bad_cursor_said(BAD_CURSOR))
}

/// Entries of the reminders' feed as they arrive. The feed never ends.
///
/// [`Self::next`] waits for the next entry. Store [`Self::cursor`] once you have handled an entry. After a restart,
/// pass it as [`ReminderQuery::after`]. Then no entry is skipped, and only entries that you had not handled are
/// repeated.
///
/// After an error you may call again; the call continues from the same place. It does not wait first. If the error
/// may pass ([`Error::is_transient`]), wait before you call; [`Error::retry_after`] may say how long. An expired
/// cursor gives [`Error::is_cursor_expired`] at every call; the error says how to start again.
#[derive(Debug)]
pub struct Follow {
    client: Client,
    query: ReminderQuery,
    ahead: VecDeque<Reminder>,
    /// How far the feed was read. It becomes the cursor once all entries before it were handed out.
    read_to: Option<String>,
    cursor: Option<String>,
    behind: i64,
}

impl Follow {
    pub(crate) fn new(client: Client, query: ReminderQuery) -> Self {
        let cursor = query.after.clone();
        Self { client, query, ahead: VecDeque::new(), read_to: cursor.clone(), cursor, behind: 0 }
    }

    /// Waits for the next entry.
    pub async fn next(&mut self) -> Result<Reminder, Error> {
        loop {
            if let Some(entry) = self.poll().await? {
                return Ok(entry);
            }
        }
    }

    /// The next entry, or `None` if none arrived within some seconds. Use it if your program has other work between
    /// entries, such as storing the cursor. The cursor also moves past entries that the filter leaves out.
    pub async fn poll(&mut self) -> Result<Option<Reminder>, Error> {
        if self.ahead.is_empty() {
            // All entries were handed out, so entries that the filter left out need no second look.
            self.cursor.clone_from(&self.read_to);
            self.read().await?;
        }
        let entry = self.ahead.pop_front();
        match &entry {
            Some(entry) => self.cursor = Some(entry.cursor.clone()),
            None => self.cursor.clone_from(&self.read_to),
        }
        Ok(entry)
    }

    /// Where to continue after a restart: behind the last entry from [`Self::next`]. It is `None` before the first
    /// answer of a feed that is read from its beginning.
    pub fn cursor(&self) -> Option<&str> {
        self.cursor.as_deref()
    }

    /// How many entries were still to read when the service last answered. The count includes entries that the
    /// filter leaves out.
    pub fn behind(&self) -> i64 {
        self.behind
    }

    async fn read(&mut self) -> Result<(), Error> {
        // Turn `now` into a real cursor at once: a second request for `now` would lose the entries in between.
        let now = self.read_to.as_deref() == Some(NOW);
        let wait = self.client.longest_wait().as_secs().saturating_sub(5).min(WAIT_S);
        let wait = if now { 0 } else { wait };
        let query =
            ReminderQuery { after: self.read_to.clone(), wait_s: Some(wait as u32), ..self.query.clone() };
        let feed = pull(&self.client, &query).await?;
        self.read_to = Some(feed.cursor);
        self.behind = feed.behind;
        self.ahead.extend(feed.items);
        if self.ahead.is_empty() && wait == 0 && !now {
            // The client's time-out is too short to let the service wait, so the client waits.
            tokio::time::sleep(Duration::from_secs(2)).await;
        }
        Ok(())
    }
}
