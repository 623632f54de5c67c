//! Kept rounds: planned ones, and done ones with their visits.

use crate::domain::base::bounds::{Bounds, Entries};
use crate::domain::base::ids::{AccountId, ComponentId, PropertyId, RoundId, SystemId, TaskId, VisitId};
use crate::domain::base::words::words;
use crate::domain::model::duty::Duty;
use crate::domain::model::hazard::Hazard;
use crate::domain::model::part::Kind;
use crate::domain::model::visit::{Finding, ITEMS, Visit};
use chrono::{DateTime, NaiveDate, Utc};

/// Tasks of a round: as many as the items of a visit, since one visit may do them all.
pub const TASKS: Entries = ITEMS;

/// The most rounds of a page, and the default. Each round may have [`TASKS`] tasks. Judgement: together they are
/// 25,000 tasks, some ten megabytes.
pub const MOST_ROWS: u32 = 50;

/// Rounds that a caller may ask for in one page.
pub const ROWS: Bounds = Bounds::of(1.0, MOST_ROWS as f64);

words! {
    /// The state of a kept round.
    RoundState {
        /// A person intends to go.
        Planned "planned",
        /// Its visits are logged.
        Done "done",
    }
}

/// What became of a task of a kept round.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum TaskOutcome {
    /// It was done by this visit: the round's own visit, or one that was logged since the round was kept.
    Visited(VisitId),
    /// It was skipped, with the reason if one was given.
    Skipped(Option<String>),
}

/// A task of a kept round.
#[derive(Clone, Debug, PartialEq)]
pub struct RoundTask {
    /// The task.
    pub task_id: TaskId,
    /// The property.
    pub property_id: PropertyId,
    /// The system.
    pub system_id: SystemId,
    /// The component.
    pub component_id: ComponentId,
    /// The property's name.
    pub property_name: String,
    /// The system's name.
    pub system_name: String,
    /// The component's name.
    pub component_name: String,
    /// What the component is.
    pub kind: Kind,
    /// What has to be done.
    pub duty: Duty,
    /// Its due date when the round was kept.
    pub due_on: Option<NaiveDate>,
    /// What to be careful of.
    pub hazards: Vec<Hazard>,
    /// What became of it, once the round or another visit has done it.
    pub outcome: Option<TaskOutcome>,
}

impl RoundTask {
    /// The order of the tasks of a round: by names first.
    fn order(&self) -> impl Ord + '_ {
        let names = (&self.property_name, &self.system_name, &self.component_name);
        (names, self.system_id, self.component_id, self.duty)
    }

    /// The visit that did the task in place of the round.
    pub fn done_elsewhere(&self, round: RoundId) -> Option<VisitId> {
        match self.outcome {
            Some(TaskOutcome::Visited(visit)) if visit != VisitId::of(round, self.system_id) => Some(visit),
            _ => None,
        }
    }
}

/// How a round was done.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DoneOn {
    /// The day.
    pub on: NaiveDate,
    /// When that was reported.
    pub at: DateTime<Utc>,
}

/// A kept round.
#[derive(Clone, Debug, PartialEq)]
pub struct Round {
    /// Id.
    pub id: RoundId,
    /// The account that owns it.
    pub account_id: AccountId,
    /// The day it is planned for.
    pub on: NaiveDate,
    /// A free note.
    pub note: Option<String>,
    /// What has to be done, sorted by property, system, component and duty.
    pub tasks: Vec<RoundTask>,
    /// How it was done, if it was.
    pub done: Option<DoneOn>,
    /// 1 for a new round; counts up with every change.
    pub version: i64,
    /// When it was kept.
    pub created_at: DateTime<Utc>,
    /// When it was last changed.
    pub updated_at: DateTime<Utc>,
}

impl Round {
    /// The state of the round.
    pub fn state(&self) -> RoundState {
        if self.done.is_some() { RoundState::Done } else { RoundState::Planned }
    }

    /// The visits it made, in the order of its tasks.
    pub fn visits(&self) -> Vec<VisitId> {
        let mut visits: Vec<VisitId> = Vec::new();
        for task in &self.tasks {
            if let Some(TaskOutcome::Visited(visit)) = &task.outcome
                && task.done_elsewhere(self.id).is_none()
                && !visits.contains(visit)
            {
                visits.push(*visit);
            }
        }
        visits
    }

    /// Sorts the tasks.
    pub fn in_order(mut self) -> Self {
        self.tasks.sort_by(|one, other| one.order().cmp(&other.order()));
        self
    }
}

/// A new round, to be kept.
#[derive(Clone, Debug)]
pub struct RoundDraft {
    /// The day.
    pub on: NaiveDate,
    /// Its tasks.
    pub task_ids: Vec<TaskId>,
    /// A free note.
    pub note: Option<String>,
}

/// Which rounds to list.
#[derive(Clone, Debug, Default)]
pub struct RoundFilter {
    /// Those in this state; all when absent.
    pub state: Option<RoundState>,
    /// Rounds planned for this day or later.
    pub from: Option<NaiveDate>,
    /// Rounds planned for this day or earlier.
    pub to: Option<NaiveDate>,
}

/// What a report says about one task of a round.
#[derive(Clone, Debug)]
pub struct TaskReport {
    /// The task.
    pub task_id: TaskId,
    /// Whether it was done. Otherwise it was only inspected.
    pub done: bool,
    /// What was found before the work.
    pub finding: Option<Finding>,
    /// How full a partial cleaning left the part.
    pub left_fraction: Option<f64>,
    /// Whether it was probably cleaned since the last logged service.
    pub cleaned_meanwhile: bool,
    /// A free note.
    pub note: Option<String>,
}

/// A task of a round that was skipped.
#[derive(Clone, Debug)]
pub struct SkippedTask {
    /// The task.
    pub task_id: TaskId,
    /// Why.
    pub because: Option<String>,
}

/// How a round went. A task that the report does not mention was done, with no further details.
#[derive(Clone, Debug, Default)]
pub struct RoundReport {
    /// The day; the planned day if absent.
    pub visited_on: Option<NaiveDate>,
    /// Who went.
    pub visited_by: Option<String>,
    /// A free note, which is stored with every visit.
    pub note: Option<String>,
    /// What the report says about single tasks.
    pub items: Vec<TaskReport>,
    /// Tasks that were skipped.
    pub skipped: Vec<SkippedTask>,
}

/// A round that was done.
#[derive(Clone, Debug, PartialEq)]
pub struct DoneRound {
    /// The round.
    pub round: Round,
    /// Its visits, one for each system.
    pub visits: Vec<Visit>,
    /// Whether it was already reported, so that this report changed nothing.
    pub reported_before: bool,
}
