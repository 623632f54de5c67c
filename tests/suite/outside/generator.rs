//! The generator against exact laws, its own climate, and the closed form.

use eavesward_engine::generate::{Generator, Passages, RENEWAL_DAYS};
use eavesward_engine::passage::{Law, Moments, chance_reached};
use eavesward_engine::{Climate, Day, Limit, MonthLaw, RainRecord};
use proptest::prelude::*;

use super::{assert_relative, assert_within, day, part, seattle, table};

/// A climate of one law all year, without spread between months, years or records.
fn constant(p01: f64, p11: f64, mean_wet_mm: f64, cv2: f64) -> Climate {
    Climate::from_laws([MonthLaw { p01, p11, mean_wet_mm, cv2 }; 12], 0.0, 0.0, 0.0, 10.0).unwrap()
}

/// Passages of `max(0, rain - loss)` through the same amount on every path.
fn passages(generator: &Generator, since: Day, horizon: i32, paths: u64, loss_mm: f64, h: f64) -> Passages {
    generator.first_passages(since, horizon, paths, |_| move |_, mm: f64| (mm - loss_mm).max(0.0), |_| h)
}

/// Tolerances as the check values come: a day on quantiles, half a percent on means, with 20,000 paths.
#[test]
fn exact_first_passages() {
    const PATHS: u64 = 20_000;
    let mut seen = 0;
    for row in table(include_str!("../../data/exact_first_passage.csv")) {
        let get = |name: &str| row[name].parse::<f64>().unwrap();
        let after = |name: &str| {
            let (_, rest) = row["case"].split_once(name)?;
            rest[..6].parse::<f64>().ok()
        };
        let (p01, p11) = (after("p01=").unwrap_or(get("p")), after("p11=").unwrap_or(get("p")));
        let climate = constant(p01, p11, get("mu"), 1.0 / get("shape"));
        let generator = Generator::new(&climate, 1);
        let t = passages(&generator, day(2019, 6, 11), 4000, PATHS, get("loss"), get("h"));
        let what = |name: &str| format!("{}, {} mm, {name}", row["case"], row["h"]);
        for (name, p) in [("q10", 0.1), ("q50", 0.5), ("q90", 0.9)] {
            assert_within(f64::from(t.quantile(p).unwrap()), get(name), 1.0, &what(name));
        }
        assert_relative(t.mean().unwrap(), get("mean"), 0.005, &what("mean"));
        seen += 1;
    }
    assert_eq!(seen, 15);
}

/// Climates that differ in all that a path depends on.
fn climates() -> Vec<(&'static str, Climate)> {
    let fitted = Climate::fit(&seattle(), None).unwrap();
    let mut seasonal = [MonthLaw { p01: 0.02, p11: 0.3, mean_wet_mm: 5.0, cv2: 1.5 }; 12];
    for month in &mut seasonal[5..10] {
        *month = MonthLaw { p01: 0.4, p11: 0.7, mean_wet_mm: 14.0, cv2: 3.2 };
    }
    vec![
        ("four years", fitted),
        ("short and wild", Climate::from_laws(seasonal, 0.6, 0.25, 0.9, 2.0).unwrap()),
        ("plain", constant(0.3, 0.6, 6.0, 1.0)),
        ("never wet", constant(0.0, 0.0, 0.0, 1.0)),
        ("always wet", constant(1.0, 1.0, 3.0, 0.7)),
        ("wet for good", constant(0.001, 1.0, 3.0, 0.7)),
        ("dry for good", constant(0.0, 0.99, 3.0, 0.7)),
        ("stays as it is", constant(0.0, 1.0, 3.0, 0.7)),
        ("wet every other day", constant(1.0, 0.0, 3.0, 0.7)),
        ("turns nearly every day", constant(0.97, 0.02, 3.0, 0.7)),
    ]
}

