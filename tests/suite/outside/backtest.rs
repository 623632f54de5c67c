//! The scores of the example `backtest`, on forecasts whose worth is known; and its walk along a record.
//!
//! Run it on any record: `cargo run --release -p eavesward-engine --example backtest -- FILE.csv`.

use std::collections::BTreeMap;

use eavesward_engine::Day;

use super::{assert_relative, assert_within, day, seattle};

mod duties;

#[path = "../../../service/engine/examples/backtest/args.rs"]
mod args;
#[path = "../../../service/engine/examples/backtest/dates.rs"]
mod dates;
#[path = "../../../service/engine/examples/backtest/duty.rs"]
mod duty;
#[path = "../../../service/engine/examples/backtest/replay.rs"]
mod replay;
#[path = "../../../service/engine/examples/backtest/score.rs"]
mod score;
#[path = "../../../service/engine/examples/backtest/table.rs"]
mod table;
#[path = "../../../service/engine/examples/backtest/truth.rs"]
mod truth;
#[path = "../../../service/engine/examples/backtest/verdict.rs"]
mod verdict;
#[path = "../../../service/engine/examples/backtest/walk.rs"]
mod walk;

use score::{Estimate, Forecast, Yearly, mean_and_error, quantile_loss};
use walk::{CaseResult, Plan, Rain};

/// The normal distribution function: Abramowitz & Stegun 26.2.17, good to 7.5e-8.
fn normal_below(z: f64) -> f64 {
    let t = 1.0 / (1.0 + 0.231_641_9 * z.abs());
    let terms = [0.319_381_530, -0.356_563_782, 1.781_477_937, -1.821_255_978, 1.330_274_429];
    let sum = terms.iter().rev().fold(0.0, |sum, a| (sum + a) * t);
    let above = density(z) * sum;
    if z >= 0.0 { 1.0 - above } else { above }
}

fn density(z: f64) -> f64 {
    (-0.5 * z * z).exp() / std::f64::consts::TAU.sqrt()
}

/// A normal law cut to days, each day up to its middle.
fn normal(mean: f64, sd: f64, last: i32) -> Forecast {
    Forecast::chances((1..=last).map(|t| normal_below((f64::from(t) + 0.5 - mean) / sd)).collect())
}

/// Published for the normal law (Gneiting & Raftery 2007, equation 21):
/// `sd (z (2 Phi(z) - 1) + 2 phi(z) - 1 / sqrt(pi))`.
#[test]
fn ranked_score_of_a_normal_law() {
    let (mean, sd) = (200.0, 25.0);
    let forecast = normal(mean, sd, 500);
    for came in [120, 180, 200, 217, 290] {
        let z = (f64::from(came) - mean) / sd;
        let expected =
            sd * (z * (2.0 * normal_below(z) - 1.0) + 2.0 * density(z) - 1.0 / std::f64::consts::PI.sqrt());
        // Days are narrow against a spread of 25: the sum over them is the integral to four digits.
        assert_relative(forecast.ranked_score(came), expected, 1e-3, &format!("day {came}"));
    }
}

/// For `P(T <= t) = 1 - q^t` the sum of squares is two geometric series.
#[test]
fn ranked_score_of_a_geometric_law() {
    let q: f64 = 0.97;
    let forecast = Forecast::chances((1..2000).map(|t| 1.0 - q.powi(t)).collect());
    for came in [1, 2, 23, 100, 400] {
        let (before, q2) = (q.powi(came - 1), q * q);
        let expected = f64::from(came - 1) - 2.0 * q * (1.0 - before) / (1.0 - q)
            + q2 * (1.0 - before * before) / (1.0 - q2)
            + q.powi(2 * came) / (1.0 - q2);
        assert_within(forecast.ranked_score(came), expected, 1e-9, &format!("day {came}"));
    }
}

