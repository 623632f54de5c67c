//! The file of an SQLite database: what an operator reads when it cannot be used, and whether it is still in its place.

use crate::domain::base::error::{StoreError, Stored};
use std::fs::{File, Metadata, OpenOptions};
use std::io::{ErrorKind, Read as _};
use std::os::unix::fs::MetadataExt as _;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};

/// What the operator reads when another file has taken the place of the open one.
pub(super) const REPLACED: &str = "The database file was replaced or removed while the service was running, so the \
                                   service reads and writes nothing. Stop the service, move away the files beside it \
                                   that end in -wal and -shm, and start the service again.";

/// Bytes of the header of an SQLite file.
const HEADER: usize = 100;

/// The file of an open database. Connections stay with the file that they opened, and a new connection opens the file
/// that lies in the place now. Both together would damage the new file.
#[derive(Debug)]
pub(super) struct DatabaseFile {
    path: PathBuf,
    opened: (u64, u64),
    replaced: AtomicBool,
}

fn identity(metadata: &Metadata) -> (u64, u64) {
    (metadata.dev(), metadata.ino())
}

impl DatabaseFile {
    /// The file at a path.
    pub(super) fn at(path: &Path) -> Stored<Self> {
        let found = std::fs::metadata(path).map_err(|error| StoreError::Unavailable(error.into()))?;
        Ok(Self { path: path.to_owned(), opened: identity(&found), replaced: AtomicBool::new(false) })
    }

    /// Whether another file lies in its place, or none. It stays so until the service is started again.
    pub(super) fn is_replaced(&self) -> bool {
        if self.replaced.load(Ordering::Relaxed) {
            return true;
        }
        let replaced = match std::fs::metadata(&self.path) {
            Ok(found) => identity(&found) != self.opened,
            Err(error) => error.kind() == ErrorKind::NotFound,
        };
        if replaced && !self.replaced.swap(true, Ordering::Relaxed) {
            tracing::error!(file = %self.path.display(), "{REPLACED}");
        }
        replaced
    }
}

/// Checks a file before it is opened.
pub(super) fn check(path: &Path) -> Stored<()> {
    let refused = |why: String| Err(StoreError::Failed(why.into()));
    let shown = path.display();
    match OpenOptions::new().write(true).open(path) {
        Err(error) if matches!(error.kind(), ErrorKind::PermissionDenied | ErrorKind::ReadOnlyFilesystem) => {
            return refused(read_only(path));
        }
        Err(error) if error.kind() == ErrorKind::IsADirectory => {
            return refused(format!("{shown} is a folder; name the file, as in sqlite://data/eavesward.db"));
        }
        // Opening it says the rest.
        _ => {}
    }
    let mut header = Vec::with_capacity(HEADER);
    let Ok(file) = File::open(path) else { return Ok(()) };
    let Ok(length) = file.metadata().map(|found| found.len()) else { return Ok(()) };
    if length == 0 || file.take(HEADER as u64).read_to_end(&mut header).is_err() {
        return Ok(());
    }
    if !header.starts_with(b"SQLite format 3\0") {
        return refused(format!("{shown} is not an SQLite database; check the setting database_url"));
    }
    if length < HEADER as u64 {
        return refused(cut_off(path, length, HEADER as u64));
    }
    let mut log = path.as_os_str().to_owned();
    log.push("-wal");
    let log = std::fs::metadata(log).map_or(0, |found| found.len());
    match expected(&header) {
        // The rest of a file that is shorter may lie in its log.
        Some(expected) if length < expected && log == 0 => refused(cut_off(path, length, expected)),
        _ => Ok(()),
    }
}

/// How many bytes a file has by its header, which says it as pages. `None` if the header is older than the file.
fn expected(header: &[u8]) -> Option<u64> {
    let number =
        |at: usize| -> Option<u32> { Some(u32::from_be_bytes(header.get(at..at + 4)?.try_into().ok()?)) };
    let page = u64::from(u16::from_be_bytes(header.get(16..18)?.try_into().ok()?));
    let (changes, pages, valid_for) = (number(24)?, number(28)?, number(92)?);
    // The value 1 means 65,536.
    let page = if page == 1 { 65_536 } else { page };
    (changes == valid_for).then(|| page * u64::from(pages))
}

fn cut_off(path: &Path, length: u64, expected: u64) -> String {
    format!(
        "{} is cut off: its bytes are {length} of at least {expected}; restore a backup, and keep this file until you know \
         what has happened to it",
        path.display()
    )
}

fn read_only(path: &Path) -> String {
    format!(
        "{} cannot be written; make the service's user the owner of the file and of its folder, and see whether the disk \
         is mounted read-only",
        path.display()
    )
}

/// Says what to do about an error of opening a file, if SQLite's code tells it.
pub(super) fn explained(path: &Path, error: StoreError) -> StoreError {
    let (StoreError::Failed(source) | StoreError::Unavailable(source)) = &error else { return error };
    let code = source.downcast_ref::<sqlx::Error>().and_then(sqlx::Error::as_database_error);
    let code = code.and_then(sqlx::error::DatabaseError::code).and_then(|code| code.parse::<u32>().ok());
    let shown = path.display();
    match code.map(|code| code & 0xff) {
        // READONLY, CANTOPEN.
        Some(8 | 14) => StoreError::Failed(read_only(path).into()),
        // CORRUPT, NOTADB.
        Some(11 | 26) => StoreError::Failed(
            format!("{shown} is damaged; restore a backup, and keep this file until you know what has happened to it").into(),
        ),
        _ => error,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_header_says_how_long_the_file_is() {
        let mut header = vec![0; HEADER];
        header[16..18].copy_from_slice(&4096_u16.to_be_bytes());
        header[28..32].copy_from_slice(&3_u32.to_be_bytes());
        assert_eq!(expected(&header), Some(12_288));
        header[16..18].copy_from_slice(&1_u16.to_be_bytes());
        assert_eq!(expected(&header), Some(196_608));
        header[24] = 1;
        assert_eq!((expected(&header), expected(&header[..50])), (None, None));
    }
}
