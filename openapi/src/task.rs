//! Tasks: what falls due.

use crate::{Accumulated, BestDay, Caution, ComponentKind, DecidedBy, Duty, Limit, Reason, Window};
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// How urgent a task is on the day it was computed for.
///
/// - `resting`: due in more than seven days, or without a date.
/// - `near`: due within seven days.
/// - `due`: the due date has come.
/// - `late`: due for more than a fortnight, or for more than a week and the late end of its window is over.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub enum TaskState {
    /// Due in more than seven days, or without a date.
    Resting,
    /// Due within seven days.
    Near,
    /// The due date has come.
    Due,
    /// Due for more than a fortnight, or for more than a week and the late end of its window is over.
    Late,
    /// A state of a newer service, which this version does not know. Requests with it are refused.
    #[serde(other)]
    Unknown,
}

/// One duty with its due date and what decided it. Today every task is a duty of one component.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema), schema(as = UpkeepTask))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Task {
    /// Id of the task; it stays the same at every refresh.
    pub id: Uuid,
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
    /// The duty to be done.
    pub duty: Duty,
    /// The duty in words, such as `clean the debris screen`.
    pub title: String,
    /// How urgent it is.
    pub state: TaskState,
    /// The day it falls due; null when no date can be given.
    pub due_on: Option<NaiveDate>,
    /// What decided the date.
    pub decided_by: DecidedBy,
    /// The day on which the longest interval ends; null where there is none.
    pub longest_interval_on: Option<NaiveDate>,
    /// The predicted window; null when nothing is predicted.
    pub window: Option<Window>,
    /// The best day for work that empties the tank, if its window begins within half a year. A forecast looks
    /// further ahead.
    pub best_day: Option<BestDay>,
    /// The day from which the accumulated figure and the longest interval count.
    pub since: NaiveDate,
    /// The accumulated figure; null where there is none.
    pub accumulated: Option<Accumulated>,
    /// The limit; null where there is none.
    pub limit: Option<Limit>,
    /// Why it falls due on this date, one sentence each.
    pub reasons: Vec<Reason>,
    /// What to be careful of.
    pub cautions: Vec<Caution>,
    /// What to bring.
    pub bring: Vec<String>,
    /// The day the task was computed for, in the property's time zone.
    pub as_of: NaiveDate,
    /// When the task was computed.
    pub refreshed_at: DateTime<Utc>,
}
