//! Tasks: what falls due, one row a component and duty.

use crate::{Accumulated, BestDay, Caution, ComponentKind, DecidedBy, Duty, Limit, Reason, Window};
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// How near a task is, on the day it was last refreshed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum TaskState {
    /// More than seven days off, or without a date.
    Resting,
    /// Due within seven days.
    Near,
    /// The due date has come.
    Due,
    /// It has been due for longer than a fortnight, or for longer than a week with the late end of its window passed.
    Late,
    /// A word of a newer service; never accepted.
    #[serde(other)]
    Unknown,
}

/// One component's duty, with its date and what decided it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Task {
    /// Id of the task; the same for as long as the component is in service.
    pub id: Uuid,
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
    /// How near it is.
    pub state: TaskState,
    /// The day it falls due; absent when no date can be given.
    pub due_on: Option<NaiveDate>,
    /// What decided the date.
    pub decided_by: DecidedBy,
    /// The longest time to leave it, as a date.
    pub ceiling_on: Option<NaiveDate>,
    /// The predicted window, where something is predicted.
    pub window: Option<Window>,
    /// The best day for it, where the work empties the tank and its window begins within half a year; a forecast looks
    /// further.
    pub best_day: Option<BestDay>,
    /// The day from which accumulated and ceiling count.
    pub since: NaiveDate,
    /// The accumulated figure, where one is kept.
    pub accumulated: Option<Accumulated>,
    /// The limit, where there is one.
    pub limit: Option<Limit>,
    /// Why this date.
    pub reasons: Vec<Reason>,
    /// What to be careful of.
    pub cautions: Vec<Caution>,
    /// What to bring.
    pub bring: Vec<String>,
    /// The local day the task was computed for.
    pub as_of: NaiveDate,
    /// When it was computed.
    pub refreshed_at: DateTime<Utc>,
}
