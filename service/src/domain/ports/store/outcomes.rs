//! What became of a guarded write.

use crate::domain::base::ids::{RoundId, TaskId};

/// What became of a guarded update.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Updated {
    /// It was made, and the version counted up by one.
    Done,
    /// There is no such row in this account.
    Missing,
    /// The caller saw an older version; nothing was changed.
    Stale {
        /// The current version.
        current: i64,
    },
}

/// What became of a guarded removal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Deleted {
    /// It is gone.
    Done,
    /// There is no such row in this account.
    Missing,
    /// The caller saw an older version; nothing was removed.
    Stale {
        /// The current version.
        current: i64,
    },
    /// Systems still refer to it; nothing was removed.
    InUse {
        /// How many.
        systems: i64,
    },
}

/// What became of a round that was to be kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Inserted {
    /// It is kept, now or from an earlier attempt.
    Done,
    /// A task of it stands in another round that is planned; nothing was kept.
    Taken {
        /// The task.
        task_id: TaskId,
        /// That round.
        round_id: RoundId,
    },
}

/// What became of a round that was to be called off.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CalledOff {
    /// It is gone.
    Done,
    /// There is no such round in this account.
    Missing,
    /// The caller saw an older version; nothing was changed.
    Stale {
        /// The current version.
        current: i64,
    },
    /// It was done already; nothing was changed.
    WasDone,
}

/// What became of a round that was to be reported as done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Finished {
    /// Its visits are logged, and it is done.
    Done,
    /// There is no such round in this account.
    Missing,
    /// It was done before, by somebody faster; nothing was changed.
    Before,
    /// A visit did one of its tasks since it was read; nothing was changed.
    Moved,
}
