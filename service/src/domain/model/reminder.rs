//! Reminders: the entries of an account's feed, and what was last reported about a task.

use crate::domain::base::ids::{
    AccountId, ComponentId, FIRST_GENERATION, PropertyId, ReminderId, SystemId, TaskId, VisitId,
};
use crate::domain::base::words::words;
use crate::domain::model::duty::{DecidedBy, Duty};
use crate::domain::model::forecast::Window;
use crate::domain::model::hazard::Hazard;
use crate::domain::model::part::Kind;
use crate::domain::model::reason::Reason;
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};

words! {
    /// What an entry reports.
    ReminderKind {
        /// The task has entered its lead time.
        Coming "coming",
        /// It has fallen due.
        Due "due",
        /// It has become late.
        Late "late",
        /// Its date has moved by more than the allowed days.
        Moved "moved",
        /// It was done.
        Done "done",
        /// It no longer has to be done.
        Withdrawn "withdrawn",
    }
}

impl ReminderKind {
    /// A bit for each kind, so that the kinds of an entry fit in one number.
    pub const fn bit(self) -> i64 {
        1 << self as u8
    }
}

words! {
    /// What moved a date.
    Cause {
        /// Rain that fell or did not fall, or days that passed without a reading.
        Rain "rain",
        /// A visit that was logged, corrected or withdrawn.
        Finding "finding",
        /// The facts of property, rain gauge, system or component, or the account's own figures.
        Settings "settings",
        /// The calendar, such as a season that was missed.
        Calendar "calendar",
    }
}

words! {
    /// How far a task has advanced.
    Stage {
        /// Within its lead time.
        Coming "coming",
        /// Due.
        Due "due",
        /// Late.
        Late "late",
    }
}

impl Stage {
    /// The kind of entry that announces it.
    pub const fn kind(self) -> ReminderKind {
        match self {
            Self::Coming => ReminderKind::Coming,
            Self::Due => ReminderKind::Due,
            Self::Late => ReminderKind::Late,
        }
    }
}

/// Fingerprints of what a forecast is made from, apart from the rain.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Fingerprints {
    /// Of the visits.
    pub visits: i64,
    /// Of everything that was set.
    pub settings: i64,
}

/// What was last reported about a task since it was last done.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct LastReminder {
    /// The stage that was reported; absent if the task had left its lead time again.
    pub stage: Option<Stage>,
    /// The due date.
    pub due_on: Option<NaiveDate>,
    /// The window.
    pub window: Option<Window>,
    /// Whether the date was predicted from an accumulated figure.
    pub predicted: bool,
    /// Whether the last move that was reported was to a later date; absent before the first move.
    pub later: Option<bool>,
    /// How often the date has since changed direction.
    pub turns: u32,
    /// What the forecast was made from.
    pub basis: Fingerprints,
}

/// A visit that did a task, and its day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DoneByVisit {
    /// The visit.
    pub visit: VisitId,
    /// The day.
    pub on: NaiveDate,
}

/// What a task's readers know.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ReminderState {
    /// The day from which the accumulated figure and the longest interval counted; absent for a new task.
    pub since: Option<NaiveDate>,
    /// The due date that was found last.
    pub due_on: Option<NaiveDate>,
    /// The last visit that was reported to have done the task.
    pub done: Option<DoneByVisit>,
    /// What was reported since then; absent for most tasks most of the time.
    pub told: Option<LastReminder>,
}

/// How a date moved.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Moved {
    /// The due date that was reported before.
    pub from_due_on: Option<NaiveDate>,
    /// The window that was reported before.
    pub from_window: Option<Window>,
    /// What moved it.
    pub cause: Cause,
}

