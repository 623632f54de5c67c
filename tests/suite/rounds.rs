//! Plans of trips, held against every way there is to make them, and to what a plan promises whatever its size.

use eavesward_service::domain::model::property::Position;
use eavesward_service::domain::rules::rounds::places::near;
use eavesward_service::domain::rules::rounds::problem::{
    Cost, Job, NEVER, Near, Parts, Problem, Rates, Trip,
};
use eavesward_service::domain::rules::rounds::solve::{EXACT_JOBS, Plan, solve, solve_with};
use proptest::prelude::*;

/// A random problem of so many jobs at so many places at most.
fn problems(jobs: std::ops::Range<usize>, places: usize, days: i64) -> impl Strategy<Value = Problem> {
    let job = (0..places, 1..8_u32, 0.0..1.0_f64, 0.0..0.7_f64, -3..days + 4);
    let jobs = proptest::collection::vec(job, jobs);
    let works = proptest::collection::vec(proptest::bool::weighted(0.75), days as usize);
    let nears = proptest::collection::vec(any::<bool>(), places * places);
    let rates = (0..70_u64, 0.0..=1.0_f64, 0..4_u64, 0..7_u64);
    let most = prop_oneof![Just(100_000_u32), 10..90_u32];
    (jobs, works, nears, rates, most).prop_map(move |(jobs, works, nears, rates, most_minutes)| {
        let mut days: Vec<i64> = (0..days).filter(|day| works[*day as usize]).collect();
        if days.is_empty() {
            days.push(0);
        }
        let end = days.len() - 1;
        let jobs = jobs.into_iter().map(|(place, minutes, first, length, aim)| {
            let first = (first * end as f64).round() as usize;
            let last = (first + (length * end as f64).round() as usize).min(end);
            Job { place, minutes: minutes * 10, first, last, aim }
        });
        let mut near = Near::none(places);
        for (index, _) in nears.iter().enumerate().filter(|(_, near)| **near) {
            let (one, other) = (index / places, index % places);
            if one != other {
                near.join(one, other);
            }
        }
        let (trip, share, early, late) = rates;
        let stop = (trip as f64 * share) as Cost;
        Problem { jobs: jobs.collect(), days, near, rates: Rates { trip, stop, early, late }, most_minutes }
    })
}

/// The cost of the cheapest plan: of all ways to part the jobs, each part on each day.
fn cheapest(problem: &Problem) -> Cost {
    fn part(problem: &Problem, next: usize, parts: &mut Vec<Vec<usize>>, best: &mut Cost) {
        if next == problem.jobs.len() {
            let cost = parts.iter().map(|jobs| one(problem, jobs)).fold(0, Cost::saturating_add);
            *best = cost.min(*best);
            return;
        }
        for index in 0..parts.len() {
            parts[index].push(next);
            part(problem, next + 1, parts, best);
            parts[index].pop();
        }
        parts.push(vec![next]);
        part(problem, next + 1, parts, best);
        parts.pop();
    }
    let mut best = Cost::MAX;
    part(problem, 0, &mut Vec::new(), &mut best);
    best
}

/// What one trip costs at best, straight from the words of the problem; [`NEVER`] when it is not allowed.
fn one(problem: &Problem, jobs: &[usize]) -> Cost {
    let facts: Vec<&Job> = jobs.iter().map(|job| &problem.jobs[*job]).collect();
    let minutes: u32 = facts.iter().map(|job| job.minutes).sum();
    let near = facts.iter().all(|one| facts.iter().all(|other| problem.near.both(one.place, other.place)));
    if !near || (jobs.len() > 1 && minutes > problem.most_minutes) {
        return NEVER;
    }
    let on = |day: usize| {
        let mut cost = 0;
        for job in &facts {
            if day < job.first || day > job.last {
                return NEVER;
            }
            let days = problem.days[day] - job.aim;
            cost += days.unsigned_abs() * if days < 0 { problem.rates.early } else { problem.rates.late };
        }
        cost
    };
    let mut places: Vec<usize> = facts.iter().map(|job| job.place).collect();
    places.sort_unstable();
    places.dedup();
    let day = (0..problem.days.len()).map(on).min().unwrap_or(NEVER);
    (problem.rates.trip + problem.rates.stop * (places.len() as Cost - 1)).saturating_add(day).min(NEVER)
}

