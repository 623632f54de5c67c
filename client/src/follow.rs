//! Following the reminders' feed.

use crate::{Client, Error, ReminderQuery, requests};
use eavesward_contract::{Reminder, ReminderFeed};
use std::collections::VecDeque;
use std::time::Duration;

/// Seconds that the service is asked to wait for an entry; less where the client's time for an attempt is shorter.
const WAIT_S: u64 = 25;
/// What stands for the end of the feed.
const NOW: &str = "now";

/// Entries of the reminders' feed as they come, without an end.
///
/// [`Self::next`] waits until there is one. Keep [`Self::cursor`] when an entry has been dealt with, and give it as
/// [`ReminderQuery::after`] after a restart: nothing is skipped, and only what was not yet dealt with comes again.
///
/// An error does not end it: the next call goes on from the same place, and at once, so wait a little before it
/// ([`Error::retry_after`] may say how long) where the error may pass ([`Error::is_transient`]). An expired cursor
/// ([`Error::is_cursor_expired`]) comes again each time; the error says how to begin anew.
#[derive(Debug)]
pub struct Follow {
    client: Client,
    query: ReminderQuery,
    ahead: VecDeque<Reminder>,
    /// Where the feed was read to; given out when everything before it was.
    read_to: Option<String>,
    cursor: Option<String>,
    behind: i64,
}

impl Follow {
    pub(crate) fn new(client: Client, query: ReminderQuery) -> Self {
        let cursor = query.after.clone();
        Self { client, query, ahead: VecDeque::new(), read_to: cursor.clone(), cursor, behind: 0 }
    }

    /// The next entry; waits for it.
    pub async fn next(&mut self) -> Result<Reminder, Error> {
        loop {
            if let Some(entry) = self.poll().await? {
                return Ok(entry);
            }
        }
    }

    /// The next entry, or nothing if there was none for a while, some seconds: for those who have something to do meanwhile,
    /// such as keeping the cursor, which goes on where a filter leaves everything out.
    pub async fn poll(&mut self) -> Result<Option<Reminder>, Error> {
        if self.ahead.is_empty() {
            // Everything that was read was given out, so what the filter left out need not be looked at again.
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

    /// Where to go on after a restart: behind the entry that [`Self::next`] gave last. Absent before the first answer of a
    /// feed that is read from its beginning.
    pub fn cursor(&self) -> Option<&str> {
        self.cursor.as_deref()
    }

    /// How many entries the feed held behind what was read, when the service last answered; those that the filter leaves
    /// out are counted too.
    pub fn behind(&self) -> i64 {
        self.behind
    }

    async fn read(&mut self) -> Result<(), Error> {
        // The end of the feed is made a place in it at once: asked for it again, entries in between would be lost.
        let now = self.read_to.as_deref() == Some(NOW);
        let wait = self.client.longest_wait().as_secs().saturating_sub(5).min(WAIT_S);
        let wait = if now { 0 } else { wait };
        let query =
            ReminderQuery { after: self.read_to.clone(), wait_s: Some(wait as u32), ..self.query.clone() };
        let feed: ReminderFeed = self.client.call(requests::pull_reminders(&query)).await?;
        self.read_to = Some(feed.cursor);
        self.behind = feed.behind;
        self.ahead.extend(feed.items);
        if self.ahead.is_empty() && wait == 0 && !now {
            // The client has no time to let the service wait.
            tokio::time::sleep(Duration::from_secs(2)).await;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    #[test]
    fn the_examples_outlive_what_passes() {
        for text in [include_str!("lib.rs"), include_str!("../../README.md")] {
            let example = text.split("reminders().follow(").nth(1).and_then(|rest| rest.split("```").next());
            let example = example.expect("an example of it");
            assert!(example.contains("if error.is_transient() =>"), "{example}");
            assert!(!example.contains("next().await?"), "a lost connection ends it: {example}");
        }
    }
}
