//! The files of a run.

use anyhow::Result;
use std::path::{Path, PathBuf};

/// A folder that is removed when this value is dropped.
pub struct Folder(PathBuf);

impl Folder {
    /// Makes a new folder among the machine's temporary files.
    pub fn new() -> Result<Self> {
        let path = std::env::temp_dir().join(format!("eavesward-fleet-{}", std::process::id()));
        std::fs::create_dir_all(&path)?;
        Ok(Self(path))
    }

    /// The path of a file in the folder.
    pub fn file(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// The database URL of a SQLite file.
pub fn url(file: &Path) -> String {
    format!("sqlite://{}", file.display())
}

/// The size of a file, MB.
pub fn megabytes(file: &Path) -> Result<u64> {
    Ok(std::fs::metadata(file)?.len() / 1_000_000)
}