/// A date's rain is the same wherever the path is entered and however long it is followed.
#[test]
fn rain_belongs_to_its_date() {
    let first = day(2018, 11, 3);
    for (what, climate) in climates() {
        let generator = Generator::new(&climate, 7);
        for number in [0, 1, u64::MAX] {
            let whole = generator.path(number, first, 2500);
            for later in [1, 2, 28, 117, 118, 365, 483, 1024, 1500, 2499] {
                let entered = generator.path(number, first.plus(later), 2500 - later as usize);
                assert_eq!(whole[later as usize..], entered[..], "{what}, {later} days later");
            }
            let mut few = [f64::NAN; 100];
            generator.fill(number, first, &mut few);
            assert_eq!(whole[..100], few, "{what}");
        }
    }
}

#[test]
fn seeds_and_paths_have_rain_of_their_own() {
    let climate = Climate::fit(&seattle(), None).unwrap();
    let path = |seed, number| Generator::new(&climate, seed).path(number, day(2020, 1, 1), 2000);
    assert_eq!(path(3, 5), path(3, 5));
    // Two paths agree on dry days alone.
    let share = |a: &[f64], b: &[f64]| a.iter().zip(b).filter(|(a, b)| a == b && **a > 0.0).count();
    for (a, b) in [((3, 5), (4, 5)), ((3, 5), (3, 6)), ((3, 5), (5, 3))] {
        assert_eq!(share(&path(a.0, a.1), &path(b.0, b.1)), 0);
    }
}

/// Wet days of neighbouring paths, seeds and dates hang together as the chain says and not otherwise: within four standard
/// errors, `sqrt((1 + ab) / (1 - ab) / n)` for two chains with persistence a and b (Bartlett 1935).
#[test]
fn wet_days_hang_together_as_the_chain_says() {
    const DAYS: usize = 20_000;
    let (climate, persistence) = (constant(0.3, 0.6, 6.0, 1.0), 0.3);
    let wet = |seed, number| -> Vec<f64> {
        let path = Generator::new(&climate, seed).path(number, day(1950, 1, 1), DAYS);
        path.into_iter().map(|mm| f64::from(u8::from(mm > 0.0))).collect()
    };
    let square: f64 = persistence * persistence;
    let most = 4.0 * ((1.0 + square) / (1.0 - square) / DAYS as f64).sqrt();
    for number in 0..5 {
        let path = wet(8, number);
        assert_within(
            mean(&path),
            3.0 / 7.0,
            4.0 * (0.25 * 1.3 / 0.7 / DAYS as f64).sqrt(),
            "share of wet days",
        );
        assert_within(correlation(&path, &wet(8, number + 1)), 0.0, most, "two paths");
        assert_within(correlation(&path, &wet(9, number)), 0.0, most, "two seeds");
        assert_within(correlation(&path[1..], &path[..DAYS - 1]), persistence, most, "two days");
    }
}

fn mean(x: &[f64]) -> f64 {
    x.iter().sum::<f64>() / x.len() as f64
}

fn correlation(x: &[f64], y: &[f64]) -> f64 {
    let (mx, my) = (mean(x), mean(y));
    let sum = |f: &dyn Fn(f64, f64) -> f64| x.iter().zip(y).map(|(x, y)| f(x - mx, y - my)).sum::<f64>();
    sum(&|x, y| x * y) / (sum(&|x, _| x * x) * sum(&|_, y| y * y)).sqrt()
}

/// Totals of `max(0, rain - loss)` of one calendar year, each from a path of its own.
fn years(climate: &Climate, loss_mm: f64) -> Vec<f64> {
    let generator = Generator::new(climate, 2);
    let year =
        |number| generator.days(number, day(2021, 1, 1)).take(365).map(|mm| (mm - loss_mm).max(0.0)).sum();
    (0..3000).map(year).collect()
}

/// The factors leave the mean where it was. Three standard errors of the simulation.
#[test]
fn a_year_has_the_mean_of_the_climate() {
    for (what, climate) in climates() {
        let totals = years(&climate, 0.0);
        let fitted: f64 = (0..365).map(|i| climate.rain_mm_per_day[day(2021, 1, 1).plus(i).month0()]).sum();
        let se = deviation(&totals) / (totals.len() as f64).sqrt();
        assert_within(mean(&totals), fitted, 3.0 * se, what);
    }
}

fn deviation(x: &[f64]) -> f64 {
    let m = mean(x);
    (x.iter().map(|x| (x - m) * (x - m)).sum::<f64>() / (x.len() - 1) as f64).sqrt()
}

