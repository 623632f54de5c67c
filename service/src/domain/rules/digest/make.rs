//! The digest: what falls due in a stretch of days as one list, by property, with totals, what to bring for the whole
//! trip, and every caution once.
//!
//! [`make`] is a pure function of tasks and `render` one of a digest, so that whoever asks over HTTP and whoever is sent
//! one get the same. A digest holds at most [`MOST_TASKS`] tasks; it counts those that it leaves out and says how to ask
//! for less.

use crate::domain::base::ids::{ComponentId, PropertyId, SystemId, TaskId};
use crate::domain::base::plural;
use crate::domain::model::duty::{DecidedBy, Duty, bring};
use crate::domain::model::forecast::Window;
use crate::domain::model::hazard::{Hazard, each_once};
use crate::domain::model::part::Kind;
use crate::domain::model::reason::Reason;
use crate::domain::model::task::{Counted, State, Task};
use chrono::NaiveDate;
use std::collections::BTreeSet;

/// The most tasks that a digest lists. Judgement: about a hundred pages, which nobody reads to the end, and two megabytes.
pub const MOST_TASKS: usize = 2_000;

/// What a digest is of.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct DigestScope {
    /// Tasks at this property alone.
    pub property_id: Option<PropertyId>,
    /// Tasks of this system alone.
    pub system_id: Option<SystemId>,
    /// Tasks due on or after this day; everything that is due already when absent.
    pub from: Option<NaiveDate>,
    /// Tasks due on or before this day.
    pub to: Option<NaiveDate>,
}

/// How much there is to do.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Totals {
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
    /// Minutes of work on the spot, without the way there; judgement ([`Duty::minutes`]).
    pub minutes: u64,
    /// Systems with a task.
    pub systems: u64,
    /// Properties with a task.
    pub properties: u64,
}

impl Totals {
    fn add(&mut self, state: State, duty: Duty, count: u64) {
        self.tasks += count;
        self.minutes += count * u64::from(duty.minutes());
        *match state {
            State::Late => &mut self.late,
            State::Due => &mut self.due,
            State::Near => &mut self.near,
            State::Resting => &mut self.resting,
        } += count;
    }

    fn of_lines<'a>(lines: impl Iterator<Item = &'a DigestTask>) -> Self {
        let (mut totals, mut systems) = (Self::default(), BTreeSet::new());
        for line in lines {
            totals.add(line.state, line.duty, 1);
            systems.insert(line.system_id);
        }
        Self { systems: systems.len() as u64, ..totals }
    }

    fn of_counted(counted: &Counted) -> Self {
        let start = Self { systems: counted.systems, properties: counted.properties, ..Self::default() };
        counted.tasks.iter().fold(start, |mut totals, some| {
            totals.add(some.state, some.duty, some.count);
            totals
        })
    }
}

/// One task of a digest.
#[derive(Clone, Debug, PartialEq)]
pub struct DigestTask {
    /// The task.
    pub task_id: TaskId,
    /// The system.
    pub system_id: SystemId,
    /// Its name.
    pub system_name: String,
    /// The component.
    pub component_id: ComponentId,
    /// Its name.
    pub component_name: String,
    /// What it is.
    pub kind: Kind,
    /// What is to be done.
    pub duty: Duty,
    /// How near it is.
    pub state: State,
    /// The day it falls due.
    pub due_on: Option<NaiveDate>,
    /// What decided the date.
    pub decided_by: DecidedBy,
    /// The predicted window, where something is predicted.
    pub window: Option<Window>,
    /// Why this date: the reason that goes with what decided it.
    pub why: Option<Reason>,
    /// What to be careful of.
    pub hazards: Vec<Hazard>,
}

/// The tasks of one property, by due date.
#[derive(Clone, Debug, PartialEq)]
pub struct PropertyTasks {
    /// The property.
    pub id: PropertyId,
    /// Its name.
    pub name: String,
    /// How much there is to do here, as far as it is listed.
    pub totals: Totals,
    /// What to bring, each thing once.
    pub bring: Vec<&'static str>,
    /// The tasks.
    pub tasks: Vec<DigestTask>,
}

