//! Proposes rounds: reads the tasks and lets the rules make a plan. Nothing is stored.

use crate::domain::base::blocking::blocking;
use crate::domain::base::clock::local_date;
use crate::domain::base::error::{Error, Result};
use crate::domain::base::ids::{AccountId, PropertyId};
use crate::domain::base::paging::{After, PageRequest};
use crate::domain::context::Context;
use crate::domain::model::part::Kind;
use crate::domain::model::task::TaskFilter;
use crate::domain::rules::rounds::allowed::{allowed, later};
use crate::domain::rules::rounds::figures::{PlanRequest, ProposalRequest};
use crate::domain::rules::rounds::plan::{AllowedTask, JOIN_DAYS, PlanInputs, plan};
use crate::domain::rules::rounds::problem::MOST_JOBS;
use crate::domain::rules::rounds::proposal::{OverdueRound, Proposal};
use std::collections::{BTreeMap, HashMap, HashSet};

/// Tasks read at a time.
const PAGE: u32 = 500;

/// Combines into trips the account's tasks that fall due up to a day, and tanks that are best emptied by then.
pub async fn propose(cx: &Context, account: AccountId, ask: &ProposalRequest) -> Result<Proposal> {
    let asked = ask.check(cx.clock.now())?;
    let found = read(cx, account, ask, &asked).await?;
    let mut places: Vec<PropertyId> = found.due.iter().map(|due| due.task.property_id).collect();
    places.sort_unstable();
    places.dedup();
    let positions = if asked.figures.nearby_km > 0.0 && places.len() > 1 {
        cx.store.positions(account, &places).await?
    } else {
        HashMap::new()
    };
    // Planning two thousand tasks may take a second or two, which would delay other requests.
    blocking(move || Ok(plan(asked, found, &places, &positions))).await
}

async fn read(
    cx: &Context,
    account: AccountId,
    ask: &ProposalRequest,
    asked: &PlanRequest,
) -> Result<PlanInputs> {
    let now = cx.clock.now();
    let (mut planned, mut overdue) = (HashSet::new(), BTreeMap::new());
    for task in cx.store.planned_tasks(account).await? {
        if task.on < local_date(now, task.zone) {
            *overdue.entry((task.on, task.round_id)).or_insert(0) += 1;
        } else if !ask.include_planned {
            planned.insert(task.task_id);
        }
    }
    let mut filter = TaskFilter {
        property_id: ask.property_id,
        system_id: ask.system_id,
        to: Some(later(asked.to, JOIN_DAYS)),
        ..TaskFilter::default()
    };
    let overdue = overdue.into_iter();
    let overdue_rounds = overdue.map(|((on, id), tasks)| OverdueRound { id, on, tasks }).collect();
    let mut found = PlanInputs { overdue_rounds, ..PlanInputs::default() };
    // A refresh between two pages can move a task from one to the other.
    let mut seen = HashSet::new();
    let mut page = PageRequest { after: None, limit: PAGE };
    loop {
        let mut rows = cx.store.tasks(account, &filter, &page).await?;
        let more = rows.len() > PAGE as usize;
        rows.truncate(PAGE as usize);
        page.after = rows.last().map(|row| After { key: row.sort_on(), id: row.id.0 });
        for task in rows {
            if !seen.insert(task.id) {
                continue;
            }
            let Some(allowed) = allowed(&task, asked.from, asked.to) else { continue };
            if allowed.aim_on > asked.to && allowed.earliest_on > asked.to {
                continue;
            }
            if planned.contains(&task.id) {
                found.already_planned += usize::from(allowed.aim_on <= asked.to);
            } else if allowed.aim_on <= asked.to {
                found.due.push(AllowedTask { task, allowed });
            } else if found.may_join.len() < MOST_JOBS {
                found.may_join.push(AllowedTask { task, allowed });
            } else {
                // The remaining tasks fall due later still. Only a tank can still be part of the plan, if it is
                // best emptied within it.
                found.more_may_join = true;
                filter.kind = Some(Kind::Tank);
            }
            if found.due.len() > MOST_JOBS {
                let message = format!(
                    "more than {MOST_JOBS} tasks fall due by {}; ask for fewer days, or set property_id \
                     or system_id",
                    asked.to
                );
                return Err(Error::field("to", message));
            }
        }
        if !more {
            return Ok(found);
        }
    }
}