/// And its runoff spreads as the closed form says: four standard errors of a variance from 3000 totals are 10 %, and a
/// little skewed 12 %.
#[test]
fn a_year_has_the_spread_of_the_closed_form() {
    for (what, climate) in climates().into_iter().take(3) {
        let Moments { variance, .. } = Law::of_runoff(&climate).moments(day(2020, 12, 31), 365);
        assert_relative(deviation(&years(&climate, climate.loss_mm)).powi(2), variance, 0.12, what);
    }
}

/// Medians within 5 % beyond 30 days, whatever the amount and the season.
#[test]
fn closed_form_and_simulator_have_the_same_medians() {
    let record = seattle();
    let two_years = part(&record, day(2012, 1, 1), day(2013, 12, 31));
    let climates = [
        ("four years", Climate::fit(&record, None).unwrap()),
        ("two years", Climate::fit(&two_years, None).unwrap()),
        ("half wet", constant(0.3, 0.6, 6.0, 1.0)),
    ];
    let mut compared = 0;
    for (what, climate) in &climates {
        let (generator, law) = (Generator::new(climate, 4), Law::of_runoff(climate));
        for since in [day(2018, 12, 31), day(2019, 3, 31), day(2019, 6, 30), day(2019, 9, 30)] {
            for h in [100.0, 300.0, 600.0, 1200.0] {
                let days = law.days_to(h, since, 4000, 0.5).unwrap().unwrap();
                if days > 30 {
                    let simulated = passages(&generator, since, 4000, 1500, climate.loss_mm, h);
                    let simulated = simulated.quantile(0.5).unwrap();
                    let what = format!("{what}, {h} mm after {since:?}");
                    assert_relative(f64::from(simulated), f64::from(days), 0.05, &what);
                    compared += 1;
                }
            }
        }
    }
    assert!(compared > 40, "only {compared} medians were compared");
}

/// A wet day's rain has the mean and the variance of its month's law, also where months and years stray.
///
/// The law's variance is that of all wet days, so what strays must not come on top of it. Three standard errors.
#[test]
fn wet_days_have_the_law_of_their_month() {
    let law = MonthLaw { p01: 0.3, p11: 0.6, mean_wet_mm: 6.0, cv2: 1.5 };
    // A hundred years behind the means leave next to no doubt in them.
    let climate = Climate::from_laws([law; 12], 0.35, 0.1, 0.0, 100.0).unwrap();
    let generator = Generator::new(&climate, 3);
    // One day a month, so that each has a factor of its own.
    let first = day(1990, 1, 15);
    let wet: Vec<f64> = (0..600)
        .flat_map(|number| generator.path(number, first, 3650).into_iter().step_by(31).collect::<Vec<f64>>())
        .filter(|mm| *mm > 0.0)
        .collect();
    let n = (wet.len() as f64).sqrt();
    assert_within(mean(&wet), law.mean_wet_mm, 3.0 * deviation(&wet) / n, "mean of a wet day");
    let squares: Vec<f64> = wet.iter().map(|mm| mm * mm).collect();
    let expected = law.mean_wet_mm.powi(2) * (1.0 + law.cv2);
    assert_within(mean(&squares), expected, 3.0 * deviation(&squares) / n, "mean square of a wet day");
}

/// A doubtful mark, drawn by path, against the same doubt folded into the closed form.
#[test]
fn doubtful_marks_have_the_same_medians() {
    let climate = Climate::fit(&seattle(), None).unwrap();
    let (generator, law) = (Generator::new(&climate, 4), Law::of_runoff(&climate));
    let limit = Limit { median: 300.0, log_sd: 0.5 };
    for since in [day(2018, 12, 31), day(2019, 6, 30)] {
        let simulated = generator.first_passages(
            since,
            4000,
            3000,
            |_| |_, mm: f64| (mm - 0.5).max(0.0),
            |number| generator.limit(number, 0, limit),
        );
        let by_closed_form = |p: f64| {
            (1..4000).find(|t| {
                let Moments { mean, variance } = law.moments(since, *t);
                chance_reached(0.0, mean, variance, limit).unwrap() >= p
            })
        };
        for p in [0.1, 0.5, 0.9] {
            let simulated = f64::from(simulated.quantile(p).unwrap());
            assert_relative(
                simulated,
                f64::from(by_closed_form(p).unwrap()),
                0.05,
                &format!("{p} after {since:?}"),
            );
        }
    }
}

