//! Rounds: tasks combined into trips.

use crate::setters::setters;
use crate::{Caution, ComponentKind, Duty, Finding, Reason, Visit};
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// The figures that a proposal was made with. Costs can be in any unit: only their ratios matter.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct RoundFigures {
    /// Cost of a trip, to any number of properties.
    pub trip_cost: f64,
    /// Cost of each property of a trip after the first.
    pub stop_cost: f64,
    /// Cost of each day that a task is done before its `aim_on`.
    pub cost_per_day_early: f64,
    /// Cost of each day that a task is done after its `aim_on`.
    pub cost_per_day_late: f64,
    /// The most minutes of work in a trip, without the way there.
    pub most_minutes: u32,
    /// The greatest distance between any two properties of a trip, in km along the great circle. With 0 each
    /// property has its own trips.
    pub nearby_km: f64,
    /// Names of the figures that are defaults. All defaults are judgement.
    pub judgement: Vec<String>,
}

/// Costs of rounds by cause, in the unit of the figures.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct RoundCosts {
    /// Cost of the trips.
    pub trips: f64,
    /// Cost of the properties after the first of each trip.
    pub stops: f64,
    /// Cost of the days early.
    pub early: f64,
    /// Cost of the days late.
    pub late: f64,
}

/// A task in a round, and when it may be done.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct RoundTask {
    /// The task.
    pub task_id: Uuid,
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
    /// The day it falls due.
    pub due_on: Option<NaiveDate>,
    /// The first day it may be done on. This is the early date of its window or, if earlier, the end of the third
    /// quarter of its interval. The interval runs from when it was last done to its due date. Draining for frost
    /// may be done a fortnight before its day, a restart never before its day.
    pub earliest_on: NaiveDate,
    /// The best day: its due date, or the best day for emptying a tank. If that day is before the plan, it is the
    /// first day of the plan. Days early and late count from here.
    pub aim_on: NaiveDate,
    /// The last day it should be done on: the last before it counts as late, a week to a fortnight after its due
    /// date. A task that was due before the plan has at least a week from the first day of the plan.
    ///
    /// If the longest interval ends earlier, but not before the plan, its end counts. This holds if the interval is
    /// the account's own, or if the duty protects water quality or people.
    pub latest_on: NaiveDate,
    /// Whether the round is before `earliest_on` or after `latest_on`, by at most a week, because no day between
    /// them is a working day. Draining for frost is never after.
    pub outside: bool,
    /// Days before `aim_on`; 0 if it is not early.
    pub days_early: i64,
    /// Days after `aim_on`; 0 if it is not late.
    pub days_late: i64,
    /// Minutes of work on the spot. Judgement.
    pub minutes: u32,
}

/// A proposed trip: what to do on one day.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct ProposedRound {
    /// The day.
    pub on: NaiveDate,
    /// Number of properties that it goes to.
    pub properties: u32,
    /// Its tasks, by property and system.
    pub tasks: Vec<RoundTask>,
    /// Minutes of work on the spot. Judgement.
    pub minutes: u64,
    /// Whether that is more than `most_minutes`, because one task alone takes longer.
    pub over_most_minutes: bool,
    /// What to bring, each thing once.
    pub bring: Vec<String>,
    /// What to be careful of, each hazard once.
    pub cautions: Vec<Caution>,
    /// What it costs.
    pub costs: RoundCosts,
    /// Why this day, one sentence each.
    pub reasons: Vec<Reason>,
    /// Tasks of these properties that fall due after the plan but may already be done, as far as the trip has room.
    /// They are optional and cost nothing here.
    pub may_join: Vec<RoundTask>,
}

/// A task for which the plan has no day.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct UnplacedTask {
    /// The task.
    pub task_id: Uuid,
    /// The property's name.
    pub property_name: Option<String>,
    /// The system's name.
    pub system_name: Option<String>,
    /// The component's name.
    pub component_name: Option<String>,
    /// The duty to be done.
    pub duty: Duty,
    /// The day it falls due.
    pub due_on: Option<NaiveDate>,
    /// Why there is no day, and what to do about it.
    pub why: Reason,
}

/// A planned round that was neither reported nor cancelled, although its day is over.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct OverdueRound {
    /// The round.
    pub id: Uuid,
    /// The day it was planned for.
    pub on: NaiveDate,
    /// Number of its tasks that are still to be done.
    pub tasks: u32,
    /// What to do about it.
    pub advice: Reason,
}

/// Tasks combined into few trips. A proposal is not stored.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct RoundProposal {
    /// The first day of the plan.
    pub from: NaiveDate,
    /// The last day of the plan.
    pub to: NaiveDate,
    /// The figures that it was made with.
    pub figures: RoundFigures,
    /// The trips, by day. A task that is due by `to` is in one of them or in `unplaced`. Without `include_planned`,
    /// tasks of planned rounds whose day is not over are left out, and `already_planned` counts them. A task counts
    /// as due on its `aim_on`.
    pub rounds: Vec<ProposedRound>,
    /// Tasks for which the plan has no day.
    pub unplaced: Vec<UnplacedTask>,
    /// Cost of all rounds: the sum of `costs`.
    pub cost: f64,
    /// Cost of all rounds by cause.
    pub costs: RoundCosts,
    /// A cost that no plan can be below.
    pub lower_bound: f64,
    /// Whether `cost` equals `lower_bound`, so that no plan costs less.
    pub proven: bool,
    /// Number of tasks left out because a planned round has them and its day is not over.
    pub already_planned: u32,
    /// All planned rounds of the account whose day is over at their properties, by day, if a task of theirs is
    /// still to be done. The proposal contains their tasks again. These tasks cannot be kept in another round until
    /// these rounds are reported or cancelled.
    pub overdue_rounds: Vec<OverdueRound>,
    /// Whether more tasks could join a round than were considered.
    pub more_may_join: bool,
}

