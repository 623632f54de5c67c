//! The proposal: rounds by day, and the tasks that found no day.

use crate::domain::base::ids::RoundId;
use crate::domain::model::hazard::Hazard;
use crate::domain::model::sentence::Sentence;
use crate::domain::model::task::Task;
use crate::domain::rules::rounds::allowed::Allowed;
use crate::domain::rules::rounds::figures::CostFigures;
use crate::domain::rules::rounds::problem::{Cost, Parts};
use chrono::NaiveDate;

/// A task with its day.
#[derive(Clone, Debug, PartialEq)]
pub struct ScheduledTask {
    /// The task.
    pub task: Task,
    /// When it may be done.
    pub allowed: Allowed,
    /// The day.
    pub on: NaiveDate,
}

impl ScheduledTask {
    /// Days before its best day.
    pub fn days_early(&self) -> i64 {
        self.allowed.aim_on.signed_duration_since(self.on).num_days().max(0)
    }

    /// Days after its best day.
    pub fn days_late(&self) -> i64 {
        self.on.signed_duration_since(self.allowed.aim_on).num_days().max(0)
    }

    /// Whether its day is outside the allowed days, because none of these is a working day.
    pub fn is_outside(&self) -> bool {
        !(self.allowed.earliest_on..=self.allowed.latest_on).contains(&self.on)
    }

    /// Its due date, if that is before a day.
    pub fn due_before(&self, day: NaiveDate) -> Option<NaiveDate> {
        self.task.due_on.filter(|due| *due < day)
    }
}

/// A proposed trip.
#[derive(Clone, Debug, PartialEq)]
pub struct ProposedRound {
    /// The day.
    pub on: NaiveDate,
    /// The tasks, by property and system.
    pub tasks: Vec<ScheduledTask>,
    /// Minutes of work.
    pub minutes: u64,
    /// What to bring.
    pub bring: Vec<&'static str>,
    /// What to be careful of.
    pub hazards: Vec<Hazard>,
    /// What it costs.
    pub parts: Parts,
    /// Why this day, one sentence each.
    pub reasons: Vec<Sentence>,
    /// Tasks of these properties that fall due after the plan and may already be done, as far as there is room.
    pub may_join: Vec<ScheduledTask>,
}

/// A task that found no day.
#[derive(Clone, Debug, PartialEq)]
pub struct UnscheduledTask {
    /// The task.
    pub task: Task,
    /// When it may be done.
    pub allowed: Allowed,
    /// Why, and what to do about it.
    pub why: Sentence,
}

/// A kept round that was neither reported nor cancelled, although its day is over at its properties.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OverdueRound {
    /// The round.
    pub id: RoundId,
    /// The day it was planned for.
    pub on: NaiveDate,
    /// The number of its tasks that no visit has done since.
    pub tasks: usize,
}

/// The whole proposal.
#[derive(Clone, Debug, PartialEq)]
pub struct Proposal {
    /// The first day.
    pub from: NaiveDate,
    /// The last day.
    pub to: NaiveDate,
    /// What things cost.
    pub figures: CostFigures,
    /// The names of the figures that are defaults, which are judgement.
    pub defaults: Vec<&'static str>,
    /// The rounds by day.
    pub rounds: Vec<ProposedRound>,
    /// The tasks that found no day.
    pub unplaced: Vec<UnscheduledTask>,
    /// What the rounds cost.
    pub parts: Parts,
    /// A cost that no plan can go below.
    pub lower_bound: Cost,
    /// The number of tasks left out because a planned round has them and its day is not over.
    pub already_planned: usize,
    /// All rounds of the account whose day is over, by day. Their tasks are proposed again.
    pub overdue_rounds: Vec<OverdueRound>,
    /// Whether there are more tasks that could join a round than were read.
    pub more_may_join: bool,
}
