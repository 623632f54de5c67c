//! Reads the reminders' feed after a cursor, and waits for new entries.

use crate::domain::base::bounds::Bounds;
use crate::domain::base::error::{Error, Result};
use crate::domain::base::ids::AccountId;
use crate::domain::base::paging;
use crate::domain::base::paging::{DEFAULT_ROWS, MAX_ROWS};
use crate::domain::context::Context;
use crate::domain::model::reminder::{FeedRange, PulledReminders, ReminderFilter};
use std::time::Duration;

/// The longest wait for new entries, seconds. Judgement: proxies close a connection that is silent for a minute.
pub const LONGEST_WAIT_S: u32 = 30;

/// Seconds of waiting that a caller may ask for.
pub const WAIT_S: Bounds = Bounds::of(0.0, LONGEST_WAIT_S as f64);

/// The word that means the end of the feed, in place of a cursor.
pub const NOW: &str = "now";

/// The list's name in a cursor, which marks it as one of the feed.
const LIST: &str = "reminders";

/// The cursor that follows an entry of an account's feed.
pub fn cursor(account: AccountId, number: i64) -> String {
    paging::cursor(LIST, &number, account.0)
}

/// The number in a cursor.
///
/// # Errors
/// [`Error::BadCursor`] if the cursor is not one of this account's feed.
pub fn number(account: AccountId, cursor: &str) -> Result<i64> {
    let after = paging::read_cursor::<i64>(LIST, cursor)?;
    if after.id == account.0 && after.key >= 0 { Ok(after.key) } else { Err(Error::BadCursor) }
}

/// Reads the feed after a cursor, or from the oldest stored entry if there is no cursor. If there are no new
/// entries, it waits for some.
///
/// # Errors
/// [`Error::CursorExpired`] if entries after the cursor are no longer stored.
pub async fn pull(
    cx: &Context,
    account: AccountId,
    filter: &ReminderFilter,
    after: Option<&str>,
    limit: Option<u32>,
    wait_s: Option<u32>,
) -> Result<PulledReminders> {
    let limit = limit.unwrap_or(DEFAULT_ROWS);
    if limit == 0 || limit > MAX_ROWS {
        return Err(Error::field("limit", format!("{limit} is not from 1 to {MAX_ROWS}")));
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
    let mut stretch = FeedRange { after: start, limit };
    let deadline = tokio::time::sleep(Duration::from_secs(wait_s.into()));
    tokio::pin!(deadline);
    let mut over = wait_s == 0;
    let mut written = cx.written.subscribe();
    let mut closing = cx.closing.subscribe();
    loop {
        written.mark_unchanged();
        let read = cx.store.reminders(account, filter, stretch).await?;
        let from = stretch.after.unwrap_or(read.last);
        // A cursor beyond the end was made before the database was restored from an older copy.
        if after.is_some() && (from < read.forgotten || from > read.last) {
            return Err(Error::CursorExpired { kept_days: cx.retention.reminders.num_days() });
        }
        if over || !read.entries.is_empty() || *closing.borrow() {
            // The cursor also passes entries that the filter left out.
            let full = read.entries.len() >= limit as usize;
            let at = if full { read.entries.last().map_or(from, |entry| entry.number) } else { read.last };
            return Ok(PulledReminders {
                entries: read.entries,
                cursor: cursor(account, at),
                behind: read.last - at,
            });
        }
        stretch.after = Some(read.last);
        tokio::select! {
            _ = written.changed() => {}
            _ = closing.changed() => {}
            () = &mut deadline => over = true,
            () = tokio::time::sleep(cx.poll_interval) => {}
        }
    }
}
