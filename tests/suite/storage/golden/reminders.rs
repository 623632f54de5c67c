//! The reminders' feed, what was told of a task, and what is kept of tasks that are gone.
//!
//! A case is a script of refreshes, from each of which a reader may be told something. No trait shows what was told, so it
//! is read by one more refresh: the last one again, with another task before the script's, so that its row is written anew.
//! What stands there then, and what is told by it, follows from what was read.

use super::super::make::{self, Home, at, day, new_task, new_visit};
use super::raw::Raw;
use super::{Case, Form, Rig};
use chrono::{DateTime, NaiveDate, Utc};
use eavesward_service::domain::base::error::Stored;
use eavesward_service::domain::base::ids::{TaskId, VisitId};
use eavesward_service::domain::model::duty::{DecidedBy, Duty};
use eavesward_service::domain::model::duty_settings::Overrides;
use eavesward_service::domain::model::inputs::Inputs;
use eavesward_service::domain::model::reminder::{
    DoneByVisit, FeedRange, Fingerprints, Reminder, ReminderFilter, ReminderState, RemovedTask,
};
use eavesward_service::domain::model::task::{NO_DATE, State, Task};
use eavesward_service::domain::ports::store::reminders::ReminderStore as _;
use eavesward_service::domain::ports::store::tasks::{Refreshed, TaskStore as _};
use eavesward_service::domain::rules::reminders::decide::decide;
use eavesward_service::domain::rules::reminders::entries as write;
use eavesward_service::domain::rules::reminders::inputs::{ReminderInputs, fingerprint};
use std::sync::Arc;
use uuid::Uuid;

pub(super) struct Reminders;

/// What a refresh finds.
#[derive(Clone)]
struct Step {
    /// The task; absent once it is no more.
    task: Option<Task>,
    reminders: ReminderInputs,
}

/// What a script leads to.
#[derive(Debug, PartialEq)]
struct Seen {
    entries: Vec<Reminder>,
    standing: ReminderState,
}

impl Seen {
    /// Without the sentence that says why a task is gone: it is made as the entry is written, so that one who finds better
    /// words leaves the old ones in the rows of before.
    fn of(mut entries: Vec<Reminder>, standing: ReminderState) -> Self {
        for entry in entries.iter_mut().filter(|entry| entry.decided_by.is_none()) {
            assert_eq!(entry.reasons.len(), 1, "it says why");
            entry.reasons.clear();
        }
        Self { entries, standing }
    }
}

/// A script, and what it leads to when its last step was read again.
pub(super) struct Script {
    steps: Vec<Step>,
    seen: Seen,
}

impl PartialEq for Script {
    fn eq(&self, other: &Self) -> bool {
        self.seen == other.seen
    }
}

impl std::fmt::Debug for Script {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        self.seen.fmt(f)
    }
}

fn instant(number: usize) -> DateTime<Utc> {
    at(100 + 10 * number as i64)
}

/// A refresh on a day that finds the diverter's task due on another.
fn on(home: &Home, as_of: i64, due: Option<i64>) -> Step {
    let due_on = due.map(day);
    let mut task = new_task(home, 0, Duty::ClearWeepHole, due_on, State::on(day(as_of), due_on, None));
    task.as_of = day(as_of);
    Step { task: Some(task), reminders: make::reminders(&home.system, day(as_of)) }
}

/// A refresh on a day that finds no task any more.
fn gone(home: &Home, as_of: i64) -> Step {
    Step { task: None, reminders: make::reminders(&home.system, day(as_of)) }
}

impl Step {
    fn basis(mut self, visits: i64, settings: i64) -> Self {
        self.reminders.basis = Fingerprints { visits, settings };
        self
    }

    fn task(mut self, change: impl FnOnce(&mut Task)) -> Self {
        self.task.as_mut().map(change);
        self
    }

    /// By the season, and not from a tally.
    fn by_season(self) -> Self {
        self.task(|task| {
            task.forecast.decided_by = DecidedBy::Season;
            task.forecast.prediction = None;
        })
    }