/// What every plan promises.
fn is_sound(problem: &Problem, plan: &Plan) -> Result<(), TestCaseError> {
    let mut jobs: Vec<usize> = plan.trips.iter().flat_map(|trip| trip.jobs.clone()).collect();
    jobs.sort_unstable();
    prop_assert_eq!(jobs, (0..problem.jobs.len()).collect::<Vec<_>>(), "every job stands in one trip");
    let mut sum = Parts::default();
    for trip in &plan.trips {
        prop_assert!(trip.day < problem.days.len(), "on a working day");
        let parts = problem.parts(trip);
        prop_assert!(parts.is_some(), "every job on one of its days: {:?}", trip);
        sum += parts.unwrap_or_default();
        prop_assert!(problem.fit(&trip.jobs), "within the minutes, or alone: {:?}", trip);
        let places: Vec<usize> = trip.jobs.iter().map(|job| problem.jobs[*job].place).collect();
        for one in &places {
            prop_assert!(places.iter().all(|other| problem.near.both(*one, *other)), "near each other");
        }
        let best = problem.best_day(&trip.jobs);
        prop_assert_eq!(
            best.map(|(day, _)| day),
            Some(trip.day),
            "no other day costs less, none before as little"
        );
    }
    prop_assert_eq!(sum.sum(), plan.cost, "the cost is the sum of its parts");
    prop_assert!(plan.lower_bound <= plan.cost);
    prop_assert!(plan.trips.is_sorted_by_key(|trip| trip.day));
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn few_jobs_are_planned_as_cheaply_as_can_be(problem in problems(1..7, 3, 12)) {
        let plan = solve(&problem);
        is_sound(&problem, &plan)?;
        let cheapest = cheapest(&problem);
        prop_assert_eq!((plan.cost, plan.lower_bound), (cheapest, cheapest));
    }

    #[test]
    fn one_place_with_room_is_planned_as_cheaply_as_can_be_by_days_alone(problem in problems(1..7, 1, 12)) {
        let problem = Problem { most_minutes: 100_000, ..problem };
        let plan = solve_with(&problem, 0);
        is_sound(&problem, &plan)?;
        let cheapest = cheapest(&problem);
        prop_assert_eq!((plan.cost, plan.lower_bound), (cheapest, cheapest));
    }

    #[test]
    fn the_cheapest_plan_lies_between_bound_and_heuristic(problem in problems(1..7, 3, 12)) {
        let plan = solve_with(&problem, 0);
        is_sound(&problem, &plan)?;
        let cheapest = cheapest(&problem);
        prop_assert!(plan.lower_bound <= cheapest && cheapest <= plan.cost, "{} {:?}", cheapest, plan);
    }

    #[test]
    fn plans_of_any_size_are_sound_and_the_same_every_time(problem in problems(0..60, 6, 30)) {
        let plan = solve(&problem);
        is_sound(&problem, &plan)?;
        prop_assert_eq!(solve(&problem), plan);
    }

    #[test]
    fn sharing_trips_never_costs_more_than_going_to_each_place_by_itself(problem in problems(1..40, 5, 30)) {
        let apart = Problem { near: Near::none(5), ..problem.clone() };
        prop_assert!(solve(&problem).cost <= solve(&apart).cost);
    }
}

fn job(place: usize, minutes: u32, first: usize, last: usize, aim: i64) -> Job {
    Job { place, minutes, first, last, aim }
}

const RATES: Rates = Rates { trip: 60_000, stop: 15_000, early: 500, late: 2000 };

