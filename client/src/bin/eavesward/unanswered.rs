//! Idempotency keys of commands whose outcome is not known, one file each, so that the same command run again goes on
//! under the same key.

use eavesward_client::{KeptKeys, Request};
use std::collections::HashMap;
use std::fs::{self, File, OpenOptions};
use std::io::{self, Read as _, Seek as _, Write as _};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};
use std::time::Duration;
use uuid::Uuid;

/// How long a key is used again. The service knows it for 24 hours; the hour is for clocks that differ.
const KEPT_HOURS: u64 = 23;
const KEPT: Duration = Duration::from_secs(KEPT_HOURS * 3600);

/// This POST changes nothing, so its outcome matters to no later run.
const STATELESS: &str = "/v1/forecast";

/// The keys of one service and bearer key, in a folder.
pub struct Unanswered {
    folder: PathBuf,
    /// What tells the same request to another service or account apart.
    account: String,
    open: Mutex<Open>,
}

#[derive(Default)]
struct Open {
    /// Files by the key that they hold. Each is locked, so that a second run at the same time takes a key of its own.
    files: HashMap<String, (PathBuf, File)>,
    /// Whether a key of an earlier run was used.
    went_on: bool,
}

impl Unanswered {
    /// Keeps keys in this folder.
    pub fn new(folder: PathBuf, url: &str, key: &str) -> Self {
        Self { folder, account: format!("{}\n{key}\n", url.trim_end_matches('/')), open: Mutex::default() }
    }

    /// Whether this run went on where an earlier one had ended.
    pub fn went_on(&self) -> bool {
        self.open.lock().unwrap_or_else(PoisonError::into_inner).went_on
    }

    /// Whether keys are kept that no answer settled: the same command run again goes on with them.
    pub fn is_waiting(&self) -> bool {
        !self.open.lock().unwrap_or_else(PoisonError::into_inner).files.is_empty()
    }

    fn path(&self, request: &Request) -> PathBuf {
        let mut all = self.account.clone().into_bytes();
        all.extend(format!("{} {} {:?}\n", request.method(), request.path(), request.query_pairs()).bytes());
        all.extend(request.body().map(|body| body.bytes.as_slice()).unwrap_or_default());
        // A name that tells nothing of the request.
        self.folder.join(Uuid::new_v5(&Uuid::NAMESPACE_OID, &all).to_string())
    }

    /// Removes what nobody came back for.
    fn remove_old(&self) {
        for entry in fs::read_dir(&self.folder).into_iter().flatten().flatten() {
            let age =
                entry.metadata().and_then(|known| known.modified()).ok().and_then(|at| at.elapsed().ok());
            if age.is_some_and(|age| age >= KEPT) {
                let _ = fs::remove_file(entry.path());
            }
        }
    }

    /// The key in this file if it is fresh, otherwise the new one, which is then in the file. `None` if another run
    /// holds the file.
    fn take(path: &Path, new: &str) -> io::Result<Option<(File, String)>> {
        let mut file = OpenOptions::new().read(true).write(true).create(true).truncate(false).open(path)?;
        if file.try_lock().is_err() {
            return Ok(None);
        }
        let mut key = String::new();
        file.read_to_string(&mut key)?;
        let known = file.metadata()?;
        let fresh = known.modified()?.elapsed().is_ok_and(|age| age < KEPT);
        if fresh && Uuid::parse_str(&key).is_ok() {
            return Ok(Some((file, key)));
        }
        file.set_len(0)?;
        file.rewind()?;
        file.write_all(new.as_bytes())?;
        file.sync_all()?;
        Ok(Some((file, new.to_owned())))
    }
}

impl KeptKeys for Unanswered {
    fn begin(&self, request: &Request, new: String) -> String {
        if request.path() == STATELESS {
            return new;
        }
        let path = self.path(request);
        self.remove_old();
        // Without a place to keep keys the command works as without this.
        let taken = fs::create_dir_all(&self.folder).and_then(|()| Self::take(&path, &new));
        let Ok(Some((file, key))) = taken else { return new };
        let mut open = self.open.lock().unwrap_or_else(PoisonError::into_inner);
        open.went_on |= key != new;
        open.files.insert(key.clone(), (path, file));
        key
    }

    fn settle(&self, key: &str) {
        let mut open = self.open.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((path, file)) = open.files.remove(key) {
            // Emptied first: a run that has just opened the file must not find the key.
            let _ = file.set_len(0);
            let _ = fs::remove_file(path);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn log(body: &str) -> Request {
        Request::new(eavesward_client::reqwest::Method::POST, "/v1/visits").csv(body)
    }

    fn id(number: u128) -> String {
        Uuid::from_u128(number).to_string()
    }

    #[test]
    fn a_key_is_kept_until_its_outcome_is_known() {
        let folder = tempfile::tempdir().expect("a folder");
        let run = |url: &str| Unanswered::new(folder.path().join("new"), url, "key");
        let (first, key) = (run("http://a"), id(1));
        assert_eq!(first.begin(&log("x"), key.clone()), key);
        assert!(first.is_waiting() && !first.went_on());
        // While it runs, the same command is another one.
        let (meanwhile, other) = (run("http://a"), id(2));
        assert_eq!(meanwhile.begin(&log("x"), other.clone()), other);
        assert!(!meanwhile.is_waiting());
        drop(first);
        for (again, request, goes_on) in [
            (run("http://b"), log("x"), false),
            (run("http://a"), log("y"), false),
            (run("http://a/"), log("x"), true),
        ] {
            let own = id(3);
            assert_eq!(again.begin(&request, own.clone()), if goes_on { key.clone() } else { own });
            assert_eq!(again.went_on(), goes_on);
            again.settle(&key);
        }
        let (last, own) = (run("http://a"), id(2));
        assert_eq!(last.begin(&log("x"), own.clone()), own, "the outcome was known");
    }

    #[test]
    fn an_old_key_is_not_used_again() {
        let folder = tempfile::tempdir().expect("a folder");
        let run = || Unanswered::new(folder.path().to_owned(), "http://a", "key");
        assert_eq!(run().begin(&log("x"), id(1)), id(1));
        let file = File::options().write(true).open(run().path(&log("x"))).expect("its file");
        let written = file.metadata().and_then(|known| known.modified()).expect("its age");
        file.set_modified(written - KEPT).expect("its age");
        assert_eq!(run().begin(&log("x"), id(2)), id(2));
        assert_eq!(run().begin(&log("x"), id(3)), id(2), "its age counts from its own run");
    }
}
