//! Reminders: a feed of what became of tasks.

use crate::{Caution, ComponentKind, DecidedBy, Duty, Reason, Window};
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// What an entry tells of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum ReminderKind {
    /// The task has entered its lead time.
    Coming,
    /// It has fallen due.
    Due,
    /// It has run late.
    Late,
    /// Its date has moved by more than is let pass.
    Moved,
    /// It was done.
    Done,
    /// It is no longer to be done: its component is out of service, or no longer has this duty.
    Withdrawn,
    /// A word of a newer service; never accepted.
    #[serde(other)]
    Unknown,
}

/// What moved a date.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum MoveCause {
    /// Rain that fell or stayed away, or days that went by without a reading.
    Rain,
    /// A visit that was logged, corrected or withdrawn.
    Finding,
    /// The facts of property, gauge, system or component, or the account's own figures.
    Settings,
    /// The calendar: a season that was missed, say.
    Calendar,
    /// A word of a newer service.
    #[serde(other)]
    Unknown,
}

/// How a date moved. The new date and window are those of the entry.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct DateMoved {
    /// The due date that was told before.
    pub from_due_on: Option<NaiveDate>,
    /// The window that was told before.
    pub from_window: Option<Window>,
    /// What moved it.
    pub cause: MoveCause,
}

/// One entry of the feed. It stays as it was written, whatever becomes of the task.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Reminder {
    /// Id of the entry; the same wherever it is read or sent.
    pub id: Uuid,
    /// Its place in the feed: 1 for the first entry, and no gap.
    pub number: i64,
    /// Cursor behind this entry: pass it as `after` to go on from here.
    pub cursor: String,
    /// When it was raised.
    pub raised_at: DateTime<Utc>,
    /// The day it was raised on, at the property.
    pub as_of: NaiveDate,
    /// What it tells of: the most pressing of `covers`.
    pub kind: ReminderKind,
    /// Everything that it tells of. More than one when several things came at once: a date that moved and is due now, or a
    /// task that is late already when it is first seen.
    pub covers: Vec<ReminderKind>,
    /// The task.
    pub task_id: Uuid,
    /// The property.
    pub property_id: Uuid,
    /// Its name.
    pub property_name: String,
    /// The system.
    pub system_id: Uuid,
    /// Its name.
    pub system_name: String,
    /// The component.
    pub component_id: Uuid,
    /// Its name.
    pub component_name: String,
    /// What the component is.
    pub component_kind: ComponentKind,
    /// What is to be done.
    pub duty: Duty,
    /// The same in words, such as `clean the debris screen`.
    pub title: String,
    /// The day it falls due; when it was done, the next time; absent when no date can be given.
    pub due_on: Option<NaiveDate>,
    /// The predicted window, where something is predicted.
    pub window: Option<Window>,
    /// What decided the date; absent when it was withdrawn.
    pub decided_by: Option<DecidedBy>,
    /// How the date moved, if it did.
    pub moved: Option<DateMoved>,
    /// The day it was done, when it was.
    pub done_on: Option<NaiveDate>,
    /// Why, a sentence each.
    pub reasons: Vec<Reason>,
    /// What to be careful of.
    pub cautions: Vec<Caution>,
    /// What to bring.
    pub bring: Vec<String>,
}

/// A stretch of the feed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct ReminderFeed {
    /// Entries, oldest first.
    pub items: Vec<Reminder>,
    /// Pass it as `after` the next time, whether there was anything or not.
    pub cursor: String,
    /// How many entries the feed holds after that cursor, those included that the filter leaves out.
    pub behind: i64,
}
