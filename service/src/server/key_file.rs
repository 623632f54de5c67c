//! Writes a new key into a file instead of printing it.

use anyhow::{Context as _, Result, bail};
use std::fs::{File, OpenOptions};
use std::io::{ErrorKind, Write as _};
use std::path::{Path, PathBuf};

/// A file that was made for a new key. If it is dropped before [`KeyFile::keep`], it is removed: its key does not count.
#[derive(Debug)]
pub struct KeyFile {
    path: PathBuf,
    kept: bool,
}

impl KeyFile {
    /// Makes the file, readable by its owner alone, and writes the secret. It is on disk when this returns. A file that is
    /// there already is left as it is.
    ///
    /// # Errors
    /// If the file is there, or cannot be written. It says what to do.
    pub fn write(path: &Path, secret: &str) -> Result<Self> {
        let mut options = OpenOptions::new();
        options.write(true).create_new(true);
        #[cfg(unix)]
        std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
        let shown = path.display();
        let mut file = match options.open(path) {
            Ok(file) => file,
            Err(error) if error.kind() == ErrorKind::AlreadyExists => bail!(
                "no key was made: {shown} is there already, and may hold a key. Move it away, or give another path with --key-file."
            ),
            Err(error) => {
                return Err(error).with_context(|| {
                    format!("no key was made: {shown} cannot be made. Give a path with --key-file that can be written.")
                });
            }
        };
        let made = Self { path: path.to_owned(), kept: false };
        let written =
            writeln!(file, "{secret}").and_then(|()| file.sync_all()).and_then(|()| sync_folder(path));
        written.with_context(|| {
            format!("no key was made: {shown} cannot be written. Make space there, or give another path with --key-file.")
        })?;
        Ok(made)
    }

    /// Leaves the file where it is: its key counts.
    pub fn keep(mut self) -> PathBuf {
        self.kept = true;
        self.path.clone()
    }
}

impl Drop for KeyFile {
    fn drop(&mut self) {
        if !self.kept
            && let Err(error) = std::fs::remove_file(&self.path)
        {
            tracing::warn!(%error, path = %self.path.display(), "a key that does not count could not be removed");
        }
    }
}

/// Writes the folder's list of files to the disk, so that the file is found after a power cut.
fn sync_folder(path: &Path) -> std::io::Result<()> {
    let parent = path.parent().filter(|parent| !parent.as_os_str().is_empty());
    File::open(parent.unwrap_or(Path::new(".")))?.sync_all()
}