/// What falls due in a stretch of days.
#[derive(Clone, Debug, PartialEq)]
pub struct Digest {
    /// What it is of.
    pub asked: DigestScope,
    /// How much there is to do, what is left out included.
    pub totals: Totals,
    /// Tasks that are not listed.
    pub left_out: u64,
    /// What to bring for everything that is listed, each thing once.
    pub bring: Vec<&'static str>,
    /// What to be careful of in everything that is listed, each hazard once; that local codes come first is the last.
    pub hazards: Vec<Hazard>,
    /// The properties, the one with the earliest date first.
    pub properties: Vec<PropertyTasks>,
}

impl Digest {
    /// Tasks that are listed.
    pub fn listed(&self) -> u64 {
        self.properties.iter().map(|property| property.tasks.len() as u64).sum()
    }

    /// What is said of the tasks that are left out, and how to see them.
    pub fn note(&self) -> Option<String> {
        (self.left_out > 0).then(|| {
            let more = plural::counted(self.left_out, "more task is", "more tasks are");
            format!(
                "{more} not listed here, those with the latest dates. To see them, ask for one property (property_id), one \
                 system (system_id) or fewer days (within, or from and to). Things to bring and cautions are those of \
                 the listed tasks."
            )
        })
    }
}

/// A digest of tasks that come by due date. At most [`MOST_TASKS`] are listed; `all` counts what was asked for where that
/// is more, and is not needed otherwise.
pub fn make(asked: DigestScope, tasks: impl IntoIterator<Item = Task>, all: Option<&Counted>) -> Digest {
    let mut maker = DigestBuilder::default();
    let mut beyond = 0;
    for task in tasks {
        if maker.lines < MOST_TASKS { maker.add(task) } else { beyond += 1 }
    }
    maker.done(asked, beyond, all)
}

/// A digest in the making: of each task it keeps what a digest shows, and no more.
#[derive(Default)]
pub(crate) struct DigestBuilder {
    properties: Vec<PropertyTasks>,
    places: std::collections::HashMap<PropertyId, usize>,
    lines: usize,
}

impl DigestBuilder {
    /// Adds a task; tasks come by due date.
    pub(crate) fn add(&mut self, task: Task) {
        let forecast = task.forecast;
        let why = forecast.why().cloned();
        let place = *self.places.entry(task.property_id).or_insert(self.properties.len());
        if place == self.properties.len() {
            let (totals, bring, tasks) = (Totals::default(), Vec::new(), Vec::new());
            self.properties.push(PropertyTasks {
                id: task.property_id,
                name: task.property_name,
                totals,
                bring,
                tasks,
            });
        }
        self.properties[place].tasks.push(DigestTask {
            task_id: task.id,
            system_id: task.system_id,
            system_name: task.system_name,
            component_id: task.component_id,
            component_name: forecast.component_name,
            kind: task.kind,
            duty: task.duty,
            state: task.state,
            due_on: task.due_on,
            decided_by: forecast.decided_by,
            window: forecast.prediction.and_then(|prediction| prediction.window),
            why,
            hazards: forecast.hazards,
        });
        self.lines += 1;
    }

    /// `beyond` were seen and not added; `all` counts these and whatever was not seen.
    pub(crate) fn done(mut self, asked: DigestScope, beyond: u64, all: Option<&Counted>) -> Digest {
        for property in &mut self.properties {
            property.bring = bring(property.tasks.iter().map(|line| line.duty));
            property.totals = Totals { properties: 1, ..Totals::of_lines(property.tasks.iter()) };
        }
        let lines = || self.properties.iter().flat_map(|property| &property.tasks);
        let seen = Totals { properties: self.properties.len() as u64, ..Totals::of_lines(lines()) };
        // What was counted a moment later may be less than what was read.
        let totals = all.filter(|all| all.total() >= seen.tasks + beyond).map_or(seen, Totals::of_counted);
        let left_out = beyond.max(totals.tasks - seen.tasks);
        let bring = bring(lines().map(|line| line.duty));
        let hazards = each_once(lines().flat_map(|line| &line.hazards));
        Digest { asked, totals, left_out, bring, hazards, properties: self.properties }
    }
}
