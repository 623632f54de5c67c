//! Sorts the database's errors by what a caller can do about them.

use crate::domain::base::error::{StoreError, Stored};

/// What kind of failure an error is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    /// The database cannot be reached, is overloaded, or ended one of two conflicting transactions. Trying again may
    /// help.
    Passing,
    /// The disk has no space left.
    Full,
    /// The disk failed.
    Disk,
    Other,
}

fn kind(error: &sqlx::Error) -> Kind {
    match error {
        sqlx::Error::Io(_)
        | sqlx::Error::Tls(_)
        | sqlx::Error::PoolTimedOut
        | sqlx::Error::PoolClosed
        | sqlx::Error::WorkerCrashed => Kind::Passing,
        sqlx::Error::Database(error) => error.code().map_or(Kind::Other, |code| kind_of_code(&code)),
        _ => Kind::Other,
    }
}

/// Reads an error code. SQLite's codes are decimal numbers; the lowest byte is the kind. PostgreSQL's codes
/// have five characters; the first two are the class.
fn kind_of_code(code: &str) -> Kind {
    if code.len() == 5 {
        return match (code.get(..2).unwrap_or_default(), code) {
            // Disk full.
            (_, "53100") => Kind::Full,
            // Errors outside of PostgreSQL, such as those of files.
            ("58", _) => Kind::Disk,
            // Classes: connection, resources, operator intervention. Codes: read-only standby, lock not
            // available, conflict.
            ("08" | "53" | "57", _) | (_, "25006" | "55P03") => Kind::Passing,
            _ if is_serialization_failure(code) => Kind::Passing,
            _ => Kind::Other,
        };
    }
    match code.parse::<u32>().map(|code| code & 0xff) {
        // BUSY, LOCKED.
        Ok(5 | 6) => Kind::Passing,
        // FULL.
        Ok(13) => Kind::Full,
        // IOERR, CANTOPEN.
        Ok(10 | 14) => Kind::Disk,
        _ => Kind::Other,
    }
}

/// Serialization failure or deadlock: the transaction left no trace and can run again at once.
fn is_serialization_failure(code: &str) -> bool {
    matches!(code, "40001" | "40P01")
}

/// Whether the transaction can run again at once.
pub(super) fn can_rerun(error: &StoreError) -> bool {
    let StoreError::Unavailable(source) = error else { return false };
    let Some(sqlx::Error::Database(error)) = source.downcast_ref::<sqlx::Error>() else { return false };
    error.code().is_some_and(|code| is_serialization_failure(&code))
}

/// Whether a unique index refused the row: another row has the same value.
pub(super) fn is_taken(error: &StoreError) -> bool {
    let StoreError::Failed(source) = error else { return false };
    let source = source.downcast_ref::<sqlx::Error>().and_then(sqlx::Error::as_database_error);
    source.is_some_and(sqlx::error::DatabaseError::is_unique_violation)
}

/// Turns an error of the driver into one of the domain's kinds.
pub(super) fn failed(error: sqlx::Error) -> StoreError {
    let dangling =
        error.as_database_error().is_some_and(sqlx::error::DatabaseError::is_foreign_key_violation);
    match kind(&error) {
        Kind::Passing => StoreError::Unavailable(error.into()),
        Kind::Full => StoreError::Full(error.into()),
        Kind::Disk => StoreError::Disk(error.into()),
        Kind::Other if dangling => StoreError::Dangling(error.into()),
        Kind::Other => StoreError::Failed(error.into()),
    }
}

/// A failure of our own.
pub(super) fn failed_because(reason: &'static str) -> StoreError {
    StoreError::Failed(reason.into())
}

/// A column that cannot be read.
pub(super) fn bad(table: &'static str, column: &'static str, row: &impl ToString) -> StoreError {
    StoreError::BadRow { table, column, row: row.to_string() }
}

/// Reads a column of JSON text.
pub(super) fn from_json<T: serde::de::DeserializeOwned>(
    text: &str,
    table: &'static str,
    column: &'static str,
    row: &impl ToString,
) -> Stored<T> {
    serde_json::from_str(text).map_err(|_| bad(table, column, row))
}

/// Writes a column of JSON text.
pub(super) fn to_json<T: serde::Serialize>(value: &T) -> Stored<String> {
    serde_json::to_string(value).map_err(|error| StoreError::Failed(error.into()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_are_sorted_by_what_helps() {
        for (kind, codes) in [
            (
                Kind::Passing,
                &["5", "6", "261", "517", "08006", "53300", "57P01", "40001", "40P01", "55P03", "25006"][..],
            ),
            (Kind::Full, &["13", "53100"]),
            (Kind::Disk, &["10", "778", "1034", "4874", "14", "58030", "58P01"]),
            (Kind::Other, &["1", "19", "2067", "23505", "22P02", "42601"]),
        ] {
            for code in codes {
                assert_eq!(kind_of_code(code), kind, "{code}");
            }
        }
        assert!(matches!(failed(sqlx::Error::PoolTimedOut), StoreError::Unavailable(_)));
        assert!(matches!(failed(sqlx::Error::RowNotFound), StoreError::Failed(_)));
    }
}
