//! Rounds.

use super::mirror_open;
use crate::domain::base::error::Result;
use crate::domain::base::ids::{RoundId, TaskId};
use crate::domain::model::round::{DoneRound, SkippedTask, TaskOutcome, TaskReport};
use crate::domain::model::sentence::Sentence;
use crate::domain::model::{duty, hazard, round};
use crate::domain::rules::rounds::figures::cost;
use crate::domain::rules::rounds::problem::Parts;
use crate::domain::rules::rounds::proposal;
use crate::domain::rules::rounds::proposal::ScheduledTask;
use eavesward_contract as wire;
use std::collections::BTreeSet;

mirror_open!(RoundState: round::RoundState { Planned, Done });

impl From<Parts> for wire::RoundCosts {
    fn from(parts: Parts) -> Self {
        Self {
            trips: cost(parts.trips),
            stops: cost(parts.stops),
            early: cost(parts.early),
            late: cost(parts.late),
        }
    }
}

impl From<ScheduledTask> for wire::RoundTask {
    fn from(placed: ScheduledTask) -> Self {
        let (days_early, days_late, outside) = (placed.days_early(), placed.days_late(), placed.is_outside());
        let ScheduledTask { task, allowed, .. } = placed;
        Self {
            task_id: task.id.0,
            property_id: Some(task.property_id.0),
            property_name: Some(task.property_name),
            system_id: Some(task.system_id.0),
            system_name: Some(task.system_name),
            component_id: Some(task.component_id.0),
            component_name: Some(task.forecast.component_name),
            component_kind: Some(task.kind.into()),
            duty: task.duty.into(),
            title: task.duty.title().to_owned(),
            due_on: task.due_on,
            earliest_on: allowed.earliest_on,
            aim_on: allowed.aim_on,
            latest_on: allowed.latest_on,
            outside,
            days_early,
            days_late,
            minutes: task.duty.minutes(),
        }
    }
}

fn proposed(round: proposal::ProposedRound, most_minutes: u32) -> wire::ProposedRound {
    let properties: BTreeSet<_> = round.tasks.iter().map(|placed| placed.task.property_id).collect();
    wire::ProposedRound {
        on: round.on,
        properties: properties.len() as u32,
        over_most_minutes: round.minutes > u64::from(most_minutes),
        tasks: round.tasks.into_iter().map(Into::into).collect(),
        minutes: round.minutes,
        bring: round.bring.into_iter().map(str::to_owned).collect(),
        cautions: round.hazards.into_iter().map(Into::into).collect(),
        costs: round.parts.into(),
        reasons: round.reasons.into_iter().map(Into::into).collect(),
        may_join: round.may_join.into_iter().map(Into::into).collect(),
    }
}

impl From<proposal::OverdueRound> for wire::OverdueRound {
    fn from(round: proposal::OverdueRound) -> Self {
        let id = round.id;
        let advice = Sentence::of("report_or_call_off")
            .say("If it was done, report it: ")
            .word("report", &format!("POST /v1/rounds/{id}/done"))
            .say(". If not, call it off: ")
            .word("call_off", &format!("DELETE /v1/rounds/{id}"))
            .say(".");
        Self { id: id.0, on: round.on, tasks: round.tasks as u32, advice: advice.into() }
    }
}

impl From<proposal::Proposal> for wire::RoundProposal {
    fn from(proposal: proposal::Proposal) -> Self {
        let figures = proposal.figures;
        let unplaced = proposal.unplaced.into_iter().map(|unplaced| wire::UnplacedTask {
            task_id: unplaced.task.id.0,
            property_name: Some(unplaced.task.property_name),
            system_name: Some(unplaced.task.system_name),
            component_name: Some(unplaced.task.forecast.component_name),
            duty: unplaced.task.duty.into(),
            due_on: unplaced.task.due_on,
            why: unplaced.why.into(),
        });
        Self {
            from: proposal.from,
            to: proposal.to,
            unplaced: unplaced.collect(),
            cost: cost(proposal.parts.sum()),
            costs: proposal.parts.into(),
            lower_bound: cost(proposal.lower_bound),
            proven: proposal.parts.sum() == proposal.lower_bound,
            already_planned: proposal.already_planned as u32,
            overdue_rounds: proposal.overdue_rounds.into_iter().map(Into::into).collect(),
            more_may_join: proposal.more_may_join,
            rounds: proposal.rounds.into_iter().map(|round| proposed(round, figures.most_minutes)).collect(),
            figures: wire::RoundFigures {
                trip_cost: figures.trip_cost,
                stop_cost: figures.stop_cost,
                cost_per_day_early: figures.cost_per_day_early,
                cost_per_day_late: figures.cost_per_day_late,
                most_minutes: figures.most_minutes,
                nearby_km: figures.nearby_km,
                judgement: proposal.defaults.into_iter().map(str::to_owned).collect(),
            },
        }
    }
}

