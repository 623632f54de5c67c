//! The digest: what falls due in a stretch of days, by property.

use crate::{Caution, ComponentKind, DecidedBy, Duty, Reason, TaskState, Window};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// How much there is to do.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct DigestTotals {
    /// Tasks.
    pub tasks: u64,
    /// Those that are late.
    pub late: u64,
    /// Those that are due.
    pub due: u64,
    /// Those that are near.
    pub near: u64,
    /// Those further off.
    pub resting: u64,
    /// Minutes of work on the spot, without the way there; judgement.
    pub minutes: u64,
    /// Systems with a task.
    pub systems: u64,
    /// Properties with a task.
    pub properties: u64,
}

/// One task of a digest. `GET /v1/tasks/{id}` says more of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct DigestTask {
    /// The task.
    pub task_id: Uuid,
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
    /// The same in words.
    pub title: String,
    /// How near it is.
    pub state: TaskState,
    /// The day it falls due; absent when no date can be given.
    pub due_on: Option<NaiveDate>,
    /// What decided the date.
    pub decided_by: DecidedBy,
    /// The predicted window, where something is predicted.
    pub window: Option<Window>,
    /// Minutes of work on the spot; judgement.
    pub minutes: u32,
    /// Why this date, in a sentence.
    pub why: Option<Reason>,
    /// Its hazards; the digest has the cautions.
    pub hazards: Vec<crate::Hazard>,
}

/// The tasks of one property, by due date.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct DigestProperty {
    /// The property.
    pub property_id: Uuid,
    /// Its name.
    pub property_name: String,
    /// How much there is to do here, as far as it is listed.
    pub totals: DigestTotals,
    /// What to bring here, each thing once.
    pub bring: Vec<String>,
    /// The tasks.
    pub tasks: Vec<DigestTask>,
}

/// What falls due in a stretch of days: one list for a trip.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Digest {
    /// First day; absent when everything that is due already belongs to it.
    pub from: Option<NaiveDate>,
    /// Last day.
    pub to: Option<NaiveDate>,
    /// How much there is to do, what is left out included.
    pub totals: DigestTotals,
    /// Tasks that are listed.
    pub listed: u64,
    /// Tasks that are not listed, because a digest has room for 2,000: those with the latest dates.
    pub left_out: u64,
    /// How to see what is left out.
    pub note: Option<String>,
    /// What to bring for everything that is listed, each thing once.
    pub bring: Vec<String>,
    /// What to be careful of in everything that is listed, each hazard once.
    pub cautions: Vec<Caution>,
    /// The properties, the one with the earliest date first.
    pub properties: Vec<DigestProperty>,
}