#[derive(Debug, Clone)]
struct Case {
    laws: [MonthLaw; 12],
    sigmas: [f64; 3],
    seed: u64,
    since: Day,
    loss_mm: f64,
    h: f64,
}

const PATHS: u64 = 12;
const HORIZON: i32 = 800;

impl Case {
    fn generator(&self) -> Generator {
        let [month, year, cv30] = self.sigmas;
        Generator::new(&Climate::from_laws(self.laws, month, year, cv30, 3.0).unwrap(), self.seed)
    }

    fn passages(&self) -> Passages {
        passages(&self.generator(), self.since, HORIZON, PATHS, self.loss_mm, self.h)
    }
}

fn cases() -> impl Strategy<Value = Case> {
    let chance = || prop_oneof![8 => 0.0..=1.0_f64, 1 => Just(0.0), 1 => Just(1.0)];
    let law = (chance(), chance(), 0.0..15.0_f64, 0.1..4.0_f64)
        .prop_map(|(p01, p11, mean_wet_mm, cv2)| MonthLaw { p01, p11, mean_wet_mm, cv2 });
    let sigmas = [0.0..0.7_f64, 0.0..0.3_f64, 0.0..0.9_f64];
    (prop::array::uniform12(law), sigmas, any::<u64>(), -30_000..60_000_i32, 0.0..2.0_f64, 0.0..900.0_f64)
        .prop_map(|(laws, sigmas, seed, since, loss_mm, h)| Case {
            laws,
            sigmas,
            seed,
            since: Day(since),
            loss_mm,
            h,
        })
}

/// Whether no path of `a` passes later than in `b`.
fn no_later(a: &Passages, b: &Passages) -> bool {
    let late = |t: Option<i32>| t.unwrap_or(i32::MAX);
    a.by_path().iter().zip(b.by_path()).all(|(a, b)| late(*a) <= late(*b))
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_smaller_mark_is_never_later(case in cases(), share in 0.0..1.0_f64) {
        let sooner = Case { h: case.h * share, ..case.clone() };
        prop_assert!(no_later(&sooner.passages(), &case.passages()));
        let nothing = Case { h: 0.0, ..case };
        prop_assert!(nothing.passages().by_path().iter().all(|t| *t == Some(0)));
    }

    #[test]
    fn quantiles_and_shares_agree(case in cases()) {
        let t = case.passages();
        let mut before = 0;
        for p in [0.1, 0.25, 0.5, 0.75, 0.9] {
            let Some(now) = t.quantile(p) else { break };
            prop_assert!(before <= now && t.share_by(now) >= p && t.share_by(now - 1) < p);
            before = now;
        }
    }

    /// A power of two keeps every rounding.
    #[test]
    fn scaling_rain_loss_and_mark_changes_no_passage(case in cases(), power in -2..4_i32) {
        let a = 2.0_f64.powi(power);
        let laws = case.laws.map(|law| MonthLaw { mean_wet_mm: a * law.mean_wet_mm, ..law });
        let scaled = Case { laws, loss_mm: a * case.loss_mm, h: a * case.h, ..case.clone() };
        prop_assert_eq!(scaled.passages(), case.passages());
    }

    #[test]
    fn more_rain_never_delays(case in cases(), at in 1..HORIZON, more in 0.0..80.0_f64, factor in 1.0..3.0_f64) {
        let plain = case.passages();
        let one_day = case.generator().first_passages(case.since, HORIZON, PATHS, |_| |d: Day, mm: f64| {
            let extra = if d == case.since.plus(at) { more } else { 0.0 };
            (mm + extra - case.loss_mm).max(0.0)
        }, |_| case.h);
        prop_assert!(no_later(&one_day, &plain));
        let laws = case.laws.map(|law| MonthLaw { mean_wet_mm: factor * law.mean_wet_mm, ..law });
        let wetter = Case { laws, ..case.clone() };
        prop_assert!(no_later(&wetter.passages(), &plain));
    }

    /// The passage moves with the origin by what was taken in between, day for day.
    #[test]
    fn a_passage_is_the_same_day_from_another_origin(case in cases(), on in 0..200_i32) {
        let generator = case.generator();
        for number in 0..PATHS {
            let fell: f64 = generator.days(number, case.since.plus(1)).take(on as usize).sum();
            let from = |since: Day, taken: f64| {
                let mut sum = taken;
                (1..HORIZON).zip(generator.days(number, since.plus(1))).find_map(|(t, mm)| {
                    sum += mm;
                    (sum >= fell + case.h).then_some(since.plus(t))
                })
            };
            let (early, late) = (from(case.since, 0.0), from(case.since.plus(on), fell));
            // The later origin looks further ahead.
            prop_assert!(early.is_none() || case.h == 0.0 || early == late, "{:?} {:?}", early, late);
        }
    }

    #[test]
    fn rain_is_finite_and_never_negative(case in cases()) {
        for mm in case.generator().path(case.seed, case.since, 1500) {
            prop_assert!(mm.is_finite() && mm >= 0.0);
        }
    }
}

