//! Proposing rounds: tasks are read, put into trips, and each trip is explained. Nothing is stored.

use super::allowed::{Allowed, allowed, later};
use super::figures::{Ask, Asked, Figures};
use super::places::{Position, near};
use super::problem::{Cost, Job, MOST_JOBS, Near, Parts, Problem, Trip};
use super::solve::solve;
use super::why;
use crate::domain::Context;
use crate::domain::cautions::{Hazard, each_once};
use crate::domain::clock::local_date;
use crate::domain::component::Kind;
use crate::domain::duty::{Duty, bring};
use crate::domain::error::{Error, Result};
use crate::domain::forecast::blocking;
use crate::domain::ids::{AccountId, PropertyId, RoundId, TaskId};
use crate::domain::paging::{After, PageAsked};
use crate::domain::store::TaskFilter;
use crate::domain::task::Task;
use chrono::NaiveDate;
use std::collections::{BTreeMap, HashMap, HashSet};

/// How long after the last day of a plan a task may fall due and still be offered to a round. Judgement: a season.
pub const JOIN_DAYS: i64 = 92;
/// How far outside the days on which it may be done a task is still put on a working day. Judgement: a week, as for what is
/// overdue.
const OUTSIDE_DAYS: i64 = 7;
/// Tasks read at a time.
const PAGE: u32 = 500;

/// A task on a day.
#[derive(Clone, Debug, PartialEq)]
pub struct Placed {
    /// The task.
    pub task: Task,
    /// When it may be done.
    pub allowed: Allowed,
    /// The day.
    pub on: NaiveDate,
}

impl Placed {
    /// Days before the day it is best done on.
    pub fn days_early(&self) -> i64 {
        self.allowed.aim_on.signed_duration_since(self.on).num_days().max(0)
    }

    /// Days after it.
    pub fn days_late(&self) -> i64 {
        self.on.signed_duration_since(self.allowed.aim_on).num_days().max(0)
    }

    /// Whether it comes on a day on which it should not be done, since nobody works on those on which it should.
    pub fn is_outside(&self) -> bool {
        !(self.allowed.earliest_on..=self.allowed.latest_on).contains(&self.on)
    }

    /// The day on which it falls due, if that is before a day.
    pub fn due_before(&self, day: NaiveDate) -> Option<NaiveDate> {
        self.task.due_on.filter(|due| *due < day)
    }
}

/// A trip.
#[derive(Clone, Debug, PartialEq)]
pub struct ProposedRound {
    /// The day.
    pub on: NaiveDate,
    /// What is done, by property and system.
    pub tasks: Vec<Placed>,
    /// Minutes of work.
    pub minutes: u64,
    /// What to bring.
    pub bring: Vec<&'static str>,
    /// What to be careful of.
    pub hazards: Vec<Hazard>,
    /// What it costs.
    pub parts: Parts,
    /// Why this day, a sentence each.
    pub reasons: Vec<String>,
    /// Tasks of these properties that fall due after the plan and may be done already, as far as there is room.
    pub may_join: Vec<Placed>,
}

/// A task that found no day.
#[derive(Clone, Debug, PartialEq)]
pub struct Unplaced {
    /// The task.
    pub task: Task,
    /// When it may be done.
    pub allowed: Allowed,
    /// Why, and the way out.
    pub because: String,
}

/// A kept round that nobody reported or called off, though its day is over where it goes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OverdueRound {
    /// The round.
    pub id: RoundId,
    /// The day it was planned for.
    pub on: NaiveDate,
    /// Its tasks that no visit did since.
    pub tasks: usize,
}

/// What is proposed.
#[derive(Clone, Debug, PartialEq)]
pub struct Proposal {
    /// The first day.
    pub from: NaiveDate,
    /// The last day.
    pub to: NaiveDate,
    /// What things cost.
    pub figures: Figures,
    /// The figures that were left to their defaults, which are judgement.
    pub defaults: Vec<&'static str>,
    /// By day.
    pub rounds: Vec<ProposedRound>,
    /// What found no day.
    pub unplaced: Vec<Unplaced>,
    /// What the rounds cost.
    pub parts: Parts,
    /// What no plan can cost less than.
    pub lower_bound: Cost,
    /// Tasks left out because they stand in a round that is planned and whose day is not over.
    pub already_planned: usize,
    /// All of the account's rounds whose day is over, by day. Their tasks are proposed again.
    pub overdue_rounds: Vec<OverdueRound>,
    /// Whether there are more tasks than were looked at among those that may join.
    pub more_may_join: bool,
}

/// What was read.
#[derive(Default)]
struct Found {
    due: Vec<(Task, Allowed)>,
    may_join: Vec<(Task, Allowed)>,
    already_planned: usize,
    overdue_rounds: Vec<OverdueRound>,
    more_may_join: bool,
}

/// Puts the account's tasks that fall due up to a day into trips, and tanks that are best emptied by then.
pub async fn propose(cx: &Context, account: AccountId, ask: &Ask) -> Result<Proposal> {
    let asked = ask.check(cx.clock.now())?;
    let found = read(cx, account, ask, &asked).await?;
    let mut places: Vec<PropertyId> = found.due.iter().map(|(task, _)| task.property_id).collect();
    places.sort_unstable();
    places.dedup();
    let positions = if asked.figures.nearby_km > 0.0 && places.len() > 1 {
        cx.store.positions(account, &places).await?
    } else {
        Vec::new()
    };
    // Two thousand tasks may take a second or two of computing, which would keep other requests waiting.
    blocking(move || Ok(plan(asked, found, &places, &positions))).await
}

