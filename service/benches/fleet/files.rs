//! The files of a run.

use anyhow::Result;
use std::path::{Path, PathBuf};

/// A folder that goes when it is dropped.
pub struct Folder(PathBuf);

impl Folder {
    /// Makes it.
    pub fn new() -> Result<Self> {
        let path = std::env::temp_dir().join(format!("eavesward-fleet-{}", std::process::id()));
        std::fs::create_dir_all(&path)?;
        Ok(Self(path))
    }

    /// The path of a file in it.
    pub fn file(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// What a connection to a SQLite file is opened by.
pub fn url(file: &Path) -> String {
    format!("sqlite://{}", file.display())
}

/// How large a file is.
pub fn megabytes(file: &Path) -> Result<u64> {
    Ok(std::fs::metadata(file)?.len() / 1_000_000)
}
