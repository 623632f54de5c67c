//! The chance that a sum has reached a mark, against exact laws and brute integration.

use eavesward_engine::Limit;
use eavesward_engine::passage::{Law, chance_reached};

use super::{assert_within, day, table};

/// P(X >= x) for X the sum of `k` exponentials of the given scale: the Erlang law, a finite sum.
fn erlang_above(k: u32, scale: f64, x: f64) -> f64 {
    if x <= 0.0 {
        return 1.0;
    }
    let r = x / scale;
    if r > 600.0 {
        // Up to 100 exponentials this is under 1e-100, and the sum would overflow further out.
        return 0.0;
    }
    let (mut term, mut sum) = (1.0, 1.0);
    for i in 1..k {
        term *= r / f64::from(i);
        sum += term;
    }
    sum * (-r).exp()
}

/// The same chance by 10,000 slices over the mark.
fn by_slices(known: f64, k: u32, scale: f64, limit: Limit) -> f64 {
    const SLICES: u32 = 10_000;
    const REACH: f64 = 8.0;
    let width = 2.0 * REACH / f64::from(SLICES);
    let mut sum = 0.0;
    for i in 0..SLICES {
        let z = -REACH + (f64::from(i) + 0.5) * width;
        let needed = limit.median * (limit.log_sd * z).exp() - known;
        sum += (-0.5 * z * z).exp() * erlang_above(k, scale, needed);
    }
    sum * width / std::f64::consts::TAU.sqrt()
}

/// Far below the hundredth that a date could notice.
const QUADRATURE: f64 = 1e-6;

#[test]
fn quadrature_over_marks_of_every_width() {
    let mut compared = 0;
    for k in [1, 2, 5, 20, 100] {
        for log_sd in [0.003, 0.02, 0.1, 0.25, 0.3, 0.6, 0.8, 1.5] {
            for known in [0.0, 5.0, 80.0, 140.0] {
                for mean in [10.0, 60.0, 100.0, 400.0] {
                    let limit = Limit { median: 100.0, log_sd };
                    let scale = mean / f64::from(k);
                    let ours = chance_reached(known, mean, mean * scale, limit).unwrap();
                    let brute = by_slices(known, k, scale, limit);
                    let name = format!("k {k}, log_sd {log_sd}, known {known}, mean {mean}");
                    assert_within(ours, brute, QUADRATURE, &name);
                    compared += 1;
                }
            }
        }
    }
    assert_eq!(compared, 640);
}

#[test]
fn exact_marks_are_the_gamma_law() {
    for k in [1, 3, 40] {
        for known in [0.0, 30.0] {
            let ours =
                chance_reached(known, 90.0, 90.0 * 90.0 / f64::from(k), Limit { median: 100.0, log_sd: 0.0 });
            assert_within(
                ours.unwrap(),
                erlang_above(k, 90.0 / f64::from(k), 100.0 - known),
                1e-12,
                "Erlang",
            );
        }
    }
}

#[test]
fn without_unread_days_it_is_a_step_or_the_mark_alone() {
    let exact = Limit { median: 100.0, log_sd: 0.0 };
    assert_eq!(chance_reached(99.999, 0.0, 0.0, exact).unwrap(), 0.0);
    assert_eq!(chance_reached(100.0, 0.0, 0.0, exact).unwrap(), 1.0);
    let doubtful = Limit { median: 100.0, log_sd: 0.8 };
    assert_within(chance_reached(100.0, 0.0, 0.0, doubtful).unwrap(), 0.5, 1e-12, "at the median");
    // The normal law at one standard deviation.
    let one = chance_reached(100.0 * 0.8_f64.exp(), 0.0, 0.0, doubtful).unwrap();
    assert_within(one, 0.841_344_746, 1e-8, "one log-sd above");
    assert_eq!(chance_reached(0.0, 0.0, 0.0, doubtful).unwrap(), 0.0);
}

/// When every day is wet and gamma distributed, the closed form is exact: its day quantiles are those of the frozen table.
#[test]
fn rain_every_day_is_exact() {
    let mut compared = 0;
    for row in table(include_str!("../../data/exact_first_passage.csv")) {
        let get = |name: &str| row[name].parse::<f64>().unwrap();
        if !row["case"].starts_with("every day wet") {
            continue;
        }
        let (mu, shape) = (get("mu"), get("shape"));
        let law = Law { daily: [mu; 12], kappa: mu / shape, ..Law::NOTHING };
        for (name, p) in [("q10", 0.1), ("q50", 0.5), ("q90", 0.9)] {
            let days = law.days_to(get("h"), day(2001, 12, 31), 4000, p).unwrap().unwrap();
            assert_eq!(f64::from(days), get(name), "{} {} mm {name}", row["case"], row["h"]);
            compared += 1;
        }
    }
    assert_eq!(compared, 21);
}
