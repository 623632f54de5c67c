//! The digest: tasks that fall due in a range of days, by property.

use crate::{Caution, ComponentKind, DecidedBy, Duty, Reason, TaskState, Window};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// How much there is to do.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct DigestTotals {
    /// Number of tasks.
    pub tasks: u64,
    /// Tasks that are late.
    pub late: u64,
    /// Tasks that are due.
    pub due: u64,
    /// Tasks that fall due within seven days.
    pub near: u64,
    /// Tasks that fall due later, or have no date.
    pub resting: u64,
    /// Minutes of work on the spot, without the way there. All of them are judgement.
    pub minutes: u64,
    /// Number of systems with a task.
    pub systems: u64,
    /// Number of properties with a task.
    pub properties: u64,
}

/// One task of a digest. `GET /v1/tasks/{id}` gives the whole task.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct DigestTask {
    /// The task.
    pub task_id: Uuid,
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
    /// The predicted window; null when nothing is predicted.
    pub window: Option<Window>,
    /// Minutes of work on the spot. Judgement.
    pub minutes: u32,
    /// Why it falls due on this date, in one sentence.
    pub why: Option<Reason>,
    /// Its hazards. What to do about them is in the `cautions` of the digest.
    pub hazards: Vec<crate::Hazard>,
}

/// The tasks of one property, by due date.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct DigestProperty {
    /// The property; null for the tasks of no single property.
    pub property_id: Option<Uuid>,
    /// The property's name.
    pub property_name: Option<String>,
    /// How much there is to do here. Only listed tasks count.
    pub totals: DigestTotals,
    /// What to bring here, each thing once.
    pub bring: Vec<String>,
    /// The tasks.
    pub tasks: Vec<DigestTask>,
}

/// Tasks that fall due in a range of days: one list for a trip.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Digest {
    /// First day; null when the digest includes everything that is already due.
    pub from: Option<NaiveDate>,
    /// Last day; null when the digest has no end.
    pub to: Option<NaiveDate>,
    /// How much there is to do, including the tasks that are left out.
    pub totals: DigestTotals,
    /// Number of tasks listed.
    pub listed: u64,
    /// Number of tasks left out. A digest lists at most 2,000 tasks, those with the earliest dates.
    pub left_out: u64,
    /// How to see the tasks that are left out; null when there are none.
    pub note: Option<String>,
    /// What to bring for all listed tasks, each thing once.
    pub bring: Vec<String>,
    /// What to be careful of in all listed tasks, each hazard once.
    pub cautions: Vec<Caution>,
    /// The properties, beginning with the one that has the earliest date.
    pub properties: Vec<DigestProperty>,
}
