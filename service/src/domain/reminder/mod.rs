//! Reminders: an append-only feed per account of what became of its tasks.
//!
//! Entries are numbered without a gap, in the order in which they became visible: whoever appends holds the account's
//! feed until it commits. A cursor is the number of the last entry that was read.

mod entry;
mod told;

pub use entry::{Entry, Gone, Telling, bits, fingerprint, of_removed, of_task};
pub use told::{Basis, Cause, Doing, Moved, News, Raised, Sighting, Stage, Standing, Told, see};

use crate::domain::Context;
use crate::domain::error::{Error, Result};
use crate::domain::ids::{AccountId, PropertyId, SystemId};
use crate::domain::paging::{self, MOST, USUAL};
use std::time::Duration;

/// The longest wait for news, seconds.
pub const LONGEST_WAIT_S: u32 = 30;
/// What stands for the end of the feed in the place of a cursor.
pub const NOW: &str = "now";
/// Marks a cursor as one of the feed.
const LIST: &str = "reminders";

/// Which entries to read.
#[derive(Clone, Debug, Default)]
pub struct ReminderFilter {
    /// Those at this property.
    pub property_id: Option<PropertyId>,
    /// Those of this system.
    pub system_id: Option<SystemId>,
    /// Those that tell of one of these; all when empty.
    pub kinds: Vec<News>,
}

/// What of a feed to read.
#[derive(Clone, Copy, Debug)]
pub struct Stretch {
    /// The number of the last entry that was read; 0 for none. Absent: from the end.
    pub after: Option<i64>,
    /// How many entries.
    pub limit: u32,
}

/// A stretch of a feed, read from one state of it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Read {
    /// Entries, oldest first, at most as many as asked for.
    pub entries: Vec<Entry>,
    /// The number of the last entry of the feed.
    pub last: i64,
    /// The number of the last entry that is no longer kept.
    pub forgotten: i64,
}

/// What a reader pulled.
#[derive(Clone, Debug)]
pub struct Pulled {
    /// Entries, oldest first.
    pub entries: Vec<Entry>,
    /// Where to go on, whether there was anything or not.
    pub cursor: String,
    /// How many entries the feed holds after that cursor, those that the filter leaves out included.
    pub behind: i64,
}

/// The cursor behind an entry of an account's feed.
pub fn cursor(account: AccountId, number: i64) -> String {
    paging::cursor(LIST, &number, account.0)
}

/// The number in a cursor.
///
/// # Errors
/// [`Error::BadCursor`] when it is none of this account's feed.
pub fn number(account: AccountId, cursor: &str) -> Result<i64> {
    let after = paging::read_cursor::<i64>(LIST, cursor)?;
    if after.id == account.0 && after.key >= 0 { Ok(after.key) } else { Err(Error::BadCursor) }
}

/// Reads the feed after a cursor, from the oldest entry that is kept when there is none; waits for news if there are none.
///
/// # Errors
/// [`Error::CursorExpired`] when entries after the cursor are no longer kept.
pub async fn pull(
    cx: &Context,
    account: AccountId,
    filter: &ReminderFilter,
    after: Option<&str>,
    limit: Option<u32>,
    wait_s: Option<u32>,
) -> Result<Pulled> {
    let limit = limit.unwrap_or(USUAL);
    if limit == 0 || limit > MOST {
        return Err(Error::field("limit", format!("{limit} is not from 1 to {MOST}")));
    }
    let wait_s = wait_s.unwrap_or(0);
    if wait_s > LONGEST_WAIT_S {
        return Err(Error::field("wait", format!("{wait_s} is not from 0 to {LONGEST_WAIT_S} seconds")));
    }
    let start = match after {
        Some(NOW) => None,
        Some(cursor) => Some(number(account, cursor)?),
        None => Some(0),
    };
    let mut stretch = Stretch { after: start, limit };
    let deadline = tokio::time::sleep(Duration::from_secs(wait_s.into()));
    tokio::pin!(deadline);
    let mut over = wait_s == 0;
    let mut news = cx.news.subscribe();
    let mut closing = cx.closing.subscribe();
    loop {
        news.mark_unchanged();
        let read = cx.store.reminders(account, filter, stretch).await?;
        let from = stretch.after.unwrap_or(read.last);
        // A cursor beyond the end comes from a database that was since set back to an older copy.
        if after.is_some() && (from < read.forgotten || from > read.last) {
            return Err(Error::CursorExpired { kept_days: cx.kept.reminders.num_days() });
        }
        if over || !read.entries.is_empty() || *closing.borrow() {
            // What the filter left out need not be looked at again.
            let full = read.entries.len() >= limit as usize;
            let at = if full { read.entries.last().map_or(from, |entry| entry.number) } else { read.last };
            return Ok(Pulled { entries: read.entries, cursor: cursor(account, at), behind: read.last - at });
        }
        stretch.after = Some(read.last);
        tokio::select! {
            _ = news.changed() => {}
            _ = closing.changed() => {}
            () = &mut deadline => over = true,
            () = tokio::time::sleep(cx.look) => {}
        }
    }
}
