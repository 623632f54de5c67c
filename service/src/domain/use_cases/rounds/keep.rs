//! Kept rounds: keep, list, cancel, report as done.

use crate::domain::base::bounds::NOTE_LENGTH;
use crate::domain::base::check::Check;
use crate::domain::base::error::{Error, Result};
use crate::domain::base::ids::{AccountId, RoundId, SystemId, TaskId, VisitId};
use crate::domain::base::paging::{ListPage, PageRequest};
use crate::domain::context::{Context, latest_today};
use crate::domain::model::round::{
    DoneOn, DoneRound, MOST_ROWS, Round, RoundDraft, RoundFilter, RoundReport, RoundTask, SkippedTask, TASKS,
    TaskOutcome, TaskReport,
};
use crate::domain::model::task::Task;
use crate::domain::model::visit::{Visit, VisitFacts, VisitItem};
use crate::domain::ports::store::outcomes::{Cancelled, Finished, Inserted};
use crate::domain::rules::rounds::repeated;
use crate::domain::rules::rounds::report::placed;
use crate::domain::rules::rounds::report::{check_report, item};
use crate::domain::use_cases::visits;
use std::collections::{BTreeMap, BTreeSet, HashMap};

/// How often a report is checked again if visits do tasks of its round meanwhile.
const ATTEMPTS: usize = 4;

/// How far from today a round may be planned, days. Judgement: the dates of its tasks move within months.
const MOST_DAYS_AWAY: i64 = 366;

fn missing(id: RoundId) -> Error {
    Error::NotFound { what: "round", id: id.to_string() }
}

/// Keeps a round as planned. The caller gives the `id`, so that a repeated request keeps it once.
pub async fn keep(cx: &Context, account: AccountId, id: RoundId, draft: RoundDraft) -> Result<Round> {
    // A first attempt that was cut off may have kept it, and its tasks may be gone since.
    if let Some(kept) = cx.store.round(account, id).await? {
        return Ok(kept);
    }
    let mut check = Check::new();
    let away = (draft.on - latest_today(cx)).num_days().abs();
    if away > MOST_DAYS_AWAY {
        check.refuse("on", format!("{} is more than a year from today; plan it nearer to its day", draft.on));
    }
    if let Some(note) = &draft.note {
        check.note("note", note, NOTE_LENGTH);
    }
    let number = draft.task_ids.len();
    check.entries("task_ids", number, TASKS);
    let mut seen = BTreeSet::new();
    for (index, task) in draft.task_ids.iter().enumerate() {
        if !seen.insert(*task) {
            check.refuse(&format!("task_ids[{index}]"), "the round already has this task");
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
        Inserted::Done => get(cx, account, id).await,
        Inserted::Taken { task_id, round_id } => Err(Error::Conflict(format!(
            "task {task_id} is already in planned round {round_id}; leave it out, or cancel that round"
        ))),
    }
}

fn round_task(task: Task) -> RoundTask {
    RoundTask {
        task_id: task.id,
        property_id: task.property_id,
        system_id: task.system_id,
        component_id: task.component_id,
        property_name: task.property_name,
        system_name: task.system_name,
        component_name: task.forecast.component_name,
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
) -> Result<ListPage<Round>> {
    let mut check = Check::new();
    check.range(filter.from, filter.to);
    check.done()?;
    let asked = PageRequest::read_with_max("rounds", cursor, limit, MOST_ROWS)?;
    let rows = cx.store.rounds(account, filter, &asked).await?;
    Ok(asked.page("rounds", rows, |row| (row.on, row.id.0)))
}

/// Calls a planned round off. The round is removed, and its tasks are proposed again.
pub async fn cancel(cx: &Context, account: AccountId, id: RoundId, version: i64) -> Result<()> {
    match cx.store.delete_round(account, id, version).await? {
        Cancelled::Done => Ok(()),
        Cancelled::Missing => Err(missing(id)),
        Cancelled::Stale { current } => Err(Error::VersionMismatch { current }),
        Cancelled::WasDone => Err(Error::Conflict(
            "the round is reported as done; if that is wrong, withdraw its visits".to_owned(),
        )),
    }
}

/// Reports a round as done: logs one visit for each system, all or none. Tasks that another visit has done since
/// the round was kept are not logged again. The same report twice, or an empty one, changes nothing and returns the
/// same visits.
///
/// # Errors
/// [`Error::Conflict`] if it was already reported and this report differs.
pub async fn finish(cx: &Context, account: AccountId, id: RoundId, report: RoundReport) -> Result<DoneRound> {
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
                cx.wake_jobs();
                reported_before = false;
                break;
            }
            Finished::Moved if attempt < ATTEMPTS => {}
            Finished::Moved => {
                let message =
                    "other visits have changed tasks of this round meanwhile; send the report again";
                return Err(Error::Conflict(message.to_owned()));
            }
        }
    }
    let round = get(cx, account, id).await?;
    let mut visits = Vec::new();
    for visit in round.visits() {
        visits.push(visits::get(cx, account, visit).await?);
    }
    if reported_before {
        repeated::check(&round, &visits, &report)?;
    }
    Ok(DoneRound { round, visits, reported_before })
}

