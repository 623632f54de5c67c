//! Rounds: tasks put together into trips.

use crate::{Caution, ComponentKind, Duty, Finding, Reason, Visit};
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// What rounds were put together with. Costs are in any unit of the caller's: only their ratios count.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct RoundFigures {
    /// What a trip costs, however many properties it goes to.
    pub trip_cost: f64,
    /// What each property of a trip beyond the first costs.
    pub stop_cost: f64,
    /// What a day costs that a task is done before its `aim_on`.
    pub cost_per_day_early: f64,
    /// What a day costs that a task is done after its `aim_on`.
    pub cost_per_day_late: f64,
    /// The most minutes of work of a trip; the way there is not counted.
    pub most_minutes: u32,
    /// How near properties are that may share a trip, km along the great circle, each to each; 0 for every property by
    /// itself.
    pub nearby_km: f64,
    /// Those of the figures that were left to their defaults, which are judgement.
    pub judgement: Vec<String>,
}

/// What rounds cost, by cause.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct RoundCosts {
    /// Trips.
    pub trips: f64,
    /// Properties beyond the first of each trip.
    pub stops: f64,
    /// Days early.
    pub early: f64,
    /// Days late.
    pub late: f64,
}

/// A task in a round, and when it may be done.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct RoundTask {
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
    /// The same in words.
    pub title: String,
    /// The day it falls due.
    pub due_on: Option<NaiveDate>,
    /// The first day it may be done on: the early date of its window, or three quarters of the way from when it was last
    /// done to when it falls due, whichever comes first; a fortnight before the day of a season.
    pub earliest_on: NaiveDate,
    /// The day it is best done on: the day it falls due, or the best day for emptying a tank; the first day of the plan
    /// where that is over. Days early and late count from here.
    pub aim_on: NaiveDate,
    /// The last day it should be done on: a week or a fortnight after it fell due, from when on it counts as late, or its
    /// ceiling where that comes first and is the account's own, or guards water quality or people. What fell due before
    /// the first day of the plan, with no time left, has a week from that day.
    pub latest_on: NaiveDate,
    /// Whether the round comes after `latest_on` or before `earliest_on`, by a week at most, since nobody works between
    /// them. A drain for frost never comes after.
    #[serde(default)]
    pub outside: bool,
    /// Days before `aim_on`.
    pub days_early: i64,
    /// Days after `aim_on`.
    pub days_late: i64,
    /// Minutes of work on the spot. Judgement.
    pub minutes: u32,
}

/// A proposed trip: what is done on one day.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct ProposedRound {
    /// The day.
    pub on: NaiveDate,
    /// How many properties it goes to.
    pub properties: u32,
    /// What is done, by property and system.
    pub tasks: Vec<RoundTask>,
    /// Minutes of work on the spot.
    pub minutes: u64,
    /// Whether that is more than `most_minutes`, since one task alone takes longer.
    pub over_most_minutes: bool,
    /// What to bring, each thing once.
    pub bring: Vec<String>,
    /// What to be careful of, each hazard once.
    pub cautions: Vec<Caution>,
    /// What it costs.
    pub costs: RoundCosts,
    /// Why this day.
    pub reasons: Vec<Reason>,
    /// Tasks of these properties that fall due after the plan and may be done already, as far as the trip has room.
    /// They cost nothing here; take them along or not.
    pub may_join: Vec<RoundTask>,
}

/// A task that found no day in the plan.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct UnplacedTask {
    /// The task.
    pub task_id: Uuid,
    /// The property's name.
    pub property_name: String,
    /// The system's name.
    pub system_name: String,
    /// The component's name.
    pub component_name: String,
    /// What is to be done.
    pub duty: Duty,
    /// The day it falls due.
    pub due_on: Option<NaiveDate>,
    /// Why, and the way out.
    pub because: String,
}

/// A planned round that nobody closed, though its day is over.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct OverdueRound {
    /// The round.
    pub id: Uuid,
    /// The day it was planned for.
    pub on: NaiveDate,
    /// How many of its tasks are still to be done.
    pub tasks: u32,
    /// The way out.
    pub way_out: String,
}

