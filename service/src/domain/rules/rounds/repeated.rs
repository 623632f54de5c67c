//! A second report of a done round: whether it says the same as the first.

use crate::domain::base::error::{Error, Result};
use crate::domain::base::ids::TaskId;
use crate::domain::model::round::{Round, RoundReport, TaskOutcome, TaskReport};
use crate::domain::model::visit::Visit;
use crate::domain::rules::rounds::report::item;
use std::collections::HashMap;

/// The most visits that the error message lists.
const MOST_NAMED: usize = 10;

/// Refuses a report that differs from the accepted one. An empty report only asks for the visits. A visit that was
/// corrected since is not compared, because it no longer shows the first report.
pub(crate) fn check(round: &Round, visits: &[Visit], report: &RoundReport) -> Result<()> {
    if says_nothing(report) || is_same(round, visits, report) {
        return Ok(());
    }
    let mut named: Vec<String> = visits.iter().take(MOST_NAMED).map(|visit| visit.id.to_string()).collect();
    if visits.len() > MOST_NAMED {
        named.push(format!("{} more", visits.len() - MOST_NAMED));
    }
    let on = round.done.as_ref().map_or(round.on, |done| done.on);
    Err(Error::Conflict(format!(
        "the round was already reported as done on {on}, and this report differs from that one; nothing was \
         changed. Correct its visits instead: {}",
        named.join(", ")
    )))
}

fn says_nothing(report: &RoundReport) -> bool {
    let RoundReport { visited_on, visited_by, note, items, skipped } = report;
    visited_on.is_none() && visited_by.is_none() && note.is_none() && items.is_empty() && skipped.is_empty()
}

fn is_same(round: &Round, visits: &[Visit], report: &RoundReport) -> bool {
    let words: HashMap<TaskId, &TaskReport> = report.items.iter().map(|word| (word.task_id, word)).collect();
    let skipped: HashMap<TaskId, &Option<String>> =
        report.skipped.iter().map(|skip| (skip.task_id, &skip.because)).collect();
    let untouched = |visit: &&Visit| visit.version == 1;
    let on = report.visited_on.unwrap_or(round.on);
    let same_day = round.done.as_ref().is_none_or(|done| done.on == on);
    let same_words = visits
        .iter()
        .filter(untouched)
        .all(|visit| visit.facts.visited_by == report.visited_by && visit.facts.note == report.note);
    let known = |task: &TaskId| round.tasks.iter().any(|own| own.task_id == *task);
    let all_known = words.keys().chain(skipped.keys()).all(known);
    same_day
        && same_words
        && all_known
        && round.tasks.iter().all(|task| match &task.outcome {
            _ if task.done_elsewhere(round.id).is_some() => !words.contains_key(&task.task_id),
            Some(TaskOutcome::Skipped(because)) => {
                skipped.get(&task.task_id).is_some_and(|said| *said == because)
            }
            Some(TaskOutcome::Visited(id)) => {
                let said = item(task, words.get(&task.task_id).copied());
                let visit = visits.iter().filter(untouched).find(|visit| visit.id == *id);
                !skipped.contains_key(&task.task_id)
                    && visit.is_none_or(|visit| visit.facts.items.contains(&said))
            }
            None => true,
        })
}