#[test]
fn awkward_climates_have_defined_rain() {
    let from = Day(3 * RENEWAL_DAYS + 1);
    for (what, climate) in climates() {
        let generator = Generator::new(&climate, 5);
        let wet: Vec<bool> = generator.path(3, from, 1000).into_iter().map(|mm| mm > 0.0).collect();
        match what {
            "never wet" | "dry for good" | "stays as it is" => assert!(!wet.contains(&true), "{what}"),
            "always wet" | "wet for good" => assert!(!wet.contains(&false), "{what}"),
            "wet every other day" => assert!(wet.windows(2).all(|days| days[0] != days[1]), "{what}"),
            _ => assert!(wet.contains(&true) && wet.contains(&false), "{what}"),
        }
        let never = matches!(what, "never wet" | "dry for good" | "stays as it is");
        let t = passages(&generator, from, 500, 20, 0.5, 10.0);
        assert_eq!(t.quantile(0.5).is_none(), never, "{what}");
        assert_eq!(t.mean().is_none(), never, "{what}");
    }
}

/// A record without rain, and one whose rain never counts as wet.
#[test]
fn records_without_a_wet_day_give_no_rain() {
    for mm in [0.0, 0.04] {
        let record = RainRecord::from_readings((0..800).map(|i| (Day(i), mm)));
        let generator = Generator::new(&Climate::fit(&record, None).unwrap(), 1);
        assert!(generator.path(0, Day(900), 2000).iter().all(|mm| *mm == 0.0));
    }
}

/// A mark above what a day can add needs days; one below the first day's rain is passed on it.
#[test]
fn marks_at_the_edge() {
    let generator = Generator::new(&constant(1.0, 1.0, 5.0, 0.05), 1);
    let since = day(2020, 2, 27);
    let first = generator.path(0, since.plus(1), 1)[0];
    let days = |h: f64| generator.first_passages(since, 100, 1, |_| |_, mm| mm, |_| h).by_path()[0];
    assert_eq!(
        (days(-1.0), days(0.0), days(first), days(first * 1.001)),
        (Some(0), Some(0), Some(1), Some(2))
    );
    assert_eq!((days(1e9), days(f64::NAN)), (None, None));
}

#[test]
fn laws_out_of_range_are_refused() {
    let good = MonthLaw { p01: 0.3, p11: 0.6, mean_wet_mm: 6.0, cv2: 1.0 };
    let of =
        |law: MonthLaw, spread: f64, years: f64| Climate::from_laws([law; 12], spread, spread, spread, years);
    assert!(of(good, 0.1, 5.0).is_ok());
    for bad in [
        of(MonthLaw { p01: -0.1, ..good }, 0.1, 5.0),
        of(MonthLaw { p11: f64::NAN, ..good }, 0.1, 5.0),
        of(MonthLaw { mean_wet_mm: f64::INFINITY, ..good }, 0.1, 5.0),
        of(MonthLaw { cv2: 0.0, ..good }, 0.1, 5.0),
        of(good, -0.1, 5.0),
        of(good, 0.1, 0.0),
    ] {
        assert!(bad.is_err());
    }
}
