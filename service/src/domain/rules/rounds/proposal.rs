//! What is proposed: rounds by day, and the tasks that found no day.

use crate::domain::base::ids::RoundId;
use crate::domain::model::hazard::Hazard;
use crate::domain::model::task::Task;
use crate::domain::rules::rounds::allowed::Allowed;
use crate::domain::rules::rounds::figures::CostFigures;
use crate::domain::rules::rounds::problem::{Cost, Parts};
use chrono::NaiveDate;

/// A task on a day.
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
    /// Days before the day it is best done on.
    pub fn days_early(&self) -> i64 {
        self.allowed.aim_on.signed_duration_since(self.on).num_days().max(0)
    }

    /// Days after it.
    pub fn days_late(&self) -> i64 {
        self.on.signed_duration_since(self.allowed.aim_on).num_days().max(0)
    }

    /// Whether it comes on a day on which it should not be done, since nobody works on those on which it should.
    pub fn is_outside(&self) -> bool {
        !(self.allowed.earliest_on..=self.allowed.latest_on).contains(&self.on)
    }

    /// The day on which it falls due, if that is before a day.
    pub fn due_before(&self, day: NaiveDate) -> Option<NaiveDate> {
        self.task.due_on.filter(|due| *due < day)
    }
}

/// A trip.
#[derive(Clone, Debug, PartialEq)]
pub struct ProposedRound {
    /// The day.
    pub on: NaiveDate,
    /// What is done, by property and system.
    pub tasks: Vec<ScheduledTask>,
    /// Minutes of work.
    pub minutes: u64,
    /// What to bring.
    pub bring: Vec<&'static str>,
    /// What to be careful of.
    pub hazards: Vec<Hazard>,
    /// What it costs.
    pub parts: Parts,
    /// Why this day, a sentence each.
    pub reasons: Vec<String>,
    /// Tasks of these properties that fall due after the plan and may be done already, as far as there is room.
    pub may_join: Vec<ScheduledTask>,
}

/// A task that found no day.
#[derive(Clone, Debug, PartialEq)]
pub struct UnscheduledTask {
    /// The task.
    pub task: Task,
    /// When it may be done.
    pub allowed: Allowed,
    /// Why, and the way out.
    pub because: String,
}

/// A kept round that nobody reported or called off, though its day is over where it goes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OverdueRound {
    /// The round.
    pub id: RoundId,
    /// The day it was planned for.
    pub on: NaiveDate,
    /// Its tasks that no visit did since.
    pub tasks: usize,
}

/// What is proposed.
#[derive(Clone, Debug, PartialEq)]
pub struct Proposal {
    /// The first day.
    pub from: NaiveDate,
    /// The last day.
    pub to: NaiveDate,
    /// What things cost.
    pub figures: CostFigures,
    /// The figures that were left to their defaults, which are judgement.
    pub defaults: Vec<&'static str>,
    /// By day.
    pub rounds: Vec<ProposedRound>,
    /// What found no day.
    pub unplaced: Vec<UnscheduledTask>,
    /// What the rounds cost.
    pub parts: Parts,
    /// What no plan can cost less than.
    pub lower_bound: Cost,
    /// Tasks left out because they stand in a round that is planned and whose day is not over.
    pub already_planned: usize,
    /// All of the account's rounds whose day is over, by day. Their tasks are proposed again.
    pub overdue_rounds: Vec<OverdueRound>,
    /// Whether there are more tasks than were looked at among those that may join.
    pub more_may_join: bool,
}
