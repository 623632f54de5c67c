//! Keyset pages: a cursor says where a list goes on.

use crate::domain::base::bounds::Bounds;
use crate::domain::base::error::{Error, Result};
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

/// The most rows of a page.
pub const MAX_ROWS: u32 = 500;

/// Rows that a caller may ask for in one page.
pub const ROWS: Bounds = Bounds::of(1.0, MAX_ROWS as f64);

/// Rows of a page if the caller does not say.
pub const DEFAULT_ROWS: u32 = 100;

/// The last row of the page before. The next page has the rows after it in the order of `(key, id)`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct After<K> {
    /// The sort key of that row.
    pub key: K,
    /// Its id, which breaks ties.
    pub id: Uuid,
}

/// Which page is asked for.
#[derive(Clone, Debug)]
pub struct PageRequest<K> {
    /// Where to go on; from the start when absent.
    pub after: Option<After<K>>,
    /// How many rows, 1 to [`MAX_ROWS`].
    pub limit: u32,
}

/// One page.
#[derive(Clone, Debug)]
pub struct ListPage<T> {
    /// The rows.
    pub items: Vec<T>,
    /// Where the next page begins, if there is one.
    pub next: Option<String>,
}

/// A value that lists are sorted by.
pub trait SortKey: Sized + Clone {
    /// Writes it so that [`SortKey::read`] gives it back.
    fn write(&self) -> String;
    /// Reads it.
    fn read(text: &str) -> Option<Self>;
}

impl SortKey for NaiveDate {
    fn write(&self) -> String {
        self.to_string()
    }
    fn read(text: &str) -> Option<Self> {
        text.parse().ok()
    }
}

impl SortKey for DateTime<Utc> {
    fn write(&self) -> String {
        self.timestamp_micros().to_string()
    }
    fn read(text: &str) -> Option<Self> {
        DateTime::from_timestamp_micros(text.parse().ok()?)
    }
}

impl SortKey for String {
    fn write(&self) -> String {
        self.clone()
    }
    fn read(text: &str) -> Option<Self> {
        // No name has a zero character, and PostgreSQL fails on one instead of finding nothing.
        (!text.contains('\0')).then(|| text.to_owned())
    }
}

impl SortKey for i64 {
    fn write(&self) -> String {
        self.to_string()
    }
    fn read(text: &str) -> Option<Self> {
        text.parse().ok()
    }
}

/// Makes the opaque cursor of a row. `list` names the list, so that the cursor of another list is refused.
pub fn cursor<K: SortKey>(list: &str, key: &K, id: Uuid) -> String {
    URL_SAFE_NO_PAD.encode(format!("{list}\n{id}\n{}", key.write()))
}

/// Reads a cursor.
///
/// [`Error::BadCursor`] if it was not made by [`cursor`] for this list.
/// [`Error::BadCursor`] when it was not made by [`cursor`] for this list.
pub fn read_cursor<K: SortKey>(list: &str, text: &str) -> Result<After<K>> {
    let bytes = URL_SAFE_NO_PAD.decode(text).map_err(|_| Error::BadCursor)?;
    let text = String::from_utf8(bytes).map_err(|_| Error::BadCursor)?;
    let mut parts = text.splitn(3, '\n');
    let (Some(of), Some(id), Some(key)) = (parts.next(), parts.next(), parts.next()) else {
        return Err(Error::BadCursor);
    };
    let id = Uuid::parse_str(id).map_err(|_| Error::BadCursor)?;
    match K::read(key) {
        Some(key) if of == list => Ok(After { key, id }),
        _ => Err(Error::BadCursor),
    }
}

impl<K: SortKey> PageRequest<K> {
    /// Reads what a caller asked for.
    ///
    /// # Errors
    /// If the limit is out of range, or the cursor is not one of this list.
    pub fn read(list: &str, cursor: Option<&str>, limit: Option<u32>) -> Result<Self> {
        Self::read_with_max(list, cursor, limit, MAX_ROWS)
    }

    /// The same for a list whose rows are large, so that a page has fewer of them. `max_rows` is both the limit and
    /// the default.
    ///
    /// # Errors
    /// As [`PageRequest::read`].
    pub fn read_with_max(
        list: &str,
        cursor: Option<&str>,
        limit: Option<u32>,
        max_rows: u32,
    ) -> Result<Self> {
        let limit = limit.unwrap_or(DEFAULT_ROWS.min(max_rows));
        if limit == 0 || limit > max_rows {
            return Err(Error::field("limit", format!("{limit} is not from 1 to {max_rows}")));
        }
        Ok(Self { after: cursor.map(|text| read_cursor(list, text)).transpose()?, limit })
    }

    /// How many rows to read: one more than asked for, to see whether another page follows.
    pub fn rows(&self) -> i64 {
        i64::from(self.limit) + 1
    }

    /// Cuts the extra row off and makes the cursor.
    pub fn page<T>(&self, list: &str, mut rows: Vec<T>, place: impl Fn(&T) -> (K, Uuid)) -> ListPage<T> {
        let most = self.limit as usize;
        let more = rows.len() > most;
        rows.truncate(most);
        let next = rows.last().filter(|_| more).map(|row| {
            let (key, id) = place(row);
            cursor(list, &key, id)
        });
        ListPage { items: rows, next }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cursor_comes_back_and_belongs_to_its_list() {
        let id = Uuid::from_u128(7);
        let day = NaiveDate::from_ymd_opt(2026, 2, 3).unwrap();
        let text = cursor("tasks", &day, id);
        assert_eq!(read_cursor::<NaiveDate>("tasks", &text).unwrap(), After { key: day, id });
        assert!(read_cursor::<NaiveDate>("visits", &text).is_err());
        assert!(read_cursor::<NaiveDate>("tasks", "not a cursor").is_err());
        let name = "a\nname".to_owned();
        let text = cursor("properties", &name, id);
        assert_eq!(read_cursor::<String>("properties", &text).unwrap().key, name);
    }
}
