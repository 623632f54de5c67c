//! Reminders: a feed of what happens to tasks.

use crate::{Caution, ComponentKind, DecidedBy, Duty, Reason, Window};
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// What an entry reports.
///
/// - `coming`: the task has entered its lead time.
/// - `due`: it has fallen due.
/// - `late`: it has become late.
/// - `moved`: its date has moved by more than the allowed days.
/// - `done`: it was done.
/// - `withdrawn`: it no longer has to be done.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub enum ReminderKind {
    /// The task has entered its lead time.
    Coming,
    /// It has fallen due.
    Due,
    /// It has become late.
    Late,
    /// Its date has moved by more than the allowed days.
    Moved,
    /// It was done.
    Done,
    /// It no longer has to be done: its component is out of service, or no longer has this duty.
    Withdrawn,
    /// A kind of a newer service, which this version does not know. Requests with it are refused.
    #[serde(other)]
    Unknown,
}

/// What moved a date.
///
/// - `rain`: rain that fell or did not fall, or days that passed without a reading.
/// - `finding`: a visit that was logged, corrected or withdrawn.
/// - `settings`: the facts of the property, rain gauge, system or component, or the account's own figures.
/// - `calendar`: the calendar, such as a season that was missed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub enum MoveCause {
    /// Rain that fell or did not fall, or days that passed without a reading.
    Rain,
    /// A visit that was logged, corrected or withdrawn.
    Finding,
    /// The facts of the property, rain gauge, system or component, or the account's own figures.
    Settings,
    /// The calendar, such as a season that was missed.
    Calendar,
    /// A cause of a newer service, which this version does not know.
    #[serde(other)]
    Unknown,
}

/// How a date moved. The entry itself has the new date and window.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct DateMoved {
    /// The due date that was reported before.
    pub from_due_on: Option<NaiveDate>,
    /// The window that was reported before.
    pub from_window: Option<Window>,
    /// What moved it.
    pub cause: MoveCause,
}

/// One entry of the feed. It never changes, whatever happens to the task later.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Reminder {
    /// Id of the entry, the same wherever it is read or sent.
    pub id: Uuid,
    /// Place of the entry in the feed, from 1 without gaps.
    pub number: i64,
    /// Send it as `after` to get the entries after this one.
    pub cursor: String,
    /// When the entry was made.
    pub raised_at: DateTime<Utc>,
    /// The day on which the entry was made, in the property's time zone.
    pub as_of: NaiveDate,
    /// What it reports: the most urgent of `covers`.
    pub kind: ReminderKind,
    /// Everything that it reports. There can be several kinds, such as when a date moves to today, or when a task
    /// is already late when it is first found.
    pub covers: Vec<ReminderKind>,
    /// The task; null for an entry about no single task.
    pub task_id: Option<Uuid>,
    /// The property; null for a task of no single property.
    pub property_id: Option<Uuid>,
    /// The property's name.
    pub property_name: Option<String>,
    /// The system; null for a task of no single system.
    pub system_id: Option<Uuid>,
    /// The system's name.
    pub system_name: Option<String>,
    /// The component; null for a task of no single component.
    pub component_id: Option<Uuid>,
    /// The component's name.
    pub component_name: Option<String>,
    /// What the component is.
    pub component_kind: Option<ComponentKind>,
    /// The duty to be done; null for an entry about no single task.
    pub duty: Option<Duty>,
    /// The duty in words, such as `clean the debris screen`; null for an entry about no single task.
    pub title: Option<String>,
    /// The day it falls due; after it was done, the next time. Null when no date can be given.
    pub due_on: Option<NaiveDate>,
    /// The predicted window; null when nothing is predicted.
    pub window: Option<Window>,
    /// What decided the date; null when the task was withdrawn.
    pub decided_by: Option<DecidedBy>,
    /// How the date moved, if it did.
    pub moved: Option<DateMoved>,
    /// The day it was done; null when it was not.
    pub done_on: Option<NaiveDate>,
    /// Why it falls due on this date, one sentence each.
    pub reasons: Vec<Reason>,
    /// What to be careful of.
    pub cautions: Vec<Caution>,
    /// What to bring.
    pub bring: Vec<String>,
}

/// One answer of the feed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct ReminderFeed {
    /// Entries, oldest first.
    pub items: Vec<Reminder>,
    /// Send it as `after` in the next request, even if there were no entries.
    pub cursor: String,
    /// How many entries the feed has after that cursor, including those that the filter leaves out.
    pub behind: i64,
}
