//! Why a round is on its day, in sentences.

use crate::domain::base::ids::PropertyId;
use crate::domain::model::property::Position;
use crate::domain::rules::rounds::figures::{PlanRequest, cost};
use crate::domain::rules::rounds::problem::{Problem, Trip};
use crate::domain::rules::rounds::proposal::ScheduledTask;
use std::collections::HashMap;

/// One sentence each: which days are possible, why this one, and what is unusual.
pub(crate) fn reasons(
    asked: &PlanRequest,
    problem: &Problem,
    trip: &Trip,
    tasks: &[ScheduledTask],
    at: &HashMap<PropertyId, Position>,
) -> Vec<String> {
    let mut reasons = vec![days(asked, problem, trip, tasks)];
    reasons.extend(costs(asked, problem, trip, tasks));
    reasons.extend(shared(tasks, at));
    if let [job] = trip.jobs.as_slice()
        && problem.jobs[*job].minutes > problem.most_minutes
    {
        reasons.push(format!(
            "The task takes {} min, more than the limit of {} min for a trip, so it has a trip of its own.",
            problem.jobs[*job].minutes, problem.most_minutes
        ));
    }
    reasons.extend(tasks.iter().filter(|placed| placed.is_outside()).map(outside));
    reasons.extend(tasks.iter().filter_map(|placed| {
        let due = placed.due_before(asked.from)?;
        let name = name(placed);
        Some(if due < placed.task.as_of {
            format!("{name} has been overdue since {due}.")
        } else {
            format!("{name} falls due on {due}, before the plan begins.")
        })
    }));
    reasons
}

fn name(placed: &ScheduledTask) -> String {
    format!("{} ({})", placed.task.duty.title(), placed.task.forecast.component_name)
}

fn outside(placed: &ScheduledTask) -> String {
    let ScheduledTask { allowed, on, .. } = placed;
    let name = name(placed);
    if *on > allowed.latest_on {
        let latest = allowed.latest_on;
        format!(
            "{name} should be done by {latest}, but none of its allowed days is a working day. It is \
             planned for the next working day."
        )
    } else {
        let earliest = allowed.earliest_on;
        format!(
            "{name} should be done from {earliest} on and must not be late. None of its allowed days is a \
             working day, so it is planned for the last working day before."
        )
    }
}

fn days(asked: &PlanRequest, problem: &Problem, trip: &Trip, tasks: &[ScheduledTask]) -> String {
    let (first, last) = problem.common(&trip.jobs);
    let what = match tasks.len() {
        1 => "The task".to_owned(),
        number => format!("All {number} tasks"),
    };
    let outside = tasks.iter().filter(|placed| placed.is_outside()).count();
    if outside > 0 {
        let (on, verb) = (asked.days[first], if outside == 1 { "is" } else { "are" });
        return if outside == tasks.len() {
            format!("{what} {verb} planned for {on}, because no allowed day is a working day.")
        } else {
            let number = tasks.len();
            format!(
                "{outside} of {number} tasks {verb} planned for {on}, because no allowed day is a working \
                 day. The other tasks are done on the same trip."
            )
        };
    }
    if first == last {
        return format!("{what} can be done on one working day of the plan, {}.", asked.days[first]);
    }
    format!(
        "{what} can be done on {} working days, from {} to {}.",
        last - first + 1,
        asked.days[first],
        asked.days[last]
    )
}

/// What the day costs, and that no other day costs less. That is so because trips get their best day last of all.
fn costs(asked: &PlanRequest, problem: &Problem, trip: &Trip, tasks: &[ScheduledTask]) -> Option<String> {
    let parts = problem.parts(trip)?;
    let early: i64 = tasks.iter().map(ScheduledTask::days_early).sum();
    let late: i64 = tasks.iter().map(ScheduledTask::days_late).sum();
    let (first, last) = problem.common(&trip.jobs);
    let other = if first == last { "." } else { "; no other of these days costs less." };
    let overdue = tasks.iter().any(|placed| placed.due_before(asked.from).is_some());
    Some(if early + late == 0 {
        let counted =
            format!("Counted from the first day of the plan, {}, nothing is early or late.", asked.from);
        if overdue { counted } else { "Nothing is early or late on this day.".to_owned() }
    } else {
        let days = |number: i64| if number == 1 { "1 day".to_owned() } else { format!("{number} days") };
        let sum = match (early, late) {
            (early, 0) => format!("{} early", days(early)),
            (0, late) => format!("{} late", days(late)),
            (early, late) => format!("{} early and {} late", days(early), days(late)),
        };
        format!(
            "On this day the work is {sum} in all, at a cost of {}{other}",
            cost(parts.early + parts.late)
        )
    })
}

fn shared(tasks: &[ScheduledTask], at: &HashMap<PropertyId, Position>) -> Option<String> {
    let mut properties: Vec<PropertyId> = tasks.iter().map(|placed| placed.task.property_id).collect();
    properties.sort_unstable();
    properties.dedup();
    if properties.len() < 2 {
        return None;
    }
    let positions: Vec<Position> =
        properties.iter().filter_map(|property| at.get(property).copied()).collect();
    let pairs = positions
        .iter()
        .enumerate()
        .flat_map(|(index, one)| positions[index + 1..].iter().map(move |other| one.km_to(*other)));
    let furthest = pairs.fold(0.0, f64::max);
    Some(format!(
        "{} properties share the trip, none further than {furthest:.1} km from another.",
        properties.len()
    ))
}
