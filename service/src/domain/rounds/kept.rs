//! Rounds that somebody means to go on: kept as planned, called off, or done, which logs the visits.

use crate::domain::Context;
use crate::domain::cautions::Hazard;
use crate::domain::check::Check;
use crate::domain::component::{Kind, words};
use crate::domain::duty::Duty;
use crate::domain::error::{Error, FieldError, Result};
use crate::domain::ids::{AccountId, ComponentId, PropertyId, RoundId, SystemId, TaskId, VisitId};
use crate::domain::paging::{PageAsked, PageFound};
use crate::domain::rounds::again;
use crate::domain::store::{CalledOff, Finished, Kept};
use crate::domain::task::Task;
use crate::domain::visit::{self, Finding, MOST_ITEMS, Visit, VisitFacts, VisitItem};
use chrono::{DateTime, NaiveDate, Utc};
use std::collections::{BTreeMap, BTreeSet, HashMap};

/// The most tasks of a round.
pub const MOST_TASKS: usize = MOST_ITEMS;
/// The most rounds of a page, and those of one that does not say: each may have [`MOST_TASKS`] tasks. Judgement: that is
/// 25,000 of them, some ten megabytes.
pub const MOST_ROWS: u32 = 50;
/// How often a report is read anew while visits do tasks of its round.
const ATTEMPTS: usize = 4;

words! {
    /// How far a kept round is.
    RoundState {
        /// Somebody means to go.
        Planned "planned",
        /// Its visits are logged.
        Done "done",
    }
}

/// What became of a task of a kept round.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// It stands in this visit: the round's own, or one that was logged since the round was kept.
    Visited(VisitId),
    /// It was left out, with the reason if one was given.
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
    /// The names of property, system and component.
    pub names: (String, String, String),
    /// What the component is.
    pub kind: Kind,
    /// What is to be done.
    pub duty: Duty,
    /// When it fell due as the round was kept.
    pub due_on: Option<NaiveDate>,
    /// What to be careful of.
    pub hazards: Vec<Hazard>,
    /// What became of it, once the round or another visit did it.
    pub outcome: Option<Outcome>,
}

