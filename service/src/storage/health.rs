//! Whether the database takes writes: what the last ones met, and a small one where none was made for a while.

use crate::domain::base::error::{StoreError, Stored};
use chrono::{DateTime, TimeDelta, Utc};
use std::sync::{Mutex, MutexGuard, PoisonError};

/// A write that worked this lately says enough.
const LATELY: TimeDelta = TimeDelta::seconds(10);

/// While writes fail, one is tried this often at most.
const TRY_EVERY: TimeDelta = TimeDelta::seconds(1);

/// Why writes fail.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Trouble {
    Full,
    Disk,
    NoAnswer,
}

impl Trouble {
    fn of(error: &StoreError) -> Option<Self> {
        match error {
            StoreError::Full(_) => Some(Self::Full),
            StoreError::Disk(_) => Some(Self::Disk),
            StoreError::NoAnswer(_) => Some(Self::NoAnswer),
            _ => None,
        }
    }

    fn error(self) -> StoreError {
        let known = "the last write failed, and none has worked since";
        match self {
            Self::Full => StoreError::Full(known.into()),
            Self::Disk => StoreError::Disk(known.into()),
            Self::NoAnswer => StoreError::NoAnswer(known.into()),
        }
    }
}

#[derive(Default)]
struct Known {
    trouble: Option<Trouble>,
    /// Whether a write worked since the last look.
    worked: bool,
    /// The look that last found so.
    worked_at: Option<DateTime<Utc>>,
    /// When one was last made to see.
    tried_at: Option<DateTime<Utc>>,
}

/// What the writes of this process met.
#[derive(Default)]
pub(super) struct WriteHealth {
    known: Mutex<Known>,
    /// Held by the one look that asks the database. The others wait for it.
    look: tokio::sync::Mutex<()>,
}

impl WriteHealth {
    /// Waits until no other look is taken.
    pub(super) async fn look(&self) -> tokio::sync::MutexGuard<'_, ()> {
        self.look.lock().await
    }

    /// Notes that something was written.
    pub(super) fn note_success(&self) {
        let mut known = self.lock();
        known.trouble = None;
        known.worked = true;
    }

    /// Notes why a write failed, if that concerns other writes too.
    pub(super) fn note_failure(&self, error: &StoreError) {
        if let Some(trouble) = Trouble::of(error) {
            self.lock().trouble = Some(trouble);
        }
    }

    /// Whether writes work, as far as that is known. `None` if it takes one to know: it is noted as made now.
    pub(super) fn known(&self, now: DateTime<Utc>) -> Option<Stored<()>> {
        let mut known = self.lock();
        if std::mem::take(&mut known.worked) {
            known.worked_at = Some(now);
        }
        // A clock that was set back makes a look too many, never one too few.
        let within = |at: Option<DateTime<Utc>>, span| {
            at.is_some_and(|at| (TimeDelta::zero()..span).contains(&(now - at)))
        };
        let answer = match known.trouble {
            None => within(known.worked_at, LATELY).then_some(Ok(())),
            Some(trouble) => within(known.tried_at, TRY_EVERY).then(|| Err(trouble.error())),
        };
        if answer.is_none() {
            known.tried_at = Some(now);
        }
        answer
    }

    /// What the last write met that told anything.
    pub(super) fn last(&self) -> Stored<()> {
        self.lock().trouble.map_or(Ok(()), |trouble| Err(trouble.error()))
    }

    fn lock(&self) -> MutexGuard<'_, Known> {
        self.known.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_write_is_made_only_where_none_told_lately() {
        let at = |seconds| DateTime::UNIX_EPOCH + TimeDelta::seconds(seconds);
        let health = WriteHealth::default();
        assert!(health.known(at(0)).is_none(), "nothing was written yet");
        health.note_success();
        assert!(matches!(health.known(at(100)), Some(Ok(()))));
        assert!(matches!(health.known(at(109)), Some(Ok(()))));
        assert!(health.known(at(110)).is_none());
        health.note_failure(&StoreError::Unavailable("busy".into()));
        health.note_success();
        health.note_failure(&StoreError::Full("full".into()));
        assert!(health.known(at(120)).is_none(), "the first look after a failure makes a write");
        assert!(matches!(health.known(at(120)), Some(Err(StoreError::Full(_)))));
        assert!(matches!(health.last(), Err(StoreError::Full(_))));
        assert!(health.known(at(121)).is_none());
        health.note_success();
        assert!(matches!(health.known(at(121)), Some(Ok(()))));
        assert!(health.known(at(-5)).is_none(), "the clock was set back");
    }
}