/// By hand: `E|X - 5| - E|X - X'| / 2` over days 2, 4 and 9 is 8/3 - 14/9; one day alone is the absolute error.
#[test]
fn ranked_score_of_paths_and_of_one_day() {
    assert_within(Forecast::paths(&[9, 2, 4]).ranked_score(5), 10.0 / 9.0, 1e-12, "three paths");
    for (said, came) in [(7_i32, 7), (7, 12), (12, 7), (1, 3)] {
        let off = f64::from(came - said).abs();
        assert_eq!(Forecast::day(said).ranked_score(came), off);
        assert_eq!(Forecast::paths(&[said; 5]).ranked_score(came), off);
        // Half the error in the mean of the three quantile losses, since their chances add up to 1.5.
        assert_within(Forecast::day(said).score(came).pinball, off / 2.0, 1e-12, "pinball of one day");
    }
}

#[test]
fn pinball_by_hand() {
    // The day came 20 later than the 10 % day: 0.1 of it; 20 earlier than the 90 % day: 0.1 of it again.
    assert_within(quantile_loss(30, 0.1, 50), 2.0, 1e-12, "late for the early day");
    assert_within(quantile_loss(70, 0.9, 50), 2.0, 1e-12, "early for the late day");
    assert_within(quantile_loss(30, 0.9, 50), 18.0, 1e-12, "late for the late day");
    assert_eq!(quantile_loss(50, 0.5, 50), 0.0);
    let forecast = Forecast::paths(&[10, 20, 30, 40, 50, 60, 70, 80, 90, 100]);
    assert_eq!(score::WINDOW.map(|p| forecast.quantile(p)), [10, 50, 90]);
    // Day 55: 0.1 x 45, 0.5 x 5, 0.1 x 35.
    assert_within(forecast.score(55).pinball, (4.5 + 2.5 + 3.5) / 3.0, 1e-12, "three quantiles");
}

/// Half of what lies on the day itself counts as before it.
#[test]
fn ties_are_halved() {
    let forecast = Forecast::paths(&[10, 10, 20, 30]);
    assert_eq!([9, 10, 15, 20, 30, 31].map(|t| forecast.place(t)), [0.0, 0.25, 0.5, 0.625, 0.875, 1.0]);
    assert_eq!((forecast.by(0), forecast.by(10), forecast.by(29), forecast.by(99)), (0.0, 0.5, 0.75, 1.0));
    // Nine in ten on one day: that day lies at 0.45 and in the window, the day after all of them at 1 and outside.
    assert_eq!((Forecast::day(5).score(5).covered, Forecast::day(5).score(6).covered), (1.0, 0.0));
}

/// Days drawn from the forecast itself fall into its window four times in five; from a law twice as wide less often, as the
/// normal law says: `2 Phi(1.2816 / 2) - 1`.
#[test]
fn coverage_of_forecasters_whose_honesty_is_known() {
    const N: i32 = 5000;
    let (honest, narrow, late) =
        (normal(400.0, 60.0, 1000), normal(400.0, 30.0, 1000), normal(460.0, 60.0, 1000));
    let mut covered = [0.0; 3];
    for i in 0..N {
        // Evenly spaced chances instead of random ones: no error of the draw.
        let came = honest.quantile((f64::from(i) + 0.5) / f64::from(N));
        for (sum, forecast) in covered.iter_mut().zip([&honest, &narrow, &late]) {
            *sum += forecast.score(came).covered / f64::from(N);
        }
    }
    let z = 1.281_551_6;
    let expected = [0.8, 2.0 * normal_below(z / 2.0) - 1.0, normal_below(1.0 + z) - normal_below(1.0 - z)];
    for (share, expected) in covered.into_iter().zip(expected) {
        // A day is a sixtieth of the spread.
        assert_within(share, expected, 0.01, "coverage");
    }
}

