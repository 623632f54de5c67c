//! Why a round is on its day, in sentences.

use crate::domain::base::ids::PropertyId;
use crate::domain::model::property::Position;
use crate::domain::model::sentence::Sentence;
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
) -> Vec<Sentence> {
    let mut reasons = vec![days(asked, problem, trip, tasks)];
    reasons.extend(costs(asked, problem, trip, tasks));
    reasons.extend(shared(tasks, at));
    if let [job] = trip.jobs.as_slice()
        && problem.jobs[*job].minutes > problem.most_minutes
    {
        let sentence = Sentence::of("longer_than_a_trip")
            .say("The task takes ")
            .number("minutes", u64::from(problem.jobs[*job].minutes), "min")
            .say(" min, more than the limit of ")
            .number("most_minutes", u64::from(problem.most_minutes), "min")
            .say(" min for a trip, so it has a trip of its own.");
        reasons.push(sentence);
    }
    reasons.extend(tasks.iter().filter(|placed| placed.is_outside()).map(outside));
    reasons.extend(tasks.iter().filter_map(|placed| {
        let due = placed.due_before(asked.from)?;
        let overdue = due < placed.task.as_of;
        let start = Sentence::of(if overdue { "overdue" } else { "due_before_the_plan" });
        let start = start.word("task", &name(placed));
        Some(if overdue {
            start.say(" has been overdue since ").day("due", due).say(".")
        } else {
            start.say(" falls due on ").day("due", due).say(", before the plan begins.")
        })
    }));
    reasons
}

fn name(placed: &ScheduledTask) -> String {
    format!("{} ({})", placed.task.duty.title(), placed.task.forecast.component_name)
}

fn outside(placed: &ScheduledTask) -> Sentence {
    let ScheduledTask { allowed, on, .. } = placed;
    let name = name(placed);
    if *on > allowed.latest_on {
        Sentence::of("next_working_day")
            .word("task", &name)
            .say(" should be done by ")
            .day("latest", allowed.latest_on)
            .say(", but none of its allowed days is a working day. It is planned for the next working day.")
    } else {
        Sentence::of("working_day_before")
            .word("task", &name)
            .say(" should be done from ")
            .day("earliest", allowed.earliest_on)
            .say(
                " on and must not be late. None of its allowed days is a working day, so it is planned for the \
                 last working day before.",
            )
    }
}

fn days(asked: &PlanRequest, problem: &Problem, trip: &Trip, tasks: &[ScheduledTask]) -> Sentence {
    let (first, last) = problem.common(&trip.jobs);
    let all = |start: Sentence| match tasks.len() {
        1 => start.say("The task"),
        number => start.say("All ").count("tasks", number as u64, "task", "tasks"),
    };
    let outside = tasks.iter().filter(|placed| placed.is_outside()).count();
    if outside > 0 {
        let verb = if outside == 1 { " is" } else { " are" };
        let start = Sentence::of("no_working_day_allowed");
        let (start, rest) = if outside == tasks.len() {
            (all(start), "")
        } else {
            let start = start.number("outside", outside as u64, "tasks").say(" of ");
            let start = start.count("tasks", tasks.len() as u64, "task", "tasks");
            (start, " The other tasks are done on the same trip.")
        };
        return start
            .say(verb)
            .say(" planned for ")
            .day("on", asked.days[first])
            .say(", because no allowed day is a working day.")
            .say(rest);
    }
    if first == last {
        return all(Sentence::of("one_working_day"))
            .say(" can be done on one working day of the plan, ")
            .day("on", asked.days[first])
            .say(".");
    }
    all(Sentence::of("working_days"))
        .say(if tasks.len() == 1 { " fits" } else { " fit" })
        .say(" on any one of ")
        .number("days", (last - first + 1) as u64, "days")
        .say(" working days, ")
        .day("first", asked.days[first])
        .say(" to ")
        .day("last", asked.days[last])
        .say(".")
}

/// What the day costs, and that no other day costs less. That is so because trips get their best day last of all.
fn costs(asked: &PlanRequest, problem: &Problem, trip: &Trip, tasks: &[ScheduledTask]) -> Option<Sentence> {
    let parts = problem.parts(trip)?;
    let early: i64 = tasks.iter().map(ScheduledTask::days_early).sum();
    let late: i64 = tasks.iter().map(ScheduledTask::days_late).sum();
    let (first, last) = problem.common(&trip.jobs);
    if early + late == 0 {
        // What was due before the plan is late on every day of it, and has a sentence of its own.
        let overdue = tasks.iter().any(|placed| placed.due_before(asked.from).is_some());
        return (!overdue).then(|| Sentence::of("in_time").say("Nothing is early or late on this day."));
    }
    let mut sentence = Sentence::of("early_or_late").say("On this day the work is ");
    if early > 0 {
        sentence = sentence.count("early", early as u64, "day", "days").say(" early");
    }
    if early > 0 && late > 0 {
        sentence = sentence.say(" and ");
    }
    if late > 0 {
        sentence = sentence.count("late", late as u64, "day", "days").say(" late");
    }
    let sentence = sentence.say(" in all, at a cost of ").bare("cost", cost(parts.early + parts.late));
    Some(sentence.say(if first == last { "." } else { "; no other of these days costs less." }))
}

fn shared(tasks: &[ScheduledTask], at: &HashMap<PropertyId, Position>) -> Option<Sentence> {
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
    let furthest = (pairs.fold(0.0, f64::max) * 10.0).round() / 10.0;
    let start = Sentence::of("properties_share")
        .count("properties", properties.len() as u64, "property", "properties")
        .say(" share the trip; they are ");
    Some(if furthest < 0.1 {
        start.say("less than ").decimal("furthest", 0.1, "km").say(" apart.")
    } else {
        start.say("at most ").decimal("furthest", furthest, "km").say(" apart.")
    })
}