#[test]
fn a_plan_worked_by_hand() {
    // Aims on days 10, 14 and 20; early days cost 0.5 and late ones 2, a trip 60, so one trip is made. On day 10 there are
    // 4 + 10 early days, which cost 7; on day 9 there are 1 + 5 + 11, which cost 8.5; on day 11 there are 1 late and 3 + 9
    // early ones, which cost 8; every further day to either side costs more.
    let jobs = vec![job(0, 15, 0, 30, 10), job(0, 30, 0, 30, 14), job(0, 20, 5, 30, 20)];
    let days = (0..31).collect();
    let problem = Problem { days, jobs, near: Near::none(1), rates: RATES, most_minutes: 360 };
    let plan = solve(&problem);
    assert_eq!(plan.trips, [Trip { day: 10, jobs: vec![0, 1, 2] }]);
    assert_eq!((plan.cost, plan.lower_bound), (67_000, 67_000));
    let parts = problem.parts(&plan.trips[0]).expect("it is allowed");
    assert_eq!(parts, Parts { trips: 60_000, stops: 0, early: 7000, late: 0 });
}

#[test]
fn a_job_that_is_too_long_goes_alone_and_a_full_day_takes_two_trips() {
    let jobs = vec![job(0, 120, 3, 3, 3), job(0, 50, 3, 3, 3), job(0, 50, 3, 3, 3), job(0, 40, 3, 3, 3)];
    let days = (0..10).collect();
    let problem = Problem { days, jobs, near: Near::none(1), rates: RATES, most_minutes: 100 };
    let plan = solve(&problem);
    assert_eq!((plan.trips.len(), plan.cost), (3, 180_000), "{plan:?}");
    assert!(plan.trips.iter().any(|trip| trip.jobs == [0]));
    assert!(plan.trips.iter().all(|trip| trip.day == 3));
}

#[test]
fn neighbours_share_a_trip_and_strangers_do_not() {
    let at = |latitude_deg| Position { latitude_deg, longitude_deg: 0.5 };
    // 0.01 degrees of latitude are 1.1 km.
    let near = near(&[at(48.0), at(48.01), at(48.5)], 2.0);
    let jobs = vec![job(0, 15, 0, 9, 4), job(1, 15, 0, 9, 5), job(2, 15, 0, 9, 4)];
    let problem = Problem { days: (0..10).collect(), jobs, near, rates: RATES, most_minutes: 360 };
    let plan = solve(&problem);
    let shared = Trip { day: 4, jobs: vec![0, 1] };
    assert_eq!(plan.trips, [shared, Trip { day: 4, jobs: vec![2] }]);
    assert_eq!(plan.cost, 60_000 + 15_000 + 500 + 60_000);
}

#[test]
fn nothing_to_do_costs_nothing() {
    let (days, jobs) = (vec![1, 2], Vec::new());
    let problem = Problem { days, jobs, near: Near::none(0), rates: RATES, most_minutes: 1 };
    assert_eq!(solve(&problem), Plan { trips: Vec::new(), cost: 0, lower_bound: 0 });
}

#[test]
fn two_thousand_jobs_are_planned() {
    // Spread by the golden ratio, which repeats nothing.
    let spread = |index: usize, most: usize| (index as f64 * 0.618_033_988_75).fract() * most as f64;
    let jobs = (0..2000).map(|index| {
        let first = spread(index, 80) as usize;
        let last = first + 3 + spread(index * 7, 20) as usize;
        job(index % 40, 10 + 5 * (index % 9) as u32, first, last.min(91), first as i64 + 2)
    });
    let mut near = Near::none(40);
    for place in 1..40 {
        near.join(place - 1, place);
    }
    let days = (0..92).collect();
    let problem = Problem { days, jobs: jobs.collect(), near, rates: RATES, most_minutes: 240 };
    assert!(problem.jobs.len() > EXACT_JOBS);
    let plan = solve(&problem);
    is_sound(&problem, &plan).expect("a sound plan");
    assert!(plan.trips.len() < 2000 && plan.lower_bound > 0, "{} {}", plan.trips.len(), plan.lower_bound);
}