impl RoundTask {
    /// The visit that did it instead of its round.
    pub fn done_elsewhere(&self, round: RoundId) -> Option<VisitId> {
        match self.outcome {
            Some(Outcome::Visited(visit)) if visit != VisitId::of(round, self.system_id) => Some(visit),
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
    /// Whose it is.
    pub account_id: AccountId,
    /// The day it is planned for.
    pub on: NaiveDate,
    /// Anything worth keeping.
    pub note: Option<String>,
    /// What is to be done, by property, system, component and duty.
    pub tasks: Vec<RoundTask>,
    /// How it was done, once it was.
    pub done: Option<DoneOn>,
    /// 1 as it was kept; counts up with every change.
    pub version: i64,
    /// When it was kept.
    pub created_at: DateTime<Utc>,
    /// When it was last changed.
    pub updated_at: DateTime<Utc>,
}

impl Round {
    /// How far it is.
    pub fn state(&self) -> RoundState {
        if self.done.is_some() { RoundState::Done } else { RoundState::Planned }
    }

    /// The visits it made, in the order of its tasks.
    pub fn visits(&self) -> Vec<VisitId> {
        let mut visits: Vec<VisitId> = Vec::new();
        for task in &self.tasks {
            if let Some(Outcome::Visited(visit)) = &task.outcome
                && task.done_elsewhere(self.id).is_none()
                && !visits.contains(visit)
            {
                visits.push(*visit);
            }
        }
        visits
    }

    /// Puts the tasks in their order.
    pub fn in_order(mut self) -> Self {
        self.tasks.sort_by(|one, other| {
            let key = |task: &RoundTask| (task.names.clone(), task.system_id, task.component_id, task.duty);
            key(one).cmp(&key(other))
        });
        self
    }
}

/// A round that is to be kept.
#[derive(Clone, Debug)]
pub struct Draft {
    /// The day.
    pub on: NaiveDate,
    /// Its tasks.
    pub task_ids: Vec<TaskId>,
    /// Anything worth keeping.
    pub note: Option<String>,
}

/// Which rounds to list.
#[derive(Clone, Debug, Default)]
pub struct RoundFilter {
    /// Those in this state; all when absent.
    pub state: Option<RoundState>,
    /// Those planned for this day or later.
    pub from: Option<NaiveDate>,
    /// Those planned for this day or earlier.
    pub to: Option<NaiveDate>,
}

/// What there is to say of a task of a round that was done.
#[derive(Clone, Debug)]
pub struct Word {
    /// The task.
    pub task_id: TaskId,
    /// Whether it was done; otherwise it was looked at.
    pub done: bool,
    /// What was found before.
    pub finding: Option<Finding>,
    /// How full a partial cleaning left it.
    pub left_fraction: Option<f64>,
    /// Whether it is believed to have been cleaned since the last logged service.
    pub cleaned_meanwhile: bool,
    /// Anything worth keeping.
    pub note: Option<String>,
}

/// A task of a round that was left out.
#[derive(Clone, Debug)]
pub struct Skip {
    /// The task.
    pub task_id: TaskId,
    /// Why.
    pub because: Option<String>,
}

/// How a round went. Tasks that nothing is said of were done, with nothing more known of them.
#[derive(Clone, Debug, Default)]
pub struct Report {
    /// The day; the one it was planned for when absent.
    pub visited_on: Option<NaiveDate>,
    /// Who went.
    pub visited_by: Option<String>,
    /// Anything worth keeping, with every visit.
    pub note: Option<String>,
    /// What there is to say of single tasks.
    pub items: Vec<Word>,
    /// Tasks that were left out.
    pub skipped: Vec<Skip>,
}

/// A round that was done.
#[derive(Clone, Debug, PartialEq)]
pub struct DoneRound {
    /// The round.
    pub round: Round,
    /// Its visits, one a system.
    pub visits: Vec<Visit>,
    /// Whether it was reported before, so that this report changed nothing.
    pub reported_before: bool,
}

fn missing(id: RoundId) -> Error {
    Error::NotFound { what: "round", id: id.to_string() }
}

/// Keeps a round as planned. `id` is given from outside so that a repeated request keeps it once.
pub async fn keep(cx: &Context, account: AccountId, id: RoundId, draft: Draft) -> Result<Round> {
    let mut check = Check::new();
    check.date("on", draft.on);
    if let Some(note) = &draft.note {
        check.note("note", note, 4000);
    }
    let number = draft.task_ids.len();
    if number == 0 || number > MOST_TASKS {
        check.refuse("task_ids", format!("it has {number} entries; give 1 to {MOST_TASKS}"));
    }
    let mut seen = BTreeSet::new();
    for (index, task) in draft.task_ids.iter().enumerate() {
        if !seen.insert(*task) {
            check.refuse(&format!("task_ids[{index}]"), "this task stands in the round already");
        }
    }
    check.done()?;
    let found = cx.store.tasks_by_id(account, &draft.task_ids).await?;
    let mut found: HashMap<TaskId, Task> = found.into_iter().map(|task| (task.id, task)).collect();
    let (mut tasks, mut check) = (Vec::with_capacity(number), Check::new());
    for (index, id) in draft.task_ids.iter().enumerate() {
        if let Some(task) = found.remove(id) {
            tasks.push(round_task(task));
        } else {
            check.refuse(&format!("task_ids[{index}]"), format!("there is no task {id} in this account"));
        }
    }
    check.done()?;
    let now = cx.clock.now();
    let round = Round {
        id,
        account_id: account,
        on: draft.on,
        note: draft.note,
        tasks,
        done: None,
        version: 1,
        created_at: now,
        updated_at: now,
    };
    match cx.store.insert_round(&round.in_order()).await? {
        Kept::Done => get(cx, account, id).await,
        Kept::Taken { task_id, round_id } => Err(Error::Conflict(format!(
            "task {task_id} stands in round {round_id}, which is planned; leave it out, or call that round off"
        ))),
    }
}

fn round_task(task: Task) -> RoundTask {
    let (property, system) = task.names;
    RoundTask {
        task_id: task.id,
        property_id: task.property_id,
        system_id: task.system_id,
        component_id: task.component_id,
        names: (property, system, task.forecast.component_name),
        kind: task.kind,
        duty: task.duty,
        due_on: task.due_on,
        hazards: task.forecast.hazards,
        outcome: None,
    }
}

/// One round.
pub async fn get(cx: &Context, account: AccountId, id: RoundId) -> Result<Round> {
    cx.store.round(account, id).await?.ok_or_else(|| missing(id))
}

/// The account's rounds by the day they are planned for.
pub async fn list(
    cx: &Context,
    account: AccountId,
    filter: &RoundFilter,
    cursor: Option<&str>,
    limit: Option<u32>,
) -> Result<PageFound<Round>> {
    let mut check = Check::new();
    check.range(filter.from, filter.to);
    check.done()?;
    let asked = PageAsked::read_few("rounds", cursor, limit, MOST_ROWS)?;
    let rows = cx.store.rounds(account, filter, &asked).await?;
    Ok(asked.page("rounds", rows, |row| (row.on, row.id.0)))
}

/// Calls a planned round off: it is gone, and its tasks are proposed again.
pub async fn call_off(cx: &Context, account: AccountId, id: RoundId, version: i64) -> Result<()> {
    match cx.store.delete_round(account, id, version).await? {
        CalledOff::Done => Ok(()),
        CalledOff::Missing => Err(missing(id)),
        CalledOff::Stale { current } => Err(Error::VersionMismatch { current }),
        CalledOff::WasDone => {
            Err(Error::Conflict("the round was done and stays; withdraw its visits if it was not".to_owned()))
        }
    }
}

/// Reports a round as done: one visit a system is logged, all of them or none. What another visit did since the round was
/// kept is not logged again. The same report twice, or an empty one, changes nothing and gives the same visits.
///
/// # Errors
/// [`Error::Conflict`] when it was reported before and this report says something else.
pub async fn finish(cx: &Context, account: AccountId, id: RoundId, report: Report) -> Result<DoneRound> {
    let mut reported_before = true;
    for attempt in 1.. {
        let round = get(cx, account, id).await?;
        if round.done.is_some() {
            break;
        }
        let (round, visits) = reported(cx, round, &report).await?;
        match cx.store.finish_round(&round, &visits).await? {
            Finished::Missing => return Err(missing(id)),
            Finished::Before => break,
            Finished::Done => {
                cx.ring();
                reported_before = false;
                break;
            }
            Finished::Moved if attempt < ATTEMPTS => {}
            Finished::Moved => {
                let message = "visits keep doing tasks of this round; send the report again";
                return Err(Error::Conflict(message.to_owned()));
            }
        }
    }
    let round = get(cx, account, id).await?;
    let mut visits = Vec::new();
    for visit in round.visits() {
        visits.push(visit::get(cx, account, visit).await?);
    }
    if reported_before {
        again::check(&round, &visits, &report)?;
    }
    Ok(DoneRound { round, visits, reported_before })
}

/// The round as it was done, with its visits, checked.
async fn reported(cx: &Context, mut round: Round, report: &Report) -> Result<(Round, Vec<Visit>)> {
    check_report(&round, report)?;
    let now = cx.clock.now();
    let on = report.visited_on.unwrap_or(round.on);
    let words: HashMap<TaskId, (usize, &Word)> =
        report.items.iter().enumerate().map(|(index, word)| (word.task_id, (index, word))).collect();
    let skipped: HashMap<TaskId, &Skip> = report.skipped.iter().map(|skip| (skip.task_id, skip)).collect();
    // By system, each item with the place in the request that speaks of it.
    let mut visits: BTreeMap<SystemId, (Vec<VisitItem>, Vec<String>)> = BTreeMap::new();
    let round_id = round.id;
    for task in &mut round.tasks {
        if task.done_elsewhere(round_id).is_some() {
            continue;
        }
        if let Some(skip) = skipped.get(&task.task_id) {
            task.outcome = Some(Outcome::Skipped(skip.because.clone()));
            continue;
        }
        let word = words.get(&task.task_id);
        let (items, places) = visits.entry(task.system_id).or_default();
        items.push(item(task, word.map(|(_, word)| *word)));
        places.push(word.map_or_else(String::new, |(index, _)| format!("items[{index}]")));
        task.outcome = Some(Outcome::Visited(VisitId::of(round_id, task.system_id)));
    }
    let (mut logged, mut errors) = (Vec::new(), Vec::new());
    for (system_id, (items, places)) in visits {
        let facts = VisitFacts {
            system_id,
            visited_on: on,
            visited_by: report.visited_by.clone(),
            items,
            note: report.note.clone(),
        };
        match visit::checked(cx, round.account_id, &facts).await {
            Err(Error::Invalid(refused)) => {
                errors.extend(refused.into_iter().map(|error| placed(error, &places, &facts)));
            }
            other => other?,
        }
        let id = VisitId::of(round.id, system_id);
        let (account_id, withdrawn) = (round.account_id, None);
        logged.push(Visit { id, account_id, facts, withdrawn, version: 1, created_at: now, updated_at: now });
    }
    // What is wrong with the day or a note is wrong for every system, and is said once.
    let mut said = BTreeSet::new();
    errors.retain(|error| said.insert((error.field.clone(), error.message.clone())));
    if !errors.is_empty() {
        return Err(Error::Invalid(errors));
    }
    let done = Some(DoneOn { on, at: now });
    Ok((Round { done, version: round.version + 1, updated_at: now, ..round }, logged))
}

fn check_report(round: &Round, report: &Report) -> Result<()> {
    let mut check = Check::new();
    let own: BTreeSet<TaskId> = round.tasks.iter().map(|task| task.task_id).collect();
    let elsewhere: BTreeMap<TaskId, VisitId> =
        round.tasks.iter().filter_map(|task| Some((task.task_id, task.done_elsewhere(round.id)?))).collect();
    let items =
        report.items.iter().enumerate().map(|(index, word)| (format!("items[{index}]"), word.task_id));
    let skipped = report.skipped.iter().enumerate();
    let skipped = skipped.map(|(index, skip)| (format!("skipped[{index}]"), skip.task_id));
    let mut seen = BTreeSet::new();
    for (place, task) in items.chain(skipped) {
        check.within(place, |check| {
            if !own.contains(&task) {
                check.refuse("task_id", format!("there is no task {task} in this round"));
            } else if !seen.insert(task) {
                check.refuse("task_id", "this task was spoken of already; say it once, done or skipped");
            }
        });
    }
    for (index, skip) in report.skipped.iter().enumerate() {
        if let Some(because) = &skip.because {
            check.within(format!("skipped[{index}]"), |check| check.note("because", because, 4000));
        }
    }
    for (index, word) in report.items.iter().enumerate() {
        if let Some(visit) = elsewhere.get(&word.task_id) {
            let message =
                format!("visit {visit} did it since the round was kept; leave it out, or correct that visit");
            check.within(format!("items[{index}]"), |check| check.refuse("task_id", message));
        }
    }
    check.done()?;
    let skipped = report.skipped.iter().filter(|skip| !elsewhere.contains_key(&skip.task_id)).count();
    if elsewhere.len() == round.tasks.len() {
        let message = "other visits did every task since the round was kept; call the round off instead";
        return Err(Error::Conflict(message.to_owned()));
    }
    if skipped + elsewhere.len() == round.tasks.len() {
        let message = "every task was skipped, so nothing was done; call the round off instead";
        return Err(Error::field("skipped", message));
    }
    Ok(())
}

/// What a visit says of a task.
pub(super) fn item(task: &RoundTask, word: Option<&Word>) -> VisitItem {
    VisitItem {
        component_id: task.component_id,
        duty: task.duty,
        done: word.is_none_or(|word| word.done),
        finding: word.and_then(|word| word.finding),
        left_fraction: word.and_then(|word| word.left_fraction),
        cleaned_meanwhile: word.is_some_and(|word| word.cleaned_meanwhile),
        note: word.and_then(|word| word.note.clone()),
    }
}

/// A refusal of a visit at the place of the report that it is about; what nobody spoke of is named in words.
fn placed(error: FieldError, places: &[String], facts: &VisitFacts) -> FieldError {
    let read = |field: &str| {
        let (number, rest) = field.strip_prefix("items[")?.split_once(']')?;
        let index: usize = number.parse().ok()?;
        Some((places.get(index)?.clone(), facts.items.get(index)?, rest.trim_start_matches('.').to_owned()))
    };
    let Some((place, item, field)) = read(&error.field) else { return error };
    if place.is_empty() {
        let message = format!(
            "{} of component {}: {}; skip it if it was not done",
            item.duty.code(),
            item.component_id,
            error.message
        );
        return FieldError { field: "items".to_owned(), message };
    }
    FieldError { field: format!("{place}.{field}"), message: error.message }
}