async fn read(cx: &Context, account: AccountId, ask: &Ask, asked: &Asked) -> Result<Found> {
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
    let mut found = Found { overdue_rounds, ..Found::default() };
    // A refresh between two pages can move a task from one to the other.
    let mut seen = HashSet::new();
    let mut page = PageAsked { after: None, limit: PAGE };
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
                found.due.push((task, allowed));
            } else if found.may_join.len() < MOST_JOBS {
                found.may_join.push((task, allowed));
            } else {
                // What follows falls due later still, and is part of the plan only if its tank is best emptied within it.
                found.more_may_join = true;
                filter.kind = Some(Kind::Tank);
            }
            if found.due.len() > MOST_JOBS {
                let message = format!(
                    "more than {MOST_JOBS} tasks fall due by {}; ask for fewer days, or narrow it down with property_id or \
                     system_id",
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

/// The plan, from what was read alone.
fn plan(asked: Asked, found: Found, places: &[PropertyId], positions: &[(PropertyId, Position)]) -> Proposal {
    let (mut jobs, mut tasks, mut unplaced) = (Vec::new(), Vec::new(), Vec::new());
    for (task, allowed) in found.due {
        let place = places.binary_search(&task.property_id).unwrap_or(0);
        match interval(&asked, task.duty, allowed) {
            Ok((first, last)) => {
                let (minutes, aim) = (task.duty.minutes(), number(allowed.aim_on));
                jobs.push(Job { place, minutes, first, last, aim });
                tasks.push((task, allowed));
            }
            Err(because) => unplaced.push(Unplaced { task, allowed, because }),
        }
    }
    let at: HashMap<PropertyId, Position> = positions.iter().copied().collect();
    let problem = Problem {
        days: asked.days.iter().map(|day| number(*day)).collect(),
        jobs,
        // A property that is gone since its tasks were read has no position, and shares no trip.
        near: near_known(places, &at, asked.figures.nearby_km),
        rates: asked.figures.rates(),
        most_minutes: asked.figures.most_minutes,
    };
    let plan = solve(&problem);
    let mut parts = Parts::default();
    let mut rounds: Vec<ProposedRound> = Vec::with_capacity(plan.trips.len());
    for trip in &plan.trips {
        let round = round(&asked, &problem, trip, &tasks, &at);
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

/// Which places are near each other, of those that are known.
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

/// The working days of a task's interval, first and last by index; why there is none otherwise.
fn interval(asked: &Asked, duty: Duty, allowed: Allowed) -> std::result::Result<(usize, usize), String> {
    let (first_on, last_on) = (allowed.earliest_on.max(asked.from), allowed.latest_on.min(asked.to));
    let first = asked.days.partition_point(|day| *day < first_on);
    let after = asked.days.partition_point(|day| *day <= last_on);
    if first < after {
        return Ok((first, after - 1));
    }
    // Nobody works while it may be done: rather a little late than not at all; but the frost does not wait.
    let outside = if duty == Duty::DrainForFrost { after.checked_sub(1) } else { Some(first) };
    let far = |day: &NaiveDate| {
        let days_late = day.signed_duration_since(allowed.latest_on).num_days();
        days_late.max(allowed.earliest_on.signed_duration_since(*day).num_days())
    };
    if let Some(index) = outside
        && asked.days.get(index).is_some_and(|day| far(day) <= OUTSIDE_DAYS)
    {
        return Ok((index, index));
    }
    Err(format!(
        "It may be done from {} to {}, and nobody works from {first_on} to {last_on}; ask for more days, or work on one of these.",
        allowed.earliest_on, allowed.latest_on
    ))
}

fn round(
    asked: &Asked,
    problem: &Problem,
    trip: &Trip,
    tasks: &[(Task, Allowed)],
    at: &HashMap<PropertyId, Position>,
) -> ProposedRound {
    let on = asked.days[trip.day];
    let placed = trip.jobs.iter().map(|job| {
        let (task, allowed) = tasks[*job].clone();
        Placed { task, allowed, on }
    });
    let mut placed: Vec<Placed> = placed.collect();
    placed.sort_by(|one, other| key(&one.task).cmp(&key(&other.task)));
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

/// By property and system, each by name, then by due date.
fn key(task: &Task) -> (&(String, String), PropertyId, crate::domain::ids::SystemId, NaiveDate, TaskId) {
    (&task.names, task.property_id, task.system_id, task.sort_on(), task.id)
}

/// Offers each task that may be done already to the last round at its property that has come to its interval and has
/// room: the later, the less early.
fn join(rounds: &mut [ProposedRound], tasks: Vec<(Task, Allowed)>, most_minutes: u32) {
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
    for (task, allowed) in tasks {
        let own = u64::from(task.duty.minutes());
        let there = by_property.get(&task.property_id).into_iter().flatten().rev().find(|index| {
            let on = rounds[**index].on;
            (allowed.earliest_on..=allowed.latest_on).contains(&on)
                && minutes[**index] + own <= u64::from(most_minutes)
        });
        if let Some(index) = there {
            minutes[*index] += own;
            let round = &mut rounds[*index];
            round.may_join.push(Placed { task, allowed, on: round.on });
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