/// Tasks put together into few trips. Nothing of it is stored.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct RoundProposal {
    /// The first day.
    pub from: NaiveDate,
    /// The last day.
    pub to: NaiveDate,
    /// What they were put together with.
    pub figures: RoundFigures,
    /// The trips, by day. A task that falls due up to `to` stands in one of them or in `unplaced`; or, unless
    /// `include_planned`, in a kept round whose day is not over, and is counted in `already_planned`. A task is taken for
    /// due on its `aim_on`.
    pub rounds: Vec<ProposedRound>,
    /// Tasks that found no day.
    pub unplaced: Vec<UnplacedTask>,
    /// What the rounds cost: the sum of `costs`.
    pub cost: f64,
    /// The same by cause.
    pub costs: RoundCosts,
    /// What no plan can cost less than.
    pub lower_bound: f64,
    /// Whether the two are equal, so that no plan is cheaper.
    pub proven: bool,
    /// Tasks left out because they stand in a round that is planned already and whose day is not over.
    pub already_planned: u32,
    /// All of the account's planned rounds whose day is over where they go, by day, as far as something in them is still
    /// to be done. They hide nothing here, but their tasks can be kept in no other round before they are closed.
    #[serde(default)]
    pub overdue_rounds: Vec<OverdueRound>,
    /// Whether there are more tasks that may join than were looked at.
    pub more_may_join: bool,
}

/// A request to keep a round as planned.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct RoundRequest {
    /// The day.
    pub on: NaiveDate,
    /// Its tasks: 1 to 500, each once.
    pub task_ids: Vec<Uuid>,
    /// Anything worth keeping.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// How far a kept round is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum RoundState {
    /// Somebody means to go.
    Planned,
    /// Its visits are logged.
    Done,
    /// A word of a newer service; never accepted.
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
    /// The same in words.
    pub title: String,
    /// When it fell due as the round was kept.
    pub due_on: Option<NaiveDate>,
    /// Minutes of work on the spot. Judgement.
    pub minutes: u32,
    /// The visit it stands in, once the round was done, or the one that did it before.
    pub visit_id: Option<Uuid>,
    /// Whether that is another visit than the round's, logged since the round was kept: the round neither logs the task
    /// again nor counts it.
    #[serde(default)]
    pub done_elsewhere: bool,
    /// Whether it was left out when the round was done.
    pub skipped: bool,
    /// Why it was left out.
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
    /// How far it is.
    pub state: RoundState,
    /// Anything worth keeping.
    pub note: Option<String>,
    /// What is to be done, by property and system.
    pub tasks: Vec<KeptTask>,
    /// Minutes of work on the spot, without what was done elsewhere.
    pub minutes: u64,
    /// What to bring, each thing once.
    pub bring: Vec<String>,
    /// What to be careful of, each hazard once.
    pub cautions: Vec<Caution>,
    /// The day it was done on.
    pub done_on: Option<NaiveDate>,
    /// When that was reported.
    pub done_at: Option<DateTime<Utc>>,
    /// Version for `If-Match`; 1 is the round as it was kept.
    pub version: i64,
    /// When it was kept.
    pub created_at: DateTime<Utc>,
    /// When it was last changed.
    pub updated_at: DateTime<Utc>,
}

/// What there is to say of one task of a round that was done.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct RoundItem {
    /// The task.
    pub task_id: Uuid,
    /// Whether it was done; `true` when absent. A finding without doing it is a look: the accumulated figure goes on.
    #[serde(default = "yes")]
    pub done: bool,
    /// What was found before it was done.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub finding: Option<Finding>,
    /// How full it was left after a partial cleaning, as in a visit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub left_fraction: Option<f64>,
    /// Whether somebody is known or believed to have cleaned it since the last logged service, on a day nobody noted.
    #[serde(default)]
    pub cleaned_meanwhile: bool,
    /// Anything worth keeping.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

const fn yes() -> bool {
    true
}

impl RoundItem {
    /// What was found before a task was done.
    pub const fn found(task_id: Uuid, finding: Finding) -> Self {
        let (done, cleaned_meanwhile, left_fraction, note) = (true, false, None, None);
        Self { task_id, done, finding: Some(finding), left_fraction, cleaned_meanwhile, note }
    }

    /// A look at what a task is for, without doing it.
    pub fn looked(task_id: Uuid, finding: Finding) -> Self {
        Self { done: false, ..Self::found(task_id, finding) }
    }
}

/// A task of a round that was left out; it is free for another round.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct SkippedTask {
    /// The task.
    pub task_id: Uuid,
    /// Why.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub because: Option<String>,
}

/// How a round went. Tasks that nothing is said of were done, with nothing more known of them.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct RoundDoneRequest {
    /// The day; the one the round was planned for when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub visited_on: Option<NaiveDate>,
    /// Who went.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub visited_by: Option<String>,
    /// Anything worth keeping; it stands in every visit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// What there is to say of single tasks, each once.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub items: Vec<RoundItem>,
    /// Tasks that were left out, each once and not among `items`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub skipped: Vec<SkippedTask>,
}

/// A round that was done, and the visits it made.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct RoundDone {
    /// The round.
    pub round: Round,
    /// One visit a system.
    pub visits: Vec<Visit>,
    /// Whether it was reported before, so that this report changed nothing.
    #[serde(default)]
    pub reported_before: bool,
}
