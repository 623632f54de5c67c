//! A cost that no plan can go below.
//!
//! There are two lower bounds, and the greater one counts.
//!
//! **Parts of trips.** A plan pays `trip - stop` for each trip, `stop` for each place of a trip, and for days early
//! and late. There is at least one trip. There are also at least as many as all minutes divided by a trip's most
//! minutes. Here a job that is too long for a trip counts as a full one. So for any shares `r` and `s` from 0 to 1 a
//! plan costs at least the sum of:
//!
//! - `r (trip - stop)` for each trip, with the share `s` of the days early and late.
//! - `stop` for each visit to a place, place by place, with the rest of the days early and late.
//! - `(1 - r) (trip - stop)` for each trip that all minutes together fill, in fractions.
//!
//! The first term is at least the cost of the cheapest plan that treats all places as one. The second is at least
//! the cost of the cheapest plan of each place by itself. Both plans have no limit of minutes, and [`super::gaps`]
//! finds them exactly.
//!
//! **Whole trips.** There are at least as many trips as the minutes fill, in whole numbers. The same holds for the
//! visits to each place. Each job costs at least what it costs on its best day.

use crate::domain::rules::rounds::gaps;
use crate::domain::rules::rounds::gaps::Prices;
use crate::domain::rules::rounds::problem::{Cost, Problem};
use std::collections::BTreeMap;

/// The shares are counted in quarters.
const QUARTERS: Cost = 4;

/// Sums are counted in sixteenths, a quarter of a quarter, so that all of them are whole numbers.
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
    // With a single place there are no further stops to pay for.
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

/// The fewest trips that have room for these jobs.
fn fewest(problem: &Problem, jobs: &[usize]) -> Cost {
    let most = u64::from(problem.most_minutes);
    let (mut long, mut rest) = (0, 0);
    for job in jobs {
        let minutes = u64::from(problem.jobs[*job].minutes);
        if minutes > most { long += 1 } else { rest += minutes }
    }
    (long + rest.div_ceil(most.max(1))).max(Cost::from(!jobs.is_empty()))
}