    /// Done by a visit on its day.
    fn done(mut self) -> Self {
        let as_of = self.reminders.as_of;
        if let Some(task) = &mut self.task {
            task.forecast.since = as_of;
            self.reminders.by_visit.insert(task.id, VisitId(Uuid::new_v5(&task.id.0, b"visit")));
        }
        self
    }

    /// A coupling that wants another one.
    fn of_coupling(self) -> Self {
        self.task(|task| {
            task.duty = Duty::ReplaceCoupling;
            task.id = TaskId::of(task.component_id, task.duty);
        })
    }
}

/// Fingerprints of a home's inputs, with a visit and own figures.
fn fingerprints(home: &Home) -> Fingerprints {
    let mut visit = new_visit(home, day(-9));
    visit.id = VisitId(Uuid::new_v5(&home.system.id.0, b"visit"));
    let own = Overrides { ceiling_months: Some(4), tolerance: Some(0.375), ..Overrides::default() };
    fingerprint(&Inputs {
        system: home.system.clone(),
        property: home.property.clone(),
        gauge: home.gauge.clone(),
        components: home.components.clone(),
        visits: vec![visit],
        duty_settings: Arc::new([(Duty::ClearWeepHole, own)].into_iter().collect()),
    })
}

/// What a script leads to, by the domain's own functions and without a store.
fn follow(home: &Home, steps: &[Step]) -> Seen {
    let (mut standing, mut entries) = (ReminderState::default(), Vec::new());
    let mut last: Option<&Task> = None;
    for (number, step) in steps.iter().chain([again(steps)]).enumerate() {
        let (as_of, now) = (step.reminders.as_of, instant(number));
        if let Some(task) = &step.task {
            let (after, raised) = decide(&standing, &step.reminders.snapshot(task));
            standing = after;
            entries.extend(raised.into_iter().map(|raised| write::of_task(task, raised, now)));
            last = Some(task);
        } else if standing.since.is_some_and(|since| since <= as_of) {
            let task = last.expect("a task goes after it came");
            let gone = RemovedTask {
                task_id: task.id,
                component_id: task.component_id,
                component_name: home.components[0].facts.name.clone(),
                kind: task.kind,
                duty: task.duty,
                done: standing.done,
            };
            entries.push(write::of_removed(gone, &step.reminders, now));
            standing =
                ReminderState { since: Some(as_of), due_on: standing.due_on, ..ReminderState::default() };
        }
    }
    for (entry, number) in entries.iter_mut().zip(1..) {
        entry.number = number;
    }
    Seen::of(entries, standing)
}

/// The last step that found the task.
fn again(steps: &[Step]) -> &Step {
    steps.iter().rev().find(|step| step.task.is_some()).expect("a step with a task")
}

fn script(name: &str, steps: impl FnOnce(&Home) -> Vec<Step>) -> Case<Script> {
    Case::of(name, |home| {
        let steps = steps(home);
        Script { seen: follow(home, &steps), steps }
    })
}

fn moves() -> Vec<Case<Script>> {
    vec![
        script("moved by rain", |home| vec![on(home, 0, Some(3)), on(home, 0, Some(60))]),
        script("moved by a finding, and back", |home| {
            vec![
                on(home, 0, Some(3)),
                on(home, 0, Some(60)).basis(-8_000_000_000_000_000_001, 0),
                on(home, 0, Some(5)).basis(2, 0),
            ]
        }),
        script("moved by settings", |home| {
            vec![on(home, 0, Some(3)), on(home, 0, Some(90)).basis(0, 9_000_000_000_000_000_001)]
        }),
        script("moved by the calendar, to no date", |home| {
            vec![on(home, 0, Some(3)).by_season(), on(home, 0, None).by_season()]
        }),
    ]
}

impl Form for Reminders {
    const FILE: &'static str = "reminders";
    type Value = Script;