/// Independent years of equal weight have the error sd / sqrt(years); a year's own spread does not matter to it.
#[test]
fn errors_come_from_years() {
    let mut table = Yearly::new(52);
    for year in 1..51 {
        for value in [-5.0, 5.0, 0.0] {
            // Years alternate between 9 and 11.
            table.add(year, value + if year % 2 == 0 { 9.0 } else { 11.0 });
        }
    }
    let Estimate { mean, error } = mean_and_error(&[&table]).unwrap();
    assert_within(mean, 10.0, 1e-12, "mean");
    // 500 draws know a standard error to a thirtieth; four of those.
    assert_relative(error, 1.0 / 50.0_f64.sqrt(), 4.0 / 30.0, "standard error");
    // Two tables with the same years move together.
    let Estimate { mean: both, error: error_of_both } = mean_and_error(&[&table, &table]).unwrap();
    assert_eq!((both, error_of_both), (mean, error));
    assert_eq!(mean_and_error(&[&table, &Yearly::new(52)]), None);
}

fn seattle_readings() -> BTreeMap<i32, f64> {
    let record = seattle();
    let (first, last) = (record.first().unwrap(), record.last().unwrap());
    (first.0..=last.0).filter_map(|d| record.get(Day(d)).map(|mm| (d, mm))).collect()
}

fn seattle_rain() -> Rain {
    Rain::new(&seattle_readings()).unwrap()
}

/// Every outcome against a plain count over the record, and the way through all forecasters.
#[test]
fn a_walk_along_a_record() {
    let rain = seattle_rain();
    assert_eq!(
        (walk::shown(rain.first()), walk::shown(rain.last())),
        ("2012-01-01".into(), "2015-12-31".into())
    );
    assert_eq!((rain.days(), rain.unread()), (1461, 0));
    let thresholds = [100.0, 600.0];
    let plan = Plan::new(&rain, None, None, &thresholds).unwrap();
    assert_eq!((plan.years, plan.step, plan.paths), (2, 7, 256));
    assert_eq!(plan.origins[0], day(2013, 12, 31));
    let record = seattle();
    let mut scored = 0;
    for index in (0..plan.origins.len()).step_by(12) {
        let outcomes = walk::origin(&rain, &plan, index).unwrap();
        for (mm, outcome) in plan.thresholds.iter().zip(outcomes) {
            let mut sum = 0.0;
            let days = 1..=rain.last().since(plan.origins[index]);
            let came = days.into_iter().find(|t| {
                sum += (record.get(plan.origins[index].plus(*t)).unwrap() - walk::LOSS_MM).max(0.0);
                sum >= *mm
            });
            match outcome {
                CaseResult::Scored(of) => {
                    assert_eq!(Some(of.day), came);
                    // The straight line has no spread: its score is its error, twice its pinball.
                    assert_within(of.scores[0].pinball * 2.0, of.scores[0].crps, 1e-9, walk::FORECASTERS[0]);
                    assert!(of.scores.iter().all(|s| s.crps >= 0.0 && s.crps < 400.0));
                    scored += 1;
                }
                CaseResult::Open => assert_eq!(came, None),
                CaseResult::Gap | CaseResult::Thin => panic!("the record has no gap"),
            }
        }
    }
    assert!(scored > 10, "only {scored} passages were scored");
}

