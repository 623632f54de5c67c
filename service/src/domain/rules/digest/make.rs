//! The digest: tasks that fall due in a range of days, as one list for a trip. It lists the tasks by property, with
//! totals, what to bring, and every caution once.
//!
//! [`make`] is a pure function of tasks, and `render` is one of a digest. So an answer over HTTP and a digest that
//! is sent have the same text. A digest holds at most [`MOST_TASKS`] tasks. It counts the tasks that it leaves out,
//! and says how to see them.

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

/// The most tasks that a digest lists. Judgement: they are about a hundred pages and two megabytes, which is more
/// than a person reads.
pub const MOST_TASKS: usize = 2_000;

/// What a digest covers.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct DigestScope {
    /// Only tasks at this property.
    pub property_id: Option<PropertyId>,
    /// Only tasks of this system.
    pub system_id: Option<SystemId>,
    /// Only tasks due on or after this day. If absent, everything that is already due is included.
    pub from: Option<NaiveDate>,
    /// Only tasks due on or before this day.
    pub to: Option<NaiveDate>,
}

/// How much there is to do.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Totals {
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
    /// Minutes of work on the spot, without the way there. Judgement ([`Duty::minutes`]).
    pub minutes: u64,
    /// Number of systems with a task.
    pub systems: u64,
    /// Number of properties with a task.
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
    /// The system's name.
    pub system_name: String,
    /// The component.
    pub component_id: ComponentId,
    /// The component's name.
    pub component_name: String,
    /// What the component is.
    pub kind: Kind,
    /// The duty to be done.
    pub duty: Duty,
    /// How urgent it is.
    pub state: State,
    /// The day it falls due.
    pub due_on: Option<NaiveDate>,
    /// What decided the date.
    pub decided_by: DecidedBy,
    /// The predicted window; absent when nothing is predicted.
    pub window: Option<Window>,
    /// The reason for the date.
    pub why: Option<Reason>,
    /// What to be careful of.
    pub hazards: Vec<Hazard>,
}

/// The tasks of one property, by due date.
#[derive(Clone, Debug, PartialEq)]
pub struct PropertyTasks {
    /// The property.
    pub id: PropertyId,
    /// The property's name.
    pub name: String,
    /// How much there is to do here. Only listed tasks count.
    pub totals: Totals,
    /// What to bring, each thing once.
    pub bring: Vec<&'static str>,
    /// The tasks.
    pub tasks: Vec<DigestTask>,
}

/// Tasks that fall due in a range of days.
#[derive(Clone, Debug, PartialEq)]
pub struct Digest {
    /// What it covers.
    pub asked: DigestScope,
    /// How much there is to do, including the tasks that are left out.
    pub totals: Totals,
    /// Number of tasks that are left out.
    pub left_out: u64,
    /// What to bring for all listed tasks, each thing once.
    pub bring: Vec<&'static str>,
    /// The hazards of all listed tasks, each once. The last one says that local codes have precedence.
    pub hazards: Vec<Hazard>,
    /// The properties, beginning with the one that has the earliest date.
    pub properties: Vec<PropertyTasks>,
}

impl Digest {
    /// Number of tasks that are listed.
    pub fn listed(&self) -> u64 {
        self.properties.iter().map(|property| property.tasks.len() as u64).sum()
    }

    /// How many tasks are left out, and how to see them.
    pub fn note(&self) -> Option<String> {
        (self.left_out > 0).then(|| {
            let more = plural::counted(self.left_out, "more task is", "more tasks are");
            format!(
                "{more} not listed here: those with the latest dates. To see them, ask for one property \
                 (property_id), one system (system_id) or fewer days (within, or from and to). Things to bring \
                 and cautions are those of the listed tasks."
            )
        })
    }
}

/// Makes a digest of tasks, which come in the order of their due dates. At most [`MOST_TASKS`] are listed. If there
/// are more, `all` has the number of all tasks that were asked for. Otherwise it is not needed.
pub fn make(asked: DigestScope, tasks: impl IntoIterator<Item = Task>, all: Option<&Counted>) -> Digest {
    let mut maker = DigestBuilder::default();
    let mut beyond = 0;
    for task in tasks {
        if maker.lines < MOST_TASKS { maker.add(task) } else { beyond += 1 }
    }
    maker.done(asked, beyond, all)
}

/// A digest that is being made. Of each task it keeps only what a digest shows.
#[derive(Default)]
pub(crate) struct DigestBuilder {
    properties: Vec<PropertyTasks>,
    places: std::collections::HashMap<PropertyId, usize>,
    lines: usize,
}

impl DigestBuilder {
    /// Adds a task. Tasks must come in the order of their due dates.
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

    /// Ends the digest. `beyond` tasks were read but not added. `all` counts all tasks that were asked for.
    pub(crate) fn done(mut self, asked: DigestScope, beyond: u64, all: Option<&Counted>) -> Digest {
        for property in &mut self.properties {
            property.bring = bring(property.tasks.iter().map(|line| line.duty));
            property.totals = Totals { properties: 1, ..Totals::of_lines(property.tasks.iter()) };
        }
        let lines = || self.properties.iter().flat_map(|property| &property.tasks);
        let seen = Totals { properties: self.properties.len() as u64, ..Totals::of_lines(lines()) };
        // The tasks were counted a moment after they were read, so there can be fewer of them.
        let totals = all.filter(|all| all.total() >= seen.tasks + beyond).map_or(seen, Totals::of_counted);
        let left_out = beyond.max(totals.tasks - seen.tasks);
        let bring = bring(lines().map(|line| line.duty));
        let hazards = each_once(lines().flat_map(|line| &line.hazards));
        Digest { asked, totals, left_out, bring, hazards, properties: self.properties }
    }
}