    fn cases() -> Vec<Case<Script>> {
        let mut cases = vec![
            script("nothing to tell", |home| vec![on(home, 0, Some(200))]),
            script("coming", |home| {
                let basis = fingerprints(home);
                vec![on(home, 0, Some(3)).basis(basis.visits, basis.settings)]
            }),
            script("due at once", |home| vec![on(home, 0, Some(0))]),
            script("late at once", |home| vec![on(home, 0, Some(-30))]),
            script("done", |home| vec![on(home, 0, Some(3)), on(home, 1, Some(200)).done()]),
            script("done and due again", |home| vec![on(home, 0, Some(3)), on(home, 1, Some(4)).done()]),
            script("withdrawn", |home| vec![on(home, 0, Some(3)), gone(home, 0)]),
            script("replaced", |home| {
                let mut gone = gone(home, 0);
                gone.reminders.replaced.insert(home.components[0].id, day(-9));
                vec![on(home, 0, Some(300)).of_coupling(), gone]
            }),
            script("gone while the clock is set back", |home| {
                vec![on(home, 0, Some(3)), on(home, 1, Some(4)).done(), gone(home, -5)]
            }),
        ];
        cases.extend(moves());
        cases
    }

    fn rows(case: &Case<Script>) -> Vec<(&'static str, Uuid)> {
        let (account, system) = (case.home.account.0, case.home.system.id.0);
        let task = task(case).id.0;
        vec![("feeds", account), ("reminders", account), ("tasks", system), ("gone_tasks", task)]
    }

    async fn write(rig: &Rig, case: &Case<Script>) {
        for (number, step) in case.value.steps.iter().enumerate() {
            refresh(rig, case, (number, step), step.task.iter().cloned().collect()).await.unwrap();
        }
    }

    async fn read(rig: &Rig, case: &Case<Script>) -> Stored<Script> {
        let step = again(&case.value.steps);
        // Its id sorts before all others.
        let mut id = case.id("a task before it").into_bytes();
        id[..6].fill(0);
        let mut before = new_task(&case.home, 1, Duty::LookOverTank, None, State::Resting);
        before.id = TaskId(Uuid::from_bytes(id));
        before.as_of = step.reminders.as_of;
        let tasks = step.task.iter().cloned().chain([before]).collect();
        refresh(rig, case, (case.value.steps.len(), step), tasks).await?;
        let stretch = FeedRange { after: Some(0), limit: 500 };
        let read = rig.database.reminders(case.home.account, &ReminderFilter::default(), stretch).await?;
        let seen = Seen::of(read.entries, state(rig, case).await);
        Ok(Script { steps: Vec::new(), seen })
    }
}

fn task(case: &Case<Script>) -> &Task {
    again(&case.value.steps).task.as_ref().expect("a step with a task")
}

async fn refresh(
    rig: &Rig,
    case: &Case<Script>,
    (number, step): (usize, &Step),
    tasks: Vec<Task>,
) -> Stored<usize> {
    let status = make::status(&case.home.system, step.reminders.as_of);
    let next_at = at(90_000 + number as i64);
    let claim = make::claim_of(rig, case.home.system.id).await;
    let (day_at, reminders) = (at(0), step.reminders.clone());
    let one = Refreshed { claim, tasks, status, day_at, next_at, reminders };
    rig.database.finish_refresh(&[one], instant(number)).await
}

/// What stands in the row of the script's task, which was written a moment ago.
async fn state(rig: &Rig, case: &Case<Script>) -> ReminderState {
    let mut raw = Raw::connect(rig).await;
    let tables = raw.tables(&[("tasks", case.home.system.id.0)]).await;
    raw.close().await;
    let id = serde_json::to_string(&task(case).id).unwrap();
    let row = tables["tasks"].iter().find(|row| row["id"].get() == id).expect("the row of the task");
    assert_eq!(row["line"].get(), "2", "it was written anew");
    let text = |column: &str| row.get(column).map(|written| written.get());
    let date = |column: &str| -> Option<NaiveDate> {
        NaiveDate::from_epoch_days(text(column)?.parse().expect("days"))
    };
    let done = text("done_by").zip(date("done_on"));
    ReminderState {
        since: date("since_on"),
        due_on: date("sort_on").filter(|on| *on != NO_DATE),
        done: done.map(|(visit, on)| DoneByVisit { visit: serde_json::from_str(visit).unwrap(), on }),
        told: text("told").map(|told| serde_json::from_str(told).unwrap()),
    }
}