/// The items of one visit.
#[derive(Default)]
struct SystemItems {
    items: Vec<VisitItem>,
    /// For each item, the place in the request that mentions it; empty if none does.
    places: Vec<String>,
}

/// The round as done, with its visits, checked.
async fn reported(cx: &Context, mut round: Round, report: &RoundReport) -> Result<(Round, Vec<Visit>)> {
    check_report(&round, report)?;
    let now = cx.clock.now();
    let on = report.visited_on.unwrap_or(round.on);
    let words: HashMap<TaskId, (usize, &TaskReport)> =
        report.items.iter().enumerate().map(|(index, word)| (word.task_id, (index, word))).collect();
    let skipped: HashMap<TaskId, &SkippedTask> =
        report.skipped.iter().map(|skip| (skip.task_id, skip)).collect();
    let mut visits: BTreeMap<SystemId, SystemItems> = BTreeMap::new();
    let round_id = round.id;
    for task in &mut round.tasks {
        if task.done_elsewhere(round_id).is_some() {
            continue;
        }
        if let Some(skip) = skipped.get(&task.task_id) {
            task.outcome = Some(TaskOutcome::Skipped(skip.because.clone()));
            continue;
        }
        let word = words.get(&task.task_id);
        let of_system = visits.entry(task.system_id).or_default();
        of_system.items.push(item(task, word.map(|(_, word)| *word)));
        of_system.places.push(word.map_or_else(String::new, |(index, _)| format!("items[{index}]")));
        task.outcome = Some(TaskOutcome::Visited(VisitId::of(round_id, task.system_id)));
    }
    let (mut logged, mut errors) = (Vec::new(), Vec::new());
    for (system_id, SystemItems { items, places }) in visits {
        let facts = VisitFacts {
            system_id,
            visited_on: on,
            visited_by: report.visited_by.clone(),
            items,
            note: report.note.clone(),
        };
        match visits::checked(cx, round.account_id, &facts).await {
            Err(Error::Invalid(refused)) => {
                errors.extend(refused.listed.into_iter().map(|error| placed(error, &places, &facts)));
            }
            other => other?,
        }
        let id = VisitId::of(round.id, system_id);
        let (account_id, withdrawn) = (round.account_id, None);
        logged.push(Visit { id, account_id, facts, withdrawn, version: 1, created_at: now, updated_at: now });
    }
    // An error in the day or a note applies to every system, and is reported once.
    let mut said = BTreeSet::new();
    errors.retain(|error| said.insert((error.field.clone(), error.message.clone())));
    if !errors.is_empty() {
        return Err(Error::Invalid(errors.into()));
    }
    let done = Some(DoneOn { on, at: now });
    Ok((Round { done, version: round.version + 1, updated_at: now, ..round }, logged))
}