/// A day without a reading leaves out what it hides, and only that.
#[test]
fn gaps_leave_origins_out() {
    let readings = |unread: std::ops::Range<i32>| -> BTreeMap<i32, f64> {
        (0..1500).filter(|d| !unread.contains(d)).map(|d| (d, f64::from(d % 4) * 2.0)).collect()
    };
    let outcome_of = |unread: std::ops::Range<i32>, origin: usize| {
        let rain = Rain::new(&readings(unread)).unwrap();
        let plan = Plan::new(&rain, Some(2), Some(100), &[50.0, 400.0]).unwrap();
        walk::origin(&rain, &plan, origin).unwrap()
    };
    // The first origin is day 730; 2.625 mm a day run off.
    let [CaseResult::Scored(near), CaseResult::Scored(far)] = &outcome_of(0..0, 0)[..] else {
        panic!("all is read")
    };
    assert!((18..=22).contains(&near.day) && (150..=156).contains(&far.day), "{} {}", near.day, far.day);
    assert!(matches!(outcome_of(800..801, 0)[..], [CaseResult::Scored(_), CaseResult::Gap]));
    assert!(matches!(outcome_of(740..741, 0)[..], [CaseResult::Gap, CaseResult::Gap]));
    assert!(matches!(outcome_of(100..200, 0)[..], [CaseResult::Thin, CaseResult::Thin]));
    assert!(matches!(outcome_of(0..0, 7)[..], [CaseResult::Scored(_), CaseResult::Open]));
    let rain = Rain::new(&readings(0..0)).unwrap();
    assert_eq!(Plan::new(&rain, None, None, &[50.0]).unwrap().years, 2);
    assert!(Plan::new(&rain, Some(5), None, &[50.0]).unwrap_err().contains("smaller --years"));
    assert_eq!(Rain::new(&BTreeMap::new()).map(|rain| rain.days()), None);
}

/// What never rained is forecast as never, at the longest that is counted.
#[test]
fn a_dry_past_is_defined() {
    let forecasts = walk::forecasts(Day(0), &[0.0; 730], &[100.0], 0..8).unwrap();
    for forecast in &forecasts[0] {
        assert_eq!(score::WINDOW.map(|p| forecast.quantile(p)), [walk::LONGEST; 3]);
    }
}

#[test]
fn tables_are_read_and_faults_named() {
    let text = "\u{feff}station, DATE ,mm\na,2012-04-03,1.5\na,2012-04-04,\n\"a, b\",2012-04-06T00:00:00,-9900\n\
                a,2012-04-05,trace\na,2012-04-07,nan\na,2012-04-03,2.5\n";
    let table = table::read(text).unwrap();
    assert_eq!(table.readings, BTreeMap::from([(day(2012, 4, 3).0, 2.5)]));
    assert_eq!((table.empty, table.unusable, table.repeated), (1, 3, 1));
    assert!(table.skipped().contains("1 without a depth, 3 with a depth below zero"), "{}", table.skipped());
    for (text, fault) in [
        ("day,mm\n1,2\n", "no column `date` among `day,mm`"),
        ("date,mm\n2012-04-03,1\n2012-02-30,1\n", "line 3: `2012-02-30` is no date"),
        (
            "date,mm\n03/04/2012,1\n",
            "line 2: `03/04/2012` is no date from 1700 to 2299; write dates as YYYY-MM-DD",
        ),
        ("date,mm\n2012-04-03,\n", "no row has a depth"),
        ("", "no column `date`"),
    ] {
        let said = table::read(text).unwrap_err();
        assert!(said.contains(fault), "{text:?}: {said}");
    }
}

#[test]
fn command_lines() {
    let parse = |line: &str| args::parse(line.split_whitespace().map(str::to_owned));
    let args = parse("a=b.csv --years=7 --threshold 600,100,100 --step 28").unwrap().unwrap();
    assert_eq!((args.files, args.years, args.step), (vec!["a=b.csv".to_owned()], Some(7), Some(28)));
    assert_eq!(args.thresholds, [100.0, 600.0]);
    assert_eq!(parse("x.csv").unwrap().unwrap().thresholds, [100.0, 300.0, 600.0, 1200.0]);
    assert_eq!(parse("--help"), Ok(None));
    assert!(args::USAGE.contains("--threshold"));
    for (line, fault) in [
        ("", "name a file"),
        ("a.csv b.csv", "one file at a time"),
        ("a.csv --years", "needs a value"),
        ("a.csv --years 0", "whole numbers from 1 to 100"),
        ("a.csv --threshold 5,x", "holds `x`"),
        ("a.csv --threshold -5", "holds `-5`"),
        ("a.csv --fast", "--fast is not known"),
    ] {
        let said = parse(line).unwrap_err();
        assert!(said.contains(fault), "{line}: {said}");
    }
}
