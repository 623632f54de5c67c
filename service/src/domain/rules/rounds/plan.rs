//! Plans rounds from the tasks that were read.

use crate::domain::base::ids::PropertyId;
use crate::domain::model::duty::{Duty, bring};
use crate::domain::model::hazard::each_once;
use crate::domain::model::property::Position;
use crate::domain::model::sentence::Sentence;
use crate::domain::model::task::Task;
use crate::domain::rules::rounds::allowed::Allowed;
use crate::domain::rules::rounds::figures::PlanRequest;
use crate::domain::rules::rounds::places::near;
use crate::domain::rules::rounds::problem::{Job, Near, Parts, Problem, Trip};
use crate::domain::rules::rounds::proposal::{
    OverdueRound, Proposal, ProposedRound, ScheduledTask, UnscheduledTask,
};
use crate::domain::rules::rounds::solve::solve;
use crate::domain::rules::rounds::why;
use chrono::NaiveDate;
use std::collections::{BTreeMap, HashMap};
use std::ops::RangeInclusive;

/// Days after the plan within which a task may fall due and still be offered to a round. Judgement: a season.
pub const JOIN_DAYS: i64 = 92;

/// How many days outside its allowed days a task may be put on a working day. Judgement: a week, as for overdue
/// tasks.
const OUTSIDE_DAYS: i64 = 7;

/// A task, and the days on which it may be done.
#[derive(Clone)]
pub(crate) struct AllowedTask {
    pub task: Task,
    pub allowed: Allowed,
}

/// What was read from the store.
#[derive(Default)]
pub(crate) struct PlanInputs {
    pub due: Vec<AllowedTask>,
    pub may_join: Vec<AllowedTask>,
    pub already_planned: usize,
    pub overdue_rounds: Vec<OverdueRound>,
    pub more_may_join: bool,
}

/// Makes the plan, only from what was read.
pub(crate) fn plan(
    asked: PlanRequest,
    found: PlanInputs,
    places: &[PropertyId],
    at: &HashMap<PropertyId, Position>,
) -> Proposal {
    let (mut jobs, mut tasks, mut unplaced) = (Vec::new(), Vec::new(), Vec::new());
    for AllowedTask { task, allowed } in found.due {
        let place = places.binary_search(&task.property_id).unwrap_or(0);
        match interval(&asked, task.duty, allowed) {
            Ok(days) => {
                let (first, last) = days.into_inner();
                let (minutes, aim) = (task.duty.minutes(), number(allowed.aim_on));
                jobs.push(Job { place, minutes, first, last, aim });
                tasks.push(AllowedTask { task, allowed });
            }
            Err(why) => unplaced.push(UnscheduledTask { task, allowed, why }),
        }
    }
    let problem = Problem {
        days: asked.days.iter().map(|day| number(*day)).collect(),
        jobs,
        // A property that was removed after its tasks were read has no position, and shares no trip.
        near: near_known(places, at, asked.figures.nearby_km),
        rates: asked.figures.rates(),
        most_minutes: asked.figures.most_minutes,
    };
    let plan = solve(&problem);
    let mut parts = Parts::default();
    let mut rounds: Vec<ProposedRound> = Vec::with_capacity(plan.trips.len());
    for trip in &plan.trips {
        let round = round(&asked, &problem, trip, &tasks, at);
        parts += round.parts;
        rounds.push(round);
    }
    join(&mut rounds, found.may_join, asked.figures.most_minutes);
    Proposal {
        from: asked.from,
        to: asked.to,
        figures: asked.figures,
        defaults: asked.defaults,
        rounds,
        unplaced,
        parts,
        lower_bound: plan.lower_bound,
        already_planned: found.already_planned,
        overdue_rounds: found.overdue_rounds,
        more_may_join: found.more_may_join,
    }
}

/// Which places are near each other, among those with a position.
fn near_known(places: &[PropertyId], at: &HashMap<PropertyId, Position>, km: f64) -> Near {
    let known: Vec<(usize, Position)> =
        places.iter().enumerate().filter_map(|(index, place)| Some((index, *at.get(place)?))).collect();
    let positions: Vec<Position> = known.iter().map(|(_, position)| *position).collect();
    let (among, mut all) = (near(&positions, km), Near::none(places.len()));
    for (one, (index, _)) in known.iter().enumerate() {
        for other in among.of(one) {
            all.join(*index, known[*other].0);
        }
    }
    all
}

fn number(day: NaiveDate) -> i64 {
    i64::from(day.to_epoch_days())
}

