//! Reminders: entries of an account's feed, and what was last told of a task.

use crate::domain::base::ids::{AccountId, ComponentId, PropertyId, ReminderId, SystemId, TaskId, VisitId};
use crate::domain::base::words::words;
use crate::domain::model::duty::{DecidedBy, Duty};
use crate::domain::model::forecast::Window;
use crate::domain::model::hazard::Hazard;
use crate::domain::model::part::Kind;
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};

words! {
    /// What an entry tells of.
    ReminderKind {
        /// The task has entered its lead time.
        Coming "coming",
        /// It has fallen due.
        Due "due",
        /// It has run late.
        Late "late",
        /// Its date has moved by more than is let pass.
        Moved "moved",
        /// It was done.
        Done "done",
        /// It is no longer to be done.
        Withdrawn "withdrawn",
    }
}

impl ReminderKind {
    /// A bit of its own, so that what an entry tells of is one number.
    pub const fn bit(self) -> i64 {
        1 << self as u8
    }
}

words! {
    /// What moved a date.
    Cause {
        /// Rain that fell or stayed away, or the days that go by without a reading.
        Rain "rain",
        /// A visit that was logged, corrected or withdrawn.
        Finding "finding",
        /// The facts of property, gauge, system or component, or the account's own figures.
        Settings "settings",
        /// The calendar: a season that was missed, say.
        Calendar "calendar",
    }
}

words! {
    /// How far a task has come.
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

/// Fingerprints of what a forecast is made from, but for the rain.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Fingerprints {
    /// Of the visits.
    pub visits: i64,
    /// Of everything that was set.
    pub settings: i64,
}

/// What was last told of a task since it was last done.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct LastReminder {
    /// How far it had come; absent when it had moved out of its lead time again.
    pub stage: Option<Stage>,
    /// The due date.
    pub due_on: Option<NaiveDate>,
    /// The window.
    pub window: Option<Window>,
    /// Whether the date was predicted from an accumulated amount.
    pub predicted: bool,
    /// Whether the last move that was told was to a later date; absent before the first.
    pub later: Option<bool>,
    /// How often the date turned back after such a move.
    pub turns: u32,
    /// What it was made from.
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

/// Where a task stands with its readers.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ReminderState {
    /// The day from which accumulated amount and ceiling counted; absent for a task that was never seen.
    pub since: Option<NaiveDate>,
    /// The due date that was found last.
    pub due_on: Option<NaiveDate>,
    /// The visit of which it was told last that it did the task.
    pub done: Option<DoneByVisit>,
    /// What was told since then; nothing for most tasks at most times.
    pub told: Option<LastReminder>,
}

/// How a date moved.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Moved {
    /// The due date that was told before.
    pub from_due_on: Option<NaiveDate>,
    /// The window that was told before.
    pub from_window: Option<Window>,
    /// What moved it.
    pub cause: Cause,
}

/// One entry of an account's feed. It stays as it was written, whatever becomes of the task.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Reminder {
    /// Its place in the feed: 1 for the first entry, and no gap. 0 until it is appended.
    #[serde(skip)]
    pub number: i64,
    /// When it was raised.
    pub raised_at: DateTime<Utc>,
    /// The local day it was raised on.
    pub as_of: NaiveDate,
    /// The most pressing of what it tells of.
    pub kind: ReminderKind,
    /// Everything that it tells of.
    pub covers: Vec<ReminderKind>,
    /// The task.
    pub task_id: TaskId,
    /// The property.
    pub property_id: PropertyId,
    /// Its name then.
    pub property_name: String,
    /// The system.
    pub system_id: SystemId,
    /// Its name then.
    pub system_name: String,
    /// The component.
    pub component_id: ComponentId,
    /// Its name then.
    pub component_name: String,
    /// What the component is.
    pub component_kind: Kind,
    /// The duty.
    pub duty: Duty,
    /// The day it falls due; when it was done, the next time.
    pub due_on: Option<NaiveDate>,
    /// The window.
    pub window: Option<Window>,
    /// What decided the date.
    pub decided_by: Option<DecidedBy>,
    /// How the date moved.
    pub moved: Option<Moved>,
    /// The day it was done.
    pub done_on: Option<NaiveDate>,
    /// Why this date, a sentence each.
    pub reasons: Vec<String>,
    /// What to be careful of.
    pub hazards: Vec<Hazard>,
}

impl Reminder {
    /// Its id: computed, so that it is the same wherever it is read or sent.
    pub fn id(&self, account: AccountId) -> ReminderId {
        ReminderId::of(account, self.number)
    }

    /// What it tells of, as one number.
    pub fn bits(&self) -> i64 {
        bits(&self.covers)
    }
}

/// Several kinds as one number.
pub fn bits(kinds: &[ReminderKind]) -> i64 {
    kinds.iter().fold(0, |bits, kind| bits | kind.bit())
}

/// A task whose row is removed.
#[derive(Clone, Debug)]
pub struct RemovedTask {
    /// The task.
    pub task_id: TaskId,
    /// The component.
    pub component_id: ComponentId,
    /// Its name.
    pub component_name: String,
    /// What it is.
    pub kind: Kind,
    /// The duty.
    pub duty: Duty,
    /// The visit of which it was told last that it did the task.
    pub done: Option<DoneByVisit>,
}

/// Which entries to read.
#[derive(Clone, Debug, Default)]
pub struct ReminderFilter {
    /// Those at this property.
    pub property_id: Option<PropertyId>,
    /// Those of this system.
    pub system_id: Option<SystemId>,
    /// Those that tell of one of these; all when empty.
    pub kinds: Vec<ReminderKind>,
}

/// What of a feed to read.
#[derive(Clone, Copy, Debug)]
pub struct FeedRange {
    /// The number of the last entry that was read; 0 for none. Absent: from the end.
    pub after: Option<i64>,
    /// How many entries.
    pub limit: u32,
}

/// A stretch of a feed, read from one state of it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FeedPage {
    /// Entries, oldest first, at most as many as asked for.
    pub entries: Vec<Reminder>,
    /// The number of the last entry of the feed.
    pub last: i64,
    /// The number of the last entry that is no longer kept.
    pub forgotten: i64,
}

/// What a reader pulled.
#[derive(Clone, Debug)]
pub struct PulledReminders {
    /// Entries, oldest first.
    pub entries: Vec<Reminder>,
    /// Where to go on, whether there was anything or not.
    pub cursor: String,
    /// How many entries the feed holds after that cursor, those that the filter leaves out included.
    pub behind: i64,
}
