//! Where an SQLite file is.

use sqlx_sqlite::SqliteConnectOptions;
use std::path::{Path, PathBuf, absolute};
use std::str::FromStr as _;

/// The absolute path of the SQLite file of this URL, if connecting would make it. `None` for PostgreSQL, for a file that
/// is there, and for a URL that connecting refuses.
pub fn missing_file(url: &str) -> Option<PathBuf> {
    let options = url.starts_with("sqlite:").then(|| SqliteConnectOptions::from_str(url).ok()).flatten()?;
    let path: &Path = options.get_filename();
    let refused = path.as_os_str().is_empty() || url.contains(":memory:") || url.contains("mode=memory");
    (!refused && !path.exists()).then(|| absolute(path).unwrap_or_else(|_| path.to_owned()))
}