impl From<wire::RoundRequest> for round::RoundDraft {
    fn from(request: wire::RoundRequest) -> Self {
        let task_ids = request.task_ids.into_iter().map(TaskId).collect();
        Self { on: request.on, task_ids, note: request.note }
    }
}

fn kept(task: round::RoundTask, round: RoundId) -> wire::KeptTask {
    let done_elsewhere = task.done_elsewhere(round).is_some();
    let (visit_id, skipped, skipped_because) = match task.outcome {
        None => (None, false, None),
        Some(TaskOutcome::Visited(visit)) => (Some(visit.0), false, None),
        Some(TaskOutcome::Skipped(because)) => (None, true, because),
    };
    wire::KeptTask {
        task_id: task.task_id.0,
        property_id: Some(task.property_id.0),
        property_name: Some(task.property_name),
        system_id: Some(task.system_id.0),
        system_name: Some(task.system_name),
        component_id: Some(task.component_id.0),
        component_name: Some(task.component_name),
        component_kind: Some(task.kind.into()),
        duty: task.duty.into(),
        title: task.duty.title().to_owned(),
        due_on: task.due_on,
        minutes: task.duty.minutes(),
        visit_id,
        done_elsewhere,
        skipped,
        skipped_because,
    }
}

impl From<round::Round> for wire::Round {
    fn from(round: round::Round) -> Self {
        let own = || round.tasks.iter().filter(|task| task.done_elsewhere(round.id).is_none());
        let duties = || own().map(|task| task.duty);
        let hazards = hazard::each_once(own().flat_map(|task| &task.hazards));
        Self {
            id: round.id.0,
            on: round.on,
            state: round.state().into(),
            minutes: duties().map(|duty| u64::from(duty.minutes())).sum(),
            bring: duty::bring(duties()).into_iter().map(str::to_owned).collect(),
            cautions: hazards.into_iter().map(Into::into).collect(),
            note: round.note,
            tasks: round.tasks.into_iter().map(|task| kept(task, round.id)).collect(),
            done_on: round.done.as_ref().map(|done| done.on),
            done_at: round.done.map(|done| done.at),
            version: round.version,
            created_at: round.created_at,
            updated_at: round.updated_at,
        }
    }
}

/// Reads how a round went.
pub fn report(request: wire::RoundDoneRequest) -> Result<round::RoundReport> {
    let items = request.items.into_iter().map(|item| {
        Ok(TaskReport {
            task_id: TaskId(item.task_id),
            done: item.done,
            finding: item.finding.map(TryInto::try_into).transpose()?,
            left_fraction: item.left_fraction,
            cleaned_meanwhile: item.cleaned_meanwhile,
            note: item.note,
        })
    });
    let skipped = request.skipped.into_iter();
    let skipped = skipped.map(|skip| SkippedTask { task_id: TaskId(skip.task_id), because: skip.because });
    Ok(round::RoundReport {
        visited_on: request.visited_on,
        visited_by: request.visited_by,
        note: request.note,
        items: items.collect::<Result<_>>()?,
        skipped: skipped.collect(),
    })
}

impl From<DoneRound> for wire::RoundDone {
    fn from(done: DoneRound) -> Self {
        let visits = done.visits.into_iter().map(Into::into).collect();
        Self { round: done.round.into(), visits, reported_before: done.reported_before }
    }
}
