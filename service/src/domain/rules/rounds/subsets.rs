//! Solves a few jobs exactly, for any room of a trip and any number of places: tries all ways to split them into
//! trips.
//!
//! `best(S) = min over the parts T of S that hold its first job of trip(T) + best(S without T)`
//!
//! `trip(T)` is not allowed if its places are not near each other or it has no room. This takes `3^n` steps for `n`
//! jobs.

use crate::domain::rules::rounds::problem::{Cost, NEVER, Problem, Trip};

/// The cheapest trips, and what they cost.
pub fn best(problem: &Problem, jobs: &[usize]) -> (Cost, Vec<Trip>) {
    let all = (1_usize << jobs.len()) - 1;
    let trips: Vec<Option<(usize, Cost)>> =
        (0..=all).map(|part| one_trip(problem, &members(jobs, part))).collect();
    let mut best = vec![NEVER; all + 1];
    let mut taken = vec![0; all + 1];
    best[0] = 0;
    for set in 1..=all {
        let first = set & set.wrapping_neg();
        let rest = set ^ first;
        // Every subset of the rest, the whole of it first.
        let mut more = rest;
        loop {
            let part = more | first;
            if let Some((_, cost)) = trips[part] {
                let cost = cost + best[set ^ part];
                if cost < best[set] {
                    (best[set], taken[set]) = (cost, part);
                }
            }
            if more == 0 {
                break;
            }
            more = (more - 1) & rest;
        }
    }
    let mut found = Vec::new();
    let mut set = all;
    while set != 0 {
        let part = taken[set];
        let day = trips[part].map_or(0, |(day, _)| day);
        found.push(Trip { day, jobs: members(jobs, part) });
        set ^= part;
    }
    (best[all], found)
}

fn members(jobs: &[usize], part: usize) -> Vec<usize> {
    jobs.iter().enumerate().filter(|(bit, _)| part & (1 << bit) != 0).map(|(_, job)| *job).collect()
}

/// The best day of a trip and what it costs, if it is allowed.
fn one_trip(problem: &Problem, jobs: &[usize]) -> Option<(usize, Cost)> {
    if jobs.is_empty() || !problem.fit(jobs) {
        return None;
    }
    let places = problem.places(jobs);
    let near = places
        .iter()
        .enumerate()
        .all(|(index, one)| places[..index].iter().all(|other| problem.near.both(*one, *other)));
    let (day, cost) = problem.best_day(jobs).filter(|_| near)?;
    let rates = problem.rates;
    Some((day, cost + rates.trip + rates.stop * (places.len() as Cost - 1)))
}
