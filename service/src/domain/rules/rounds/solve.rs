//! Solves the whole problem: splits it into independent groups and solves each as well as possible.
//!
//! Two jobs can share a trip only if their places are near and their intervals overlap. Jobs may be linked
//! directly, or through other jobs. Groups of jobs without such a link are solved by themselves:
//!
//! | a group | how | exact |
//! |---|---|---|
//! | of up to [`EXACT_JOBS`] jobs | tries all ways to split them into trips (`subsets`) | yes |
//! | of one place, if all trips have room | chooses the days (`gaps`) | yes |
//! | of one place, without room | fills the same days with the longest job first, then improves (`share`) | no |
//! | of several places | solves each place as above, then merges trips (`share`), at no higher cost | no |
//!
//! Where it is not exact, splitting jobs into trips is as hard as packing boxes, for which no fast exact method is
//! known. Every group also has a lower bound (`bound`). If cost and bound are equal, the plan is proven to be the
//! cheapest, whatever the method.

use crate::domain::rules::rounds::gaps::Prices;
use crate::domain::rules::rounds::problem::Job;
use crate::domain::rules::rounds::problem::{Cost, Problem, Trip};
use crate::domain::rules::rounds::{bound, gaps, share, subsets};
use std::collections::BTreeMap;

/// The most jobs of a group for which all ways to split them are tried: about sixty thousand steps.
pub const EXACT_JOBS: usize = 10;

/// A plan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Plan {
    /// The trips by day. Every job is in one of them.
    pub trips: Vec<Trip>,
    /// What the trips cost.
    pub cost: Cost,
    /// A cost that no plan can go below.
    pub lower_bound: Cost,
}

/// Solves a problem.
pub fn solve(problem: &Problem) -> Plan {
    solve_with(problem, EXACT_JOBS)
}

/// The same with another limit of the jobs for which all ways to split them are tried, up to 16.
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

/// The trips of a group, and the lower bound of their cost.
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
        // The visits reach every job. Of equal days it takes the earliest.
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

/// Fills trips with the jobs of a day: the longest job first, each into the first trip that has room.
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

/// Jobs that are linked in time and place, group by group.
fn groups(problem: &Problem) -> Vec<Vec<usize>> {
    neighbourhoods(problem).into_iter().flat_map(|jobs| linked_in_time(problem, jobs)).collect()
}

/// Jobs whose intervals overlap, directly or through other jobs.
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

/// Jobs whose places are near each other, directly or through other places.
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
