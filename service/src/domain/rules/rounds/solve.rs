//! The whole problem: taken apart into what has nothing to do with each other, each part solved as well as it can be.
//!
//! Jobs can only share a trip if their places are near, over others perhaps, and their intervals overlap, over others
//! perhaps; so groups that are linked by neither are solved by themselves:
//!
//! | a group | how | exact |
//! |---|---|---|
//! | of up to [`EXACT_JOBS`] jobs | over all ways to part them (`subsets`) | yes |
//! | of one place, all trips having room | over the days (`gaps`) | yes |
//! | of one place, without room | the same days, filled longest job first, then improved (`share`) | no |
//! | of several places | each place by itself as above, then trips merged (`share`): never dearer than that | no |
//!
//! Where it is not exact, parting jobs into trips is as hard as packing boxes, for which no fast exact way is known. Every
//! group has a lower bound (`bound`) beside it; where cost and bound meet, the plan is proven to be the cheapest
//! whichever way it was found.

use crate::domain::rules::rounds::gaps::Prices;
use crate::domain::rules::rounds::problem::Job;
use crate::domain::rules::rounds::problem::{Cost, Problem, Trip};
use crate::domain::rules::rounds::{bound, gaps, share, subsets};
use std::collections::BTreeMap;

/// The most jobs of a group that is solved over all ways to part them: about sixty thousand steps.
pub const EXACT_JOBS: usize = 10;

/// A plan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Plan {
    /// By day; every job stands in one of them.
    pub trips: Vec<Trip>,
    /// What they cost.
    pub cost: Cost,
    /// What no plan can cost less than.
    pub lower_bound: Cost,
}

/// Solves a problem.
pub fn solve(problem: &Problem) -> Plan {
    solve_with(problem, EXACT_JOBS)
}

/// The same with another limit of the jobs that are solved over all ways to part them, up to 16.
pub fn solve_with(problem: &Problem, exact_jobs: usize) -> Plan {
    let (mut trips, mut lower_bound) = (Vec::new(), 0);
    for group in groups(problem) {
        let found = one_group(problem, &group, exact_jobs.min(16));
        trips.extend(found.trips);
        lower_bound += found.lower_bound;
    }
    trips.sort_unstable_by(|one: &Trip, other| (one.day, &one.jobs).cmp(&(other.day, &other.jobs)));
    Plan { cost: problem.cost(&trips), trips, lower_bound }
}

/// The trips of a group, and what none can cost less than.
struct GroupPlan {
    trips: Vec<Trip>,
    lower_bound: Cost,
}

fn one_group(problem: &Problem, jobs: &[usize], exact_jobs: usize) -> GroupPlan {
    let places = by_place(problem, jobs);
    if places.len() == 1 {
        return one_place(problem, jobs, exact_jobs);
    }
    if jobs.len() <= exact_jobs {
        let (lower_bound, trips) = subsets::best(problem, jobs);
        return GroupPlan { trips, lower_bound };
    }
    let apart = places.into_values().flat_map(|jobs| linked_in_time(problem, jobs));
    let trips = apart.flat_map(|jobs| one_place(problem, &jobs, exact_jobs).trips).collect();
    GroupPlan { trips: share::improve(problem, trips), lower_bound: bound::lower(problem, jobs) }
}

/// The trips to one place.
fn one_place(problem: &Problem, jobs: &[usize], exact_jobs: usize) -> GroupPlan {
    let rates = problem.rates;
    let prices = Prices { visit: rates.trip, early: rates.early, late: rates.late };
    let (cost, days) = gaps::best(problem, jobs, prices);
    let mut by_day: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for job in jobs {
        // The visits reach every job; the earliest of equals is taken.
        if let Some(day) = days.iter().min_by_key(|day| (problem.day_cost(*job, **day), **day)) {
            by_day.entry(*day).or_default().push(*job);
        }
    }
    if by_day.values().all(|jobs| problem.fit(jobs)) {
        let trips = by_day.into_iter().map(|(day, jobs)| share::on_best_day(problem, Trip { day, jobs }));
        return GroupPlan { trips: trips.collect(), lower_bound: cost };
    }
    if jobs.len() <= exact_jobs {
        let (lower_bound, trips) = subsets::best(problem, jobs);
        return GroupPlan { trips, lower_bound };
    }
    let trips = by_day.into_iter().flat_map(|(day, jobs)| {
        let filled = fill(problem, jobs).into_iter();
        filled.map(move |jobs| Trip { day, jobs })
    });
    GroupPlan { trips: share::improve(problem, trips.collect()), lower_bound: bound::lower(problem, jobs) }
}

fn by_place(problem: &Problem, jobs: &[usize]) -> BTreeMap<usize, Vec<usize>> {
    let mut places: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for job in jobs {
        places.entry(problem.jobs[*job].place).or_default().push(*job);
    }
    places
}

/// Fills trips with the jobs of a day: the longest first, each into the first trip that has room.
fn fill(problem: &Problem, mut jobs: Vec<usize>) -> Vec<Vec<usize>> {
    jobs.sort_by_key(|job| (std::cmp::Reverse(problem.jobs[*job].minutes), *job));
    let mut trips: Vec<Vec<usize>> = Vec::new();
    for job in jobs {
        let room = trips.iter_mut().find(|trip| {
            problem.minutes(trip) + u64::from(problem.jobs[job].minutes) <= u64::from(problem.most_minutes)
        });
        match room {
            Some(trip) => trip.push(job),
            None => trips.push(vec![job]),
        }
    }
    trips
}

/// Jobs that have to do with each other, group by group.
fn groups(problem: &Problem) -> Vec<Vec<usize>> {
    neighbourhoods(problem).into_iter().flat_map(|jobs| linked_in_time(problem, jobs)).collect()
}

/// Jobs whose intervals overlap, over others perhaps.
fn linked_in_time(problem: &Problem, mut jobs: Vec<usize>) -> Vec<Vec<usize>> {
    jobs.sort_by_key(|job| (problem.jobs[*job].first, *job));
    let mut found: Vec<Vec<usize>> = Vec::new();
    let mut end = 0;
    for job in jobs {
        let Job { first, last, .. } = problem.jobs[job];
        match found.last_mut() {
            Some(group) if first <= end => group.push(job),
            _ => found.push(vec![job]),
        }
        end = end.max(last);
    }
    found
}

/// Jobs by places that are near each other, over others perhaps.
fn neighbourhoods(problem: &Problem) -> Vec<Vec<usize>> {
    let all: Vec<usize> = (0..problem.jobs.len()).collect();
    let mut at = by_place(problem, &all);
    let mut found = Vec::new();
    while let Some((place, mut jobs)) = at.pop_first() {
        let mut places = vec![place];
        while let Some(place) = places.pop() {
            for next in problem.near.of(place) {
                if let Some(more) = at.remove(next) {
                    jobs.extend(more);
                    places.push(*next);
                }
            }
        }
        found.push(jobs);
    }
    found
}
