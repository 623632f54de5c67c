//! The cheapest days on which to visit one place. The answer is exact as long as a trip has room for everything.
//!
//! Let `a` and `b` be two visits with no visit between them. A job whose aim lies between them is done on `a` or on
//! `b`. No other day is needed, because its cost only grows with the distance from the aim. So the cost of the jobs
//! between two visits depends only on these two days. The cheapest plan up to a day is the best one over all
//! choices of the visit before:
//!
//! `best(b) = visit + min over a < b of best(a) + sum over the jobs between of min(cost on a, cost on b)`
//!
//! For `D` days and `N` jobs this takes at most `D^2 N` steps. The search ends early at a job whose interval has
//! neither visit. So in practice it takes about `D` times the longest interval times the jobs between.

use crate::domain::rules::rounds::problem::{Cost, NEVER, Problem};

/// Prices of a visit and of days off the aim.
#[derive(Clone, Copy, Debug)]
pub struct Prices {
    /// A visit.
    pub visit: Cost,
    /// A day early.
    pub early: Cost,
    /// A day late.
    pub late: Cost,
}

/// The cheapest days to visit, in order, and their cost with all jobs done on them. Minutes are ignored.
pub fn best(problem: &Problem, jobs: &[usize], prices: Prices) -> (Cost, Vec<usize>) {
    let n = problem.days.len();
    let mut aimed_at: Vec<Vec<usize>> = vec![Vec::new(); n];
    for job in jobs {
        aimed_at[pivot(problem, *job)].push(*job);
    }
    let on = |job: usize, day: usize| on_day(problem, job, day, prices);
    // Index 0 is before the first visit, index k + 1 is a visit on day k, and index n + 1 is after the last visit.
    let mut best = vec![NEVER; n + 2];
    let mut before = vec![0; n + 2];
    best[0] = 0;
    for from in 0..=n {
        if best[from] >= NEVER {
            continue;
        }
        let mut between: Vec<(usize, Cost)> = Vec::new();
        for to in from + 1..=n + 1 {
            if let Some(day) = to.checked_sub(2) {
                let there = |job: &usize| (*job, from.checked_sub(1).map_or(NEVER, |day| on(*job, day)));
                between.extend(aimed_at[day].iter().map(there));
            }
            let cost =
                between.iter().map(|(job, first)| if to > n { *first } else { on(*job, to - 1).min(*first) });
            let cost = cost.fold(best[from], Cost::saturating_add);
            if cost >= NEVER {
                // A job that neither visit reaches is not reached by a later visit either.
                break;
            }
            let cost = if to > n { cost } else { cost + prices.visit };
            if cost < best[to] {
                (best[to], before[to]) = (cost, from);
            }
        }
    }
    let mut days = Vec::new();
    let mut place = before[n + 1];
    while place > 0 {
        days.push(place - 1);
        place = before[place];
    }
    days.reverse();
    (best[n + 1], days)
}

/// The last day of a job's interval that is not after its aim; the first day if the aim is before all of them.
fn pivot(problem: &Problem, job: usize) -> usize {
    let job = &problem.jobs[job];
    let after = problem.days.partition_point(|day| *day <= job.aim);
    after.saturating_sub(1).clamp(job.first, job.last)
}

fn on_day(problem: &Problem, job: usize, day: usize, prices: Prices) -> Cost {
    let job = &problem.jobs[job];
    if day < job.first || day > job.last {
        return NEVER;
    }
    let days = problem.days[day] - job.aim;
    days.unsigned_abs() * if days < 0 { prices.early } else { prices.late }
}