/// A request to keep a round, which is then planned.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct RoundRequest {
    /// The day of the round.
    pub on: NaiveDate,
    /// Its tasks: 1 to 500, each once.
    pub task_ids: Vec<Uuid>,
    /// A free note, up to 4,000 characters.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

impl RoundRequest {
    /// A day and the tasks that are to be done then.
    pub fn new(on: NaiveDate, task_ids: impl Into<Vec<Uuid>>) -> Self {
        Self { on, task_ids: task_ids.into(), note: None }
    }
}

setters! { RoundRequest {} texts { note } }

/// State of a kept round.
///
/// - `planned`: a person intends to go.
/// - `done`: its visits are logged.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub enum RoundState {
    /// A person intends to go.
    Planned,
    /// Its visits are logged.
    Done,
    /// A state of a newer service, which this version does not know. Requests with it are refused.
    #[serde(other)]
    Unknown,
}

/// A task of a kept round.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct KeptTask {
    /// The task.
    pub task_id: Uuid,
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
    /// The day it was due when the round was kept.
    pub due_on: Option<NaiveDate>,
    /// Minutes of work on the spot. Judgement.
    pub minutes: u32,
    /// The visit that did it: a visit of the round, or one logged since the round was kept.
    pub visit_id: Option<Uuid>,
    /// Whether a visit outside the round did it since the round was kept. Then the round neither logs nor counts
    /// the task.
    pub done_elsewhere: bool,
    /// Whether it was skipped when the round was done.
    pub skipped: bool,
    /// Why it was skipped.
    pub skipped_because: Option<String>,
}

/// A kept round.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Round {
    /// Id of the round.
    pub id: Uuid,
    /// The day it is planned for.
    pub on: NaiveDate,
    /// State of the round.
    pub state: RoundState,
    /// A free note.
    pub note: Option<String>,
    /// Its tasks, by property and system.
    pub tasks: Vec<KeptTask>,
    /// Minutes of work on the spot, without tasks done elsewhere. Judgement.
    pub minutes: u64,
    /// What to bring, each thing once.
    pub bring: Vec<String>,
    /// What to be careful of, each hazard once.
    pub cautions: Vec<Caution>,
    /// The day it was done; null while it is planned.
    pub done_on: Option<NaiveDate>,
    /// When it was reported as done.
    pub done_at: Option<DateTime<Utc>>,
    /// Version, to be sent in `If-Match` with a change; 1 when the round was kept.
    pub version: i64,
    /// When it was kept.
    pub created_at: DateTime<Utc>,
    /// When it was last changed.
    pub updated_at: DateTime<Utc>,
}

/// What is reported about one task of a round.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct RoundItem {
    /// The task.
    pub task_id: Uuid,
    /// Whether it was done; `true` when absent. If it was not done, it was only inspected: give a finding, and the
    /// accumulated figure continues.
    #[serde(default = "yes")]
    pub done: bool,
    /// What was found before any work.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub finding: Option<Finding>,
    /// How full a partial cleaning left it, as a share of the limit from 0 to under 1. The same rules apply as in a
    /// visit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub left_fraction: Option<f64>,
    /// Whether it was or probably was cleaned since the last logged service, on a day that was not recorded;
    /// `false` when absent.
    #[serde(default)]
    pub cleaned_meanwhile: bool,
    /// A free note, up to 4,000 characters.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

const fn yes() -> bool {
    true
}

impl RoundItem {
    /// A task that was done, without further details.
    pub const fn done(task_id: Uuid) -> Self {
        let (finding, left_fraction, note) = (None, None, None);
        Self { task_id, done: true, finding, left_fraction, cleaned_meanwhile: false, note }
    }

    /// A task that was inspected but not done, with the finding.
    pub fn looked(task_id: Uuid, finding: Finding) -> Self {
        Self { done: false, ..Self::done(task_id).finding(finding) }
    }
}

setters! {
    RoundItem { finding: Option<Finding>, left_fraction: Option<f64>, cleaned_meanwhile: bool } texts { note }
}

/// A task of a round that was skipped. Another round can have it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct SkippedTask {
    /// The task.
    pub task_id: Uuid,
    /// Why it was skipped, up to 4,000 characters.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub because: Option<String>,
}

impl SkippedTask {
    /// A task that was skipped, without a reason.
    pub fn new(task_id: Uuid) -> Self {
        Self { task_id, because: None }
    }
}

setters! { SkippedTask {} texts { because } }

/// The report of a round. Tasks that it does not mention were done, without further details.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct RoundDoneRequest {
    /// The day; when absent, the day for which the round was planned.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub visited_on: Option<NaiveDate>,
    /// Who went, up to 200 characters.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub visited_by: Option<String>,
    /// A free note, up to 4,000 characters. It is copied to every visit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// Details of tasks, each task once; at most 500.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub items: Vec<RoundItem>,
    /// Tasks that were skipped, each once and not in `items`; at most 500.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub skipped: Vec<SkippedTask>,
}

impl RoundDoneRequest {
    /// Every task was done on the day of the round.
    pub fn new() -> Self {
        Self::default()
    }
}

setters! {
    RoundDoneRequest { visited_on: Option<NaiveDate>, items: Vec<RoundItem>, skipped: Vec<SkippedTask> }
    texts { visited_by, note }
}

/// A round that was done, and its visits.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct RoundDone {
    /// The round.
    pub round: Round,
    /// The visits, one for each system.
    pub visits: Vec<Visit>,
    /// Whether the round had already been reported, so that this report changed nothing.
    pub reported_before: bool,
}
