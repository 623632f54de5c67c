//! Where findings fall among what was predicted for them: uniform, where the truth is drawn from the forecast's own laws.

use eavesward_engine::generate::Generator;
use eavesward_engine::learning::{BY_EYE_LOG_SD, Finding};
use eavesward_engine::runoff::WettingStore;
use eavesward_engine::skill::Placed;
use eavesward_engine::{
    Catchment, Climate, Day, Exposure, Gauge, Limit, Meter, Question, RainRecord, Setting,
};
use proptest::prelude::*;

use super::{assert_relative, assert_within, day, roof, seattle, site};

const LIMIT: Limit = Limit { median: 300.0, log_sd: 0.5 };

fn gauge() -> Gauge {
    let climate = Climate::fit(&seattle(), None).unwrap();
    Gauge::with_climate(RainRecord::from_readings([]), Ok(climate))
}

fn question(since: Day, limit: Limit) -> Question {
    Question { limit, left_share: 0.0, since, as_of: since, horizon_days: 1 }
}

fn with_meter<T>(f: impl FnOnce(&Meter<'_>) -> T) -> T {
    let gauge = gauge();
    let catchment = Catchment::new(&gauge, &roof()).unwrap();
    let (site, roof) = (site(), roof());
    let exposure = Exposure::Runoff;
    let setting = Setting { site: &site, roof: &roof, gauge: &gauge, catchment: &catchment, exposure };
    f(&Meter::new(&setting).unwrap())
}

/// What a part had taken on generated paths, with marks and readings by eye of their own: shares of the mark.
fn found(since: Day, days: usize, paths: u64) -> Vec<f64> {
    let climate = Climate::fit(&seattle(), None).unwrap();
    let generator = Generator::new(&climate, 11);
    let one = |number| {
        let mut store = WettingStore::new(roof().wetting_loss_mm).unwrap();
        let taken: f64 =
            generator.path(number, since.plus(1), days).into_iter().map(|mm| store.day(mm)).sum();
        let eye = Limit { median: 1.0, log_sd: BY_EYE_LOG_SD };
        taken / generator.limit(number, 0, LIMIT) * generator.limit(number, 1, eye)
    };
    (0..paths).map(one).collect()
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Four standard errors at 4000 paths: .5 +- .018 for the mean, .8 +- .025 for the share inside; the closed form itself is
/// allowed a further hundredth, as it stands for the paths by their first two moments.
#[test]
fn findings_drawn_from_the_forecasts_own_laws_fall_evenly() {
    const PATHS: u64 = 4000;
    with_meter(|meter| {
        for (since, days) in [(day(2021, 3, 10), 60), (day(2021, 7, 1), 120), (day(2021, 10, 5), 45)] {
            let question = question(since, LIMIT);
            let placed =
                |finding| meter.placed(&question, since.plus(days as i32), finding).unwrap().unwrap();
            let found = found(since, days, PATHS);
            let number = |f: f64| placed(Finding::Measured { fullness: f, log_sd: BY_EYE_LOG_SD });
            // Nobody reads more than the three classes, nothing and blocked. Their edges are as fuzzy as the eye.
            let class = |f: f64| match f {
                f if f < 0.05 => Finding::AtMost(0.05),
                f if f < 0.25 => Finding::Between { from: 0.05, to: 0.25 },
                f if f < 0.75 => Finding::Between { from: 0.25, to: 0.75 },
                f if f < 1.0 => Finding::Between { from: 0.75, to: 1.0 },
                _ => Finding::AtLeast(1.0),
            };
            let numbers: Vec<Placed> = found.iter().map(|f| number(*f)).collect();
            let classes: Vec<Placed> = found.iter().map(|f| placed(class(*f))).collect();
            for (what, all) in [("numbers", numbers), ("classes", classes)] {
                let what = format!("{what} after {days} days");
                let of = |share: fn(&Placed) -> f64| mean(&all.iter().map(share).collect::<Vec<_>>());
                assert_within(of(Placed::middle), 0.5, 0.028, &format!("{what}: middle"));
                assert_within(of(Placed::inside), 0.8, 0.035, &format!("{what}: inside"));
                assert_within(
                    of(Placed::below),
                    of(Placed::above),
                    0.05,
                    &format!("{what}: below and above"),
                );
            }
            // A mark that is a third of what was believed shows.
            let thrice: Vec<f64> = found.iter().map(|f| number(3.0 * f).above()).collect();
            assert!(mean(&thrice) > 0.4, "{}", mean(&thrice));
        }
    });
}

/// Half of the paths are fuller than the likely fullness, a tenth than the high one.
#[test]
fn the_expected_fullness_is_that_of_the_paths() {
    let (since, days) = (day(2021, 10, 5), 90);
    let mut paths = found(since, days, 4000);
    paths.sort_by(f64::total_cmp);
    let at = |p: f64| paths[(p * paths.len() as f64) as usize];
    // The paths' findings have the error of the eye on top of the mark's.
    let limit = Limit { log_sd: LIMIT.log_sd.hypot(BY_EYE_LOG_SD), ..LIMIT };
    let expected = with_meter(|meter| meter.fullness(&question(since, limit), since.plus(days as i32)))
        .unwrap()
        .unwrap();
    for (p, expected) in [(0.1, expected.low), (0.5, expected.likely), (0.9, expected.high)] {
        assert_relative(expected, at(p), 0.06, &format!("quantile {p}"));
    }
}

#[test]
fn nothing_is_said_after_a_cleaning_in_part_or_of_the_same_day() {
    with_meter(|meter| {
        let since = day(2021, 6, 1);
        let on = since.plus(40);
        let left = Question { left_share: 0.3, ..question(since, LIMIT) };
        assert_eq!(meter.fullness(&left, on).unwrap(), None);
        assert_eq!(meter.placed(&left, on, Finding::measured(0.29)).unwrap(), None);
        assert!(meter.placed(&question(since, LIMIT), since, Finding::measured(0.2)).is_err());
    });
}

#[test]
fn without_rain_nothing_was_predicted() {
    let gauge = Gauge::new(RainRecord::from_readings([]), None);
    let catchment = Catchment::new(&gauge, &roof()).unwrap();
    let (site, roof) = (site(), roof());
    let exposure = Exposure::Runoff;
    let setting = Setting { site: &site, roof: &roof, gauge: &gauge, catchment: &catchment, exposure };
    let meter = Meter::new(&setting).unwrap();
    let since = day(2021, 6, 1);
    let question = question(since, LIMIT);
    assert_eq!(meter.placed(&question, since.plus(30), Finding::BLOCKED).unwrap(), None);
    assert_eq!(meter.fullness(&question, since.plus(30)).unwrap(), None);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Found fuller, it never lies lower; the three shares of a range add up to 1.
    #[test]
    fn positions_follow_the_finding(a in 0.0..3.0_f64, b in 0.0..3.0_f64, days in 1..400_i32) {
        let (low, high) = (a.min(b), a.max(b));
        let since = day(2020, 2, 11);
        let placed = |finding| {
            with_meter(|meter| meter.placed(&question(since, LIMIT), since.plus(days), finding)).unwrap().unwrap()
        };
        let (less, more) = (placed(Finding::AtMost(low)), placed(Finding::AtMost(high)));
        prop_assert!(less.to <= more.to && less.from == 0.0);
        let range = placed(Finding::Between { from: low, to: high });
        prop_assert!((0.0..=1.0).contains(&range.from) && range.from <= range.to && range.to <= 1.0);
        prop_assert!((range.below() + range.inside() + range.above() - 1.0).abs() < 1e-9);
    }
}
