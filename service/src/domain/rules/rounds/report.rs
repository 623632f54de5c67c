//! Checks the report of a round and makes the items of its visits.

use crate::domain::base::bounds::NOTE_LENGTH;
use crate::domain::base::check::Check;
use crate::domain::base::error::{Error, FieldError, Result};
use crate::domain::base::ids::{TaskId, VisitId};
use crate::domain::model::round::{Round, RoundReport, RoundTask, TaskReport};
use crate::domain::model::visit::{VisitFacts, VisitItem};
use std::collections::{BTreeMap, BTreeSet};

pub(crate) fn check_report(round: &Round, report: &RoundReport) -> Result<()> {
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
                check.refuse("task_id", "this task is listed twice; list it once, as done or as skipped");
            }
        });
    }
    for (index, skip) in report.skipped.iter().enumerate() {
        if let Some(because) = &skip.because {
            check.within(format!("skipped[{index}]"), |check| check.note("because", because, NOTE_LENGTH));
        }
    }
    for (index, word) in report.items.iter().enumerate() {
        if let Some(visit) = elsewhere.get(&word.task_id) {
            let message = format!(
                "visit {visit} did this task after the round was kept; leave it out, or correct that visit"
            );
            check.within(format!("items[{index}]"), |check| check.refuse("task_id", message));
        }
    }
    check.done()?;
    let skipped = report.skipped.iter().filter(|skip| !elsewhere.contains_key(&skip.task_id)).count();
    if elsewhere.len() == round.tasks.len() {
        let message =
            "other visits have done every task since the round was kept; call the round off instead";
        return Err(Error::Conflict(message.to_owned()));
    }
    if skipped + elsewhere.len() == round.tasks.len() {
        let message = "every task was skipped, so nothing was done; call the round off instead";
        return Err(Error::field("skipped", message));
    }
    Ok(())
}

/// What a visit records about a task.
pub(crate) fn item(task: &RoundTask, word: Option<&TaskReport>) -> VisitItem {
    let item = VisitItem::done(task.component_id, task.duty);
    let Some(word) = word else { return item };
    VisitItem {
        done: word.done,
        finding: word.finding,
        left_fraction: word.left_fraction,
        cleaned_meanwhile: word.cleaned_meanwhile,
        note: word.note.clone(),
        ..item
    }
}

/// Moves an error of a visit to the place in the report that caused it. If the report does not mention the task,
/// the message names it.
pub(crate) fn placed(error: FieldError, places: &[String], facts: &VisitFacts) -> FieldError {
    let read = |field: &str| {
        let (number, rest) = field.strip_prefix("items[")?.split_once(']')?;
        let index: usize = number.parse().ok()?;
        Some((places.get(index)?.clone(), facts.items.get(index)?, rest.trim_start_matches('.').to_owned()))
    };
    let Some((place, item, field)) = read(&error.field) else { return error };
    if place.is_empty() {
        let message = format!(
            "{} of component {}: {}; skip it if it was not done",
            item.duty.word(),
            item.component_id,
            error.message
        );
        return FieldError { field: "items".to_owned(), message };
    }
    FieldError { field: format!("{place}.{field}"), message: error.message }
}