/// One entry of an account's feed. It stays as written, whatever happens to the task later.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Reminder {
    /// Its place in the feed, from 1 without gaps; 0 until it is appended.
    #[serde(skip)]
    pub number: i64,
    /// The generation of the feed in which it was appended.
    #[serde(default = "first_generation", skip_serializing_if = "is_first_generation")]
    pub generation: i64,
    /// The generation of the feed from which it was read.
    #[serde(skip)]
    pub feed_generation: i64,
    /// When it was raised.
    pub raised_at: DateTime<Utc>,
    /// The local day it was raised on.
    pub as_of: NaiveDate,
    /// The most urgent of its kinds.
    pub kind: ReminderKind,
    /// Everything that it reports.
    pub covers: Vec<ReminderKind>,
    /// The task.
    pub task_id: TaskId,
    /// The property.
    pub property_id: PropertyId,
    /// The property's name at the time.
    pub property_name: String,
    /// The system.
    pub system_id: SystemId,
    /// The system's name at the time.
    pub system_name: String,
    /// The component.
    pub component_id: ComponentId,
    /// The component's name at the time.
    pub component_name: String,
    /// What the component is.
    pub component_kind: Kind,
    /// The duty.
    pub duty: Duty,
    /// The day on which it falls due; for a done task, the next time.
    pub due_on: Option<NaiveDate>,
    /// The window.
    pub window: Option<Window>,
    /// What decided the date.
    pub decided_by: Option<DecidedBy>,
    /// How the date moved.
    pub moved: Option<Moved>,
    /// The day it was done.
    pub done_on: Option<NaiveDate>,
    /// Why this date, one sentence each.
    pub reasons: Vec<Reason>,
    /// What to be careful of.
    pub hazards: Vec<Hazard>,
}

impl Reminder {
    /// Its id. It is computed, so that it is the same wherever the entry is read or sent.
    pub fn id(&self, account: AccountId) -> ReminderId {
        ReminderId::of(account, self.generation, self.number)
    }

    /// All its kinds as one number.
    pub fn bits(&self) -> i64 {
        bits(&self.covers)
    }
}

fn first_generation() -> i64 {
    FIRST_GENERATION
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde passes a reference")]
fn is_first_generation(generation: &i64) -> bool {
    *generation == FIRST_GENERATION
}

/// Several kinds as one number.
pub fn bits(kinds: &[ReminderKind]) -> i64 {
    kinds.iter().fold(0, |bits, kind| bits | kind.bit())
}

/// A task whose row is removed because the task no longer exists.
#[derive(Clone, Debug)]
pub struct RemovedTask {
    /// The task.
    pub task_id: TaskId,
    /// The component.
    pub component_id: ComponentId,
    /// The component's name.
    pub component_name: String,
    /// What the component is.
    pub kind: Kind,
    /// The duty.
    pub duty: Duty,
    /// The last visit that was reported to have done the task.
    pub done: Option<DoneByVisit>,
}

/// Which entries to read.
#[derive(Clone, Debug, Default)]
pub struct ReminderFilter {
    /// Those at this property.
    pub property_id: Option<PropertyId>,
    /// Those of this system.
    pub system_id: Option<SystemId>,
    /// Entries that report one of these kinds; all if empty.
    pub kinds: Vec<ReminderKind>,
}

/// Which part of a feed to read.
#[derive(Clone, Copy, Debug)]
pub struct FeedRange {
    /// The number of the last entry that was read; 0 for none. If absent, reading starts at the end.
    pub after: Option<i64>,
    /// How many entries.
    pub limit: u32,
}

/// A part of a feed, read in one consistent state.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FeedPage {
    /// Entries, oldest first, at most as many as asked for.
    pub entries: Vec<Reminder>,
    /// The number of the last entry of the feed.
    pub last: i64,
    /// The number of the last entry that was deleted because of its age.
    pub forgotten: i64,
    /// Which generation of the feed it is. A restored backup begins another one.
    pub generation: i64,
}

/// What a reader received.
#[derive(Clone, Debug)]
pub struct PulledReminders {
    /// Entries, oldest first.
    pub entries: Vec<Reminder>,
    /// Where to continue, even if there were no entries.
    pub cursor: String,
    /// How many entries the feed has after that cursor, including those that the filter leaves out.
    pub behind: i64,
}
