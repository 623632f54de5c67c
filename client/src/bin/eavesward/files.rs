//! Replaces files as a whole, so that a reader never finds half a file.

use std::fs::{self, OpenOptions};
use std::io::{self, ErrorKind, Write};
use std::path::{Path, PathBuf};

/// Who may read a file.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Readers {
    /// Only its owner, even if others could before: the file holds keys.
    Owner,
    /// The same people as before. A new file has the owner's usual permissions.
    AsBefore,
}

/// Replaces the text of a file, or makes the file. After a crash or on a full disk the file holds either the old or
/// the new text, never a part. This needs a folder in which a second file can be made.
///
/// A link stays a link, and its target is replaced. A pipe or device is written to directly. A read-only file
/// stays, even if its folder would allow replacing it.
pub fn replace(path: &Path, text: &str, readers: Readers) -> io::Result<()> {
    let known = match fs::metadata(path) {
        Ok(known) => {
            let mut there = OpenOptions::new().write(true).open(path)?;
            if !known.is_file() {
                return there.write_all(text.as_bytes());
            }
            Some(known)
        }
        Err(error) if error.kind() == ErrorKind::NotFound => None,
        Err(error) => return Err(error),
    };
    let path = if known.is_some() { fs::canonicalize(path)? } else { led_to(path) };
    let mut beside = path.clone().into_os_string();
    beside.push(format!(".{}.new", std::process::id()));
    let beside = PathBuf::from(beside);
    // A killed process with the same number may have left one.
    let _ = fs::remove_file(&beside);
    let mut options = OpenOptions::new();
    // Never write through a link that someone else put there.
    options.write(true).create_new(true);
    #[cfg(unix)]
    if readers == Readers::Owner {
        std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    }
    let opened = match options.open(&beside) {
        // The folder takes no new file, or none of that name. Overwrite the file itself.
        Err(error) if readers == Readers::AsBefore && !is_full(&error) => return write_over(&path, text),
        opened => opened,
    };
    let written = opened.and_then(|mut file| {
        if let (Readers::AsBefore, Some(known)) = (readers, &known) {
            file.set_permissions(known.permissions())?;
        }
        file.write_all(text.as_bytes())?;
        // Write to disk before renaming: otherwise a crash could leave an empty file.
        file.sync_all()
    });
    let done = written.and_then(|()| match fs::rename(&beside, &path) {
        // A file that is itself a mount point cannot be renamed over.
        Err(error) if readers == Readers::AsBefore && error.kind() == ErrorKind::ResourceBusy => {
            write_over(&path, text).and_then(|()| fs::remove_file(&beside))
        }
        done => done,
    });
    if done.is_err() {
        // A failed attempt may leave a file that holds keys.
        let _ = fs::remove_file(&beside);
    }
    done
}

fn is_full(error: &io::Error) -> bool {
    matches!(error.kind(), ErrorKind::StorageFull | ErrorKind::QuotaExceeded)
}

/// Overwrites a file, where there is no other way. A crash may leave a part of it.
fn write_over(path: &Path, text: &str) -> io::Result<()> {
    let mut file = fs::File::create(path)?;
    file.write_all(text.as_bytes())?;
    file.sync_all()
}

