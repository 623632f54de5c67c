//! Status: a system in a few lines, for polling.

use crate::{Duty, TaskState};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// A duty that comes next.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct NextDuty {
    /// The task.
    pub task_id: Uuid,
    /// The component's name.
    pub component_name: String,
    /// What is to be done.
    pub duty: Duty,
    /// The same in words.
    pub title: String,
    /// How near it is.
    pub state: TaskState,
    /// The day it falls due.
    pub due_on: NaiveDate,
}

/// Runoff since a component was last served.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct RunoffSince {
    /// The component's name.
    pub component_name: String,
    /// The duty that was done.
    pub duty: Duty,
    /// The day it was done, or the part was put in.
    pub since: NaiveDate,
    /// Runoff since then in mm, days without a reading left out.
    pub runoff_mm: f64,
}

/// A system in a few lines: less than 2,000 bytes as JSON, whatever its names and however many its parts.
///
/// Names that would make it longer end in `…`; if that is not enough, entries are left out from the ends of
/// `since_served` and then of `next`. `abridged` says so, and `GET /v1/tasks?system_id=` has all of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct SystemStatus {
    /// The system.
    pub system_id: Uuid,
    /// Its name.
    pub system_name: String,
    /// The local day the status stands for.
    pub as_of: NaiveDate,
    /// The most pressing state among its tasks.
    pub state: TaskState,
    /// The next five duties.
    pub next: Vec<NextDuty>,
    /// Last day with a rain reading.
    pub rain_through: Option<NaiveDate>,
    /// Runoff of the last 7 days in mm, days without a reading left out.
    pub runoff_7_days_mm: f64,
    /// The same in litres off this roof.
    pub runoff_7_days_l: f64,
    /// Runoff of the last 30 days in mm.
    pub runoff_30_days_mm: f64,
    /// The same in litres off this roof.
    pub runoff_30_days_l: f64,
    /// Days without a reading among the last 30.
    pub unread_of_30_days: u32,
    /// Runoff since each duty that follows it was last done, the most urgent first; six at most.
    pub since_served: Vec<RunoffSince>,
    /// Whether names were shortened or entries left out to keep this small; absent when not.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    #[cfg_attr(feature = "openapi", schema(required = false))]
    pub abridged: bool,
}
