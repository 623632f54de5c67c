//! Combines trips, and moves jobs to other trips, as long as that lowers the cost. This is a heuristic, which never
//! makes a plan more expensive.
//!
//! Merging is greedy. The two trips that save most are combined into one on its best day, until nothing more is
//! saved. With `T` trips over `D` days this takes some `T^2 D` steps. Then each job is moved to the trip where it
//! costs least. Both are repeated until nothing changes.

use crate::domain::rules::rounds::problem::{Cost, NEVER, Problem, Trip};
use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// How often merging and moving are repeated at most. Judgement: more than a few repeats are hardly ever needed.
const MOST_PASSES: usize = 20;

/// Improves trips until neither merging nor moving saves anything.
pub fn improve(problem: &Problem, trips: Vec<Trip>) -> Vec<Trip> {
    let mut trips: Vec<Trip> = trips.into_iter().map(|trip| on_best_day(problem, trip)).collect();
    for _ in 0..MOST_PASSES {
        let before = problem.cost(&trips);
        trips = merge(problem, &trips);
        trips = move_jobs(problem, trips);
        if problem.cost(&trips) >= before {
            break;
        }
    }
    trips
}

/// The trip on the day that costs least. Of equal days it is the earliest.
pub fn on_best_day(problem: &Problem, mut trip: Trip) -> Trip {
    trip.jobs.sort_unstable();
    if let Some((day, _)) = problem.best_day(&trip.jobs) {
        trip.day = day;
    }
    trip
}

/// A trip while pairs are compared, with the cost of its jobs on each day that they have in common.
struct Whole {
    jobs: Vec<usize>,
    places: Vec<usize>,
    minutes: u64,
    first: usize,
    /// The cost by day, from `first` on.
    days: Vec<Cost>,
    cost: Cost,
}

impl Whole {
    fn of(problem: &Problem, mut jobs: Vec<usize>) -> Self {
        jobs.sort_unstable();
        let (first, last) = problem.common(&jobs);
        let day_cost = |day| jobs.iter().map(|job| problem.day_cost(*job, day)).sum();
        let days: Vec<Cost> = (first..=last).map(day_cost).collect();
        let places = problem.places(&jobs);
        let own = problem.rates.trip + problem.rates.stop * (places.len() as Cost).saturating_sub(1);
        let cost = own + days.iter().min().copied().unwrap_or(NEVER);
        Self { minutes: problem.minutes(&jobs), jobs, places, first, days, cost }
    }

    /// What combining both saves; none if it saves nothing or is not allowed.
    fn saving(&self, other: &Self, problem: &Problem) -> Option<Cost> {
        if self.minutes + other.minutes > u64::from(problem.most_minutes) {
            return None;
        }
        let near = |one: &usize| other.places.iter().all(|place| problem.near.both(*one, *place));
        if !self.places.iter().all(near) {
            return None;
        }
        let first = self.first.max(other.first);
        let mine = self.days.get(first - self.first..)?;
        let theirs = other.days.get(first - other.first..)?;
        let cost = mine.iter().zip(theirs).map(|(one, other)| one + other).min()?;
        let shared = other.places.iter().filter(|place| self.places.binary_search(place).is_ok()).count();
        let further = (self.places.len() + other.places.len() - shared - 1) as Cost;
        let together = problem.rates.trip + problem.rates.stop * further + cost;
        (self.cost + other.cost).checked_sub(together).filter(|saving| *saving > 0)
    }
}

fn merge(problem: &Problem, trips: &[Trip]) -> Vec<Trip> {
    let mut wholes: Vec<Option<Whole>> =
        trips.iter().map(|trip| Some(Whole::of(problem, trip.jobs.clone()))).collect();
    let mut heap = BinaryHeap::new();
    let weigh = |wholes: &[Option<Whole>], heap: &mut BinaryHeap<_>, new: usize| {
        let Some(own) = &wholes[new] else { return };
        for (index, other) in wholes[..new].iter().enumerate() {
            if let Some(saving) = other.as_ref().and_then(|other| own.saving(other, problem)) {
                // Of equal savings the first pair wins.
                heap.push((saving, Reverse((index, new))));
            }
        }
    };
    for new in 1..wholes.len() {
        weigh(&wholes, &mut heap, new);
    }
    while let Some((_, Reverse((one, other)))) = heap.pop() {
        if wholes[one].is_none() || wholes[other].is_none() {
            continue;
        }
        let (Some(a), Some(b)) = (wholes[one].take(), wholes[other].take()) else { continue };
        wholes.push(Some(Whole::of(problem, [a.jobs, b.jobs].concat())));
        let new = wholes.len() - 1;
        weigh(&wholes, &mut heap, new);
    }
    let trips = wholes.into_iter().flatten().map(|whole| Trip { day: 0, jobs: whole.jobs });
    trips.map(|trip| on_best_day(problem, trip)).collect()
}

/// Moves each job to the trip where it costs least, without changing days. Then gives each trip its best day.
fn move_jobs(problem: &Problem, mut trips: Vec<Trip>) -> Vec<Trip> {
    let mut at: Vec<(usize, usize)> = trips
        .iter()
        .enumerate()
        .flat_map(|(trip, jobs)| jobs.jobs.iter().map(move |job| (*job, trip)))
        .collect();
    at.sort_unstable();
    for (job, home) in at {
        let here = &trips[home];
        let alone = here.jobs.len() == 1;
        let place = problem.jobs[job].place;
        let only_there =
            |jobs: &[usize]| !jobs.iter().any(|other| *other != job && problem.jobs[*other].place == place);
        let saved = problem.day_cost(job, here.day)
            + if alone {
                problem.rates.trip
            } else if only_there(&here.jobs) {
                problem.rates.stop
            } else {
                0
            };
        let added = |trip: &Trip| {
            let cost = problem.day_cost(job, trip.day);
            if cost >= saved || trip.jobs.is_empty() {
                return None;
            }
            let minutes = problem.minutes(&trip.jobs) + u64::from(problem.jobs[job].minutes);
            let near = || trip.jobs.iter().all(|other| problem.near.both(place, problem.jobs[*other].place));
            if minutes > u64::from(problem.most_minutes) || !near() {
                return None;
            }
            Some(cost + if only_there(&trip.jobs) { problem.rates.stop } else { 0 })
        };
        let others = trips.iter().enumerate().filter(|(index, _)| *index != home);
        let best = others.filter_map(|(index, trip)| Some((added(trip)?, index))).min();
        if let Some((_, there)) = best.filter(|(cost, _)| *cost < saved) {
            trips[home].jobs.retain(|other| *other != job);
            trips[there].jobs.push(job);
        }
    }
    trips.retain(|trip| !trip.jobs.is_empty());
    trips.into_iter().map(|trip| on_best_day(problem, trip)).collect()
}