/// The target of a link that has no file yet; the path itself if it is no link.
fn led_to(path: &Path) -> PathBuf {
    match fs::read_link(path) {
        Ok(next) => led_to(&path.parent().unwrap_or(Path::new("")).join(next)),
        Err(_) => path.to_owned(),
    }
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;
    use std::io::Read as _;
    use std::os::fd::AsRawFd as _;
    use std::os::unix::fs::{MetadataExt as _, PermissionsExt as _, symlink};

    fn replaced(path: &Path, text: &str) {
        replace(path, text, Readers::AsBefore).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    }

    fn mode(path: &Path) -> u32 {
        fs::metadata(path).expect("it is there").permissions().mode() & 0o777
    }

    #[test]
    fn the_old_text_stays_whole_until_the_new_one_takes_its_place() {
        let folder = tempfile::tempdir().expect("a folder");
        let (path, other) = (folder.path().join("it"), folder.path().join("the same by another name"));
        replaced(&path, "old");
        fs::hard_link(&path, &other).expect("a second name");
        replaced(&path, "new");
        assert_eq!(fs::read_to_string(&path).expect("text"), "new");
        assert_eq!(fs::read_to_string(&other).expect("text"), "old", "it was not written over");
        assert_eq!(fs::read_dir(folder.path()).expect("it").count(), 2, "nothing is left beside it");
        // A folder instead of a file: nothing is written and nothing is left.
        assert!(replace(folder.path(), "text", Readers::AsBefore).is_err());
        assert!(replace(&folder.path().join("none/it"), "text", Readers::AsBefore).is_err());
        assert_eq!(fs::read_dir(folder.path()).expect("it").count(), 2);
    }

    #[test]
    fn where_nothing_can_be_put_beside_it_the_file_is_written_over() {
        let folder = tempfile::tempdir().expect("a folder");
        // The longest possible file name, so that the name of a second file would be too long.
        let path = folder.path().join("n".repeat(255));
        replaced(&path, "old");
        replaced(&path, "new");
        assert_eq!(fs::read_to_string(&path).expect("text"), "new");
        assert!(replace(&path, "key", Readers::Owner).is_err());
        assert_eq!(fs::read_to_string(&path).expect("text"), "new", "keys are never written by halves");
    }

    #[test]
    fn what_a_killed_process_left_is_in_nobodys_way() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("it");
        let left = folder.path().join(format!("it.{}.new", std::process::id()));
        // A link that someone else put there is not followed.
        let elsewhere = folder.path().join("elsewhere");
        fs::write(&elsewhere, "as it was").expect("a file");
        symlink(&elsewhere, &left).expect("a link");
        replaced(&path, "new");
        assert_eq!(fs::read_to_string(&elsewhere).expect("text"), "as it was");
        fs::write(&left, "half of so").expect("a file");
        replaced(&path, "newer");
        assert_eq!((fs::read_to_string(&path).expect("text").as_str(), left.exists()), ("newer", false));
    }

    #[test]
    fn those_who_could_read_it_still_can_and_keys_are_for_the_owner() {
        let folder = tempfile::tempdir().expect("a folder");
        let (path, usual) = (folder.path().join("it"), folder.path().join("usual"));
        fs::write(&usual, "").expect("a file");
        replaced(&path, "new");
        assert_eq!(mode(&path), mode(&usual), "as any new file");
        for lax in [0o644, 0o600, 0o664] {
            fs::set_permissions(&path, fs::Permissions::from_mode(lax)).expect("its owner may");
            replaced(&path, "newer");
            assert_eq!(mode(&path), lax);
        }
        replace(&path, "key", Readers::Owner).expect("written");
        assert_eq!(mode(&path), 0o600);
    }

    #[test]
    fn links_stay_and_pipes_are_written_to() {
        let folder = tempfile::tempdir().expect("a folder");
        let at = |name: &str| folder.path().join(name);
        fs::create_dir(at("far")).expect("a folder");
        symlink("far/it", at("link")).expect("a link");
        symlink("link", at("link to it")).expect("a link");
        // First the link has no target, then a file.
        for text in ["new", "newer"] {
            replaced(&at("link to it"), text);
            assert_eq!(fs::read_to_string(at("far/it")).expect("text"), text);
            assert!(at("link").is_symlink() && at("link to it").is_symlink());
        }
        symlink("round", at("round")).expect("a link");
        assert!(replace(&at("round"), "text", Readers::AsBefore).is_err());
        let (mut reader, writer) = io::pipe().expect("a pipe");
        let known = fs::metadata("/dev/null").expect("it is there").rdev();
        replaced(Path::new(&format!("/dev/fd/{}", writer.as_raw_fd())), "through");
        drop(writer);
        let mut text = String::new();
        reader.read_to_string(&mut text).expect("text");
        assert_eq!(text, "through");
        replaced(Path::new("/dev/null"), "away");
        assert_eq!(fs::metadata("/dev/null").expect("it is there").rdev(), known);
    }
}