/// The working days of a task's interval, first and last by index. Otherwise the reason why there is none.
fn interval(
    asked: &PlanRequest,
    duty: Duty,
    allowed: Allowed,
) -> std::result::Result<RangeInclusive<usize>, Sentence> {
    let (first_on, last_on) = (allowed.earliest_on.max(asked.from), allowed.latest_on.min(asked.to));
    let first = asked.days.partition_point(|day| *day < first_on);
    let after = asked.days.partition_point(|day| *day <= last_on);
    if first < after {
        return Ok(first..=after - 1);
    }
    // No allowed day is a working day. A task a little late is better than none, but draining for frost must not be
    // late.
    let outside = if duty == Duty::DrainForFrost { after.checked_sub(1) } else { Some(first) };
    let far = |day: &NaiveDate| {
        let days_late = day.signed_duration_since(allowed.latest_on).num_days();
        days_late.max(allowed.earliest_on.signed_duration_since(*day).num_days())
    };
    if let Some(index) = outside
        && asked.days.get(index).is_some_and(|day| far(day) <= OUTSIDE_DAYS)
    {
        return Ok(index..=index);
    }
    Err(Sentence::of("no_working_day")
        .say("It may be done from ")
        .day("earliest", allowed.earliest_on)
        .say(" to ")
        .day("latest", allowed.latest_on)
        .say(", but there is no working day from ")
        .day("first", first_on)
        .say(" to ")
        .day("last", last_on)
        .say(". Ask for more days, or work on one of these."))
}

fn round(
    asked: &PlanRequest,
    problem: &Problem,
    trip: &Trip,
    tasks: &[AllowedTask],
    at: &HashMap<PropertyId, Position>,
) -> ProposedRound {
    let on = asked.days[trip.day];
    let placed = trip.jobs.iter().map(|job| {
        let AllowedTask { task, allowed } = tasks[*job].clone();
        ScheduledTask { task, allowed, on }
    });
    let mut placed: Vec<ScheduledTask> = placed.collect();
    placed.sort_by(|one, other| order(&one.task).cmp(&order(&other.task)));
    ProposedRound {
        on,
        minutes: problem.minutes(&trip.jobs),
        bring: bring(placed.iter().map(|placed| placed.task.duty)),
        hazards: each_once(placed.iter().flat_map(|placed| &placed.task.forecast.hazards)),
        parts: problem.parts(trip).unwrap_or_default(),
        reasons: why::reasons(asked, problem, trip, &placed, at),
        tasks: placed,
        may_join: Vec::new(),
    }
}

/// The order of tasks: by names of property and system, then by due date.
fn order(task: &Task) -> impl Ord + '_ {
    let names = (&task.property_name, &task.system_name);
    (names, task.property_id, task.system_id, task.sort_on(), task.id)
}

/// Offers each task that may already be done to a round at its property. It takes the last round that is within the
/// task's interval and has room, because a later round is less early.
fn join(rounds: &mut [ProposedRound], tasks: Vec<AllowedTask>, most_minutes: u32) {
    let mut by_property: BTreeMap<PropertyId, Vec<usize>> = BTreeMap::new();
    for (index, round) in rounds.iter().enumerate() {
        for placed in &round.tasks {
            let at = by_property.entry(placed.task.property_id).or_default();
            if at.last() != Some(&index) {
                at.push(index);
            }
        }
    }
    let mut minutes: Vec<u64> = rounds.iter().map(|round| round.minutes).collect();
    for AllowedTask { task, allowed } in tasks {
        let own = u64::from(task.duty.minutes());
        let there = by_property.get(&task.property_id).into_iter().flatten().rev().find(|index| {
            let on = rounds[**index].on;
            (allowed.earliest_on..=allowed.latest_on).contains(&on)
                && minutes[**index] + own <= u64::from(most_minutes)
        });
        if let Some(index) = there {
            minutes[*index] += own;
            let round = &mut rounds[*index];
            round.may_join.push(ScheduledTask { task, allowed, on: round.on });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use uuid::Uuid;

    #[test]
    fn a_place_that_is_gone_keeps_none_of_the_others_apart() {
        let [one, gone, two] = [1, 2, 3].map(|number| PropertyId(Uuid::from_u128(number)));
        let position = |latitude_deg| Position { latitude_deg, longitude_deg: 7.0 };
        let at = HashMap::from([(one, position(48.0)), (two, position(48.01))]);
        let near = near_known(&[one, gone, two], &at, 2.0);
        assert!(near.both(0, 2) && !near.both(0, 1) && !near.both(1, 2));
    }
}
