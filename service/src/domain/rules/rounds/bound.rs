//! What no plan can cost less than.
//!
//! Two bounds, the greater of which counts.
//!
//! **Trips taken apart.** A plan pays `trip - stop` once a trip, `stop` once a place of a trip, and days early and late. A
//! trip is at least one trip, and at least its minutes over the most minutes (a job that is too long for a trip counts as
//! a full one). So for any shares `r` and `s` from 0 to 1 a plan costs at least the sum of three:
//!
//! - trips at `r (trip - stop)`, with the share `s` of the days early and late;
//! - place by place, visits at `stop`, with the rest of the days early and late;
//! - `(1 - r) (trip - stop)` for every trip that all minutes together fill, in fractions.
//!
//! The first is at least the cheapest plan of all places taken for one, the second the cheapest plan of each place by
//! itself, both without a limit of minutes; and these are found exactly ([`super::gaps`]).
//!
//! **Whole trips.** Trips are at least as many as the minutes fill, in whole numbers, and so are the visits to each place;
//! each job costs at least what it costs on its best day.

use crate::domain::rules::rounds::gaps;
use crate::domain::rules::rounds::gaps::Prices;
use crate::domain::rules::rounds::problem::{Cost, Problem};
use std::collections::BTreeMap;

/// The shares are quarters.
const QUARTERS: Cost = 4;

/// Sums are scaled by a quarter of a quarter, so that all of them are whole.
const SCALE: Cost = QUARTERS * QUARTERS;

/// A lower bound of the cost of these jobs, which may be at several places.
pub fn lower(problem: &Problem, jobs: &[usize]) -> Cost {
    let mut places: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for job in jobs {
        places.entry(problem.jobs[*job].place).or_default().push(*job);
    }
    whole_trips(problem, jobs, &places).max(apart(problem, jobs, &places))
}

fn apart(problem: &Problem, jobs: &[usize], places: &BTreeMap<usize, Vec<usize>>) -> Cost {
    let rates = problem.rates;
    // A single place has no further places to pay for.
    let (trip, stop) =
        if places.len() == 1 { (rates.trip, 0) } else { (rates.trip - rates.stop, rates.stop) };
    let prices = |visit: Cost, quarters: Cost| Prices {
        visit,
        early: rates.early * quarters * QUARTERS,
        late: rates.late * quarters * QUARTERS,
    };
    let most = u64::from(problem.most_minutes);
    let minutes: u64 = jobs.iter().map(|job| u64::from(problem.jobs[*job].minutes).min(most)).sum();
    let mut best = 0;
    for days in 0..=QUARTERS {
        if places.len() == 1 && days < QUARTERS {
            continue;
        }
        let each = |jobs: &Vec<usize>| gaps::best(problem, jobs, prices(stop * SCALE, QUARTERS - days)).0;
        let visits: Cost = places.values().map(each).sum();
        for room in 0..=QUARTERS {
            let trips = gaps::best(problem, jobs, prices(trip * room * QUARTERS, days)).0;
            let filled = trip * (QUARTERS - room) * QUARTERS * minutes / most.max(1);
            best = best.max(trips + visits + filled);
        }
    }
    // Costs are whole numbers, so the bound may be rounded up.
    best.div_ceil(SCALE)
}

fn whole_trips(problem: &Problem, jobs: &[usize], places: &BTreeMap<usize, Vec<usize>>) -> Cost {
    let rates = problem.rates;
    let days: Cost = jobs.iter().filter_map(|job| Some(problem.best_day(&[*job])?.1)).sum();
    let stops: Cost = places.values().map(|jobs| fewest(problem, jobs)).sum();
    (rates.trip - rates.stop) * fewest(problem, jobs) + rates.stop * stops + days
}

/// The fewest trips that have room for jobs.
fn fewest(problem: &Problem, jobs: &[usize]) -> Cost {
    let most = u64::from(problem.most_minutes);
    let (mut long, mut rest) = (0, 0);
    for job in jobs {
        let minutes = u64::from(problem.jobs[*job].minutes);
        if minutes > most { long += 1 } else { rest += minutes }
    }
    (long + rest.div_ceil(most.max(1))).max(Cost::from(!jobs.is_empty()))
}
