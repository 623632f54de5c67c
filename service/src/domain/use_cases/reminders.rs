//! Reads the reminders' feed after a cursor, and waits for new entries.

use crate::domain::base::bounds::Bounds;
use crate::domain::base::error::{Error, Result};
use crate::domain::base::ids::{AccountId, FIRST_GENERATION};
use crate::domain::base::paging;
use crate::domain::base::paging::{DEFAULT_ROWS, MAX_ROWS, SortKey};
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

/// A place in a feed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FeedPlace {
    /// The generation of the feed.
    pub generation: i64,
    /// The number of the entry.
    pub number: i64,
}

/// In the first generation a cursor holds the number alone, as it did before there were others.
impl SortKey for FeedPlace {
    fn write(&self) -> String {
        match self.generation {
            FIRST_GENERATION => self.number.to_string(),
            generation => format!("{generation}.{}", self.number),
        }
    }

    fn read(text: &str) -> Option<Self> {
        let first = FIRST_GENERATION.to_string();
        let (generation, number) = text.split_once('.').unwrap_or((&first, text));
        Some(Self { generation: generation.parse().ok()?, number: number.parse().ok()? })
    }
}

/// The cursor that follows an entry of an account's feed.
pub fn cursor(account: AccountId, place: FeedPlace) -> String {
    paging::cursor(LIST, &place, account.0)
}

/// The place in a cursor.
///
/// # Errors
/// [`Error::BadCursor`] if the cursor is not one of this account's feed.
pub fn place(account: AccountId, cursor: &str) -> Result<FeedPlace> {
    let after = paging::read_cursor::<FeedPlace>(LIST, cursor)?;
    if after.id == account.0 && after.key.number >= 0 { Ok(after.key) } else { Err(Error::BadCursor) }
}

/// Refuses a longer wait than one request may have.
///
/// # Errors
/// The field `wait`.
pub fn check_wait(wait_s: u32) -> Result<()> {
    if wait_s > LONGEST_WAIT_S {
        return Err(Error::field("wait", format!("{wait_s} is not from 0 to {LONGEST_WAIT_S} seconds")));
    }
    Ok(())
}

/// Reads the feed after a cursor, or from the oldest stored entry if there is no cursor. If there are no new
/// entries, it waits for some.
///
/// # Errors
/// [`Error::CursorExpired`] if entries after the cursor are no longer stored, and [`Error::FeedRestored`] if the cursor was
/// given before a backup was restored.
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
    check_wait(wait_s)?;
    let given = after.filter(|after| *after != NOW).map(|cursor| place(account, cursor)).transpose()?;
    let start = match (given, after) {
        (Some(place), _) => Some(place.number),
        (None, Some(_)) => None,
        (None, None) => Some(0),
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
        if given.is_some_and(|place| place.generation != read.generation) || from > read.last {
            return Err(Error::FeedRestored);
        }
        if after.is_some() && from < read.forgotten {
            return Err(Error::CursorExpired { kept_days: cx.retention.reminders.num_days() });
        }
        if over || !read.entries.is_empty() || *closing.borrow() {
            // The cursor also passes entries that the filter left out.
            let full = read.entries.len() >= limit as usize;
            let at = if full { read.entries.last().map_or(from, |entry| entry.number) } else { read.last };
            return Ok(PulledReminders {
                entries: read.entries,
                cursor: cursor(account, FeedPlace { generation: read.generation, number: at }),
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
