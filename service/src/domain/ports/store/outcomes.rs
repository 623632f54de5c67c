//! Results of writes that depend on a version or a state.

use crate::domain::base::ids::{RoundId, TaskId};

/// The result of an update that depends on the version.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Updated {
    /// It was made, and the version went up by one.
    Done,
    /// The account has no such row.
    Missing,
    /// The caller's version is older; nothing was changed.
    Stale {
        /// The current version.
        current: i64,
    },
}

/// The result of a removal that depends on the version.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Deleted {
    /// It was removed.
    Done,
    /// The account has no such row.
    Missing,
    /// The caller's version is older; nothing was removed.
    Stale {
        /// The current version.
        current: i64,
    },
    /// Systems still use it; nothing was removed.
    InUse {
        /// How many systems.
        systems: i64,
    },
}

/// The result of keeping a round.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Inserted {
    /// It is kept, by this or an earlier attempt.
    Done,
    /// Another planned round already has one of its tasks; nothing was kept.
    Taken {
        /// The task.
        task_id: TaskId,
        /// That round.
        round_id: RoundId,
    },
}

/// The result of calling a round off.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cancelled {
    /// It was removed.
    Done,
    /// The account has no such round.
    Missing,
    /// The caller's version is older; nothing was changed.
    Stale {
        /// The current version.
        current: i64,
    },
    /// It was already done; nothing was changed.
    WasDone,
}

/// The result of reporting a round as done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Finished {
    /// Its visits are logged, and it is done.
    Done,
    /// The account has no such round.
    Missing,
    /// Another report was faster; nothing was changed.
    Before,
    /// A visit has done one of its tasks since the round was read; nothing was changed.
    Moved,
}
