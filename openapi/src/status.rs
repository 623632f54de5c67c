//! Status: a short summary of a system, for polling.

use crate::{Duty, TaskState};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// One of the next duties.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct NextDuty {
    /// The task.
    pub task_id: Uuid,
    /// The component's name; null for a task of no single component.
    pub component_name: Option<String>,
    /// The duty to be done.
    pub duty: Duty,
    /// The duty in words, such as `clean the debris screen`.
    pub title: String,
    /// How urgent it is.
    pub state: TaskState,
    /// The day it falls due.
    pub due_on: NaiveDate,
}

/// Runoff since a component was last served.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct RunoffSince {
    /// The task of the same component and duty; null if it is not known yet, until the next refresh.
    pub task_id: Option<Uuid>,
    /// The component's name; null for a duty of no single component.
    pub component_name: Option<String>,
    /// The duty that was done.
    pub duty: Duty,
    /// The day it was done, or the day the part was installed.
    pub since: NaiveDate,
    /// Runoff since then in mm, without the days that have no reading: litres from the roofs that feed the component,
    /// over their plan area.
    pub runoff_mm: f64,
}

/// A short summary of a system: less than 2,000 bytes as JSON, with any names and any number of parts.
///
/// Names that would make it longer are cut and end in `…`. If that is not enough, the last entries of
/// `since_served` are left out, and then those of `next`. `abridged` says so, and `GET /v1/tasks?system_id=` has
/// everything.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct SystemStatus {
    /// The system.
    pub system_id: Uuid,
    /// The system's name.
    pub system_name: String,
    /// The day of the status, in the property's time zone.
    pub as_of: NaiveDate,
    /// The most urgent state of its tasks.
    pub state: TaskState,
    /// The next duties, at most five.
    pub next: Vec<NextDuty>,
    /// Last day with a rain reading.
    pub rain_through: Option<NaiveDate>,
    /// Runoff of the last 7 days in mm, without the days that have no reading: the litres of all roofs over the plan
    /// area of all roofs.
    pub runoff_7_days_mm: f64,
    /// Runoff of the last 7 days in litres, from all roofs of the system.
    pub runoff_7_days_l: f64,
    /// Runoff of the last 30 days in mm, without the days that have no reading: the litres of all roofs over the plan
    /// area of all roofs.
    pub runoff_30_days_mm: f64,
    /// Runoff of the last 30 days in litres, from all roofs of the system.
    pub runoff_30_days_l: f64,
    /// Number of days without a reading among the last 30.
    pub unread_of_30_days: u32,
    /// Runoff since each duty that follows it was last done, beginning with the most urgent; at most six.
    pub since_served: Vec<RunoffSince>,
    /// Whether names were cut or entries left out to keep it small; absent when not.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    #[cfg_attr(feature = "openapi", schema(required = false))]
    pub abridged: bool,
}
