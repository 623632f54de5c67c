//! Learning from findings against closed forms, quadrature and simulated truth.

use eavesward_engine::learning::{
    BY_EYE_LOG_SD, CLASS_LOG_SD, DETECTION_LIMIT, DRIFT_PER_YEAR, Evidence, Finding, Inspection,
    LONGEST_STRETCH, Learned, MEASURED_LOG_SD, Rate, Start, TaughtNothing, WILD_LOG_SD, learn, next_finding,
};
use eavesward_engine::{Day, Limit};
use proptest::prelude::*;

use super::{assert_relative, assert_within, day, table};

/// Rounding of the frozen values is far below it.
const FROZEN: f64 = 1e-6;
const EXPOSURE_MM: f64 = 850.0;
/// The normal quantile of 90 %, and the rounded one with which the tables draw their windows.
const NINETY: f64 = 1.281_551_565_544_600_4;
const TABLE_NINETY: f64 = 1.2816;

fn prior() -> Rate {
    Rate::of(Limit { median: 1200.0, log_sd: 0.6 })
}

fn inspection(finding: Finding) -> Inspection {
    Inspection { day: day(2020, 6, 1), exposure: EXPOSURE_MM, exposure_cv: 0.0, start: Start::Clean, finding }
}

fn evidence(finding: Finding) -> Evidence {
    inspection(finding).evidence().unwrap().unwrap()
}

/// The finding that a row of the tables names.
fn named(name: &str) -> Finding {
    match name.split(" (").next().unwrap().split(" x").next().unwrap() {
        "measured 0.35" => Finding::measured(0.35),
        "measured 1.0" => Finding::measured(1.0),
        "nothing found" => Finding::NOTHING,
        "light" => Finding::Between { from: 0.05, to: 0.25 },
        "half" => Finding::Between { from: 0.25, to: 0.75 },
        "heavy" => Finding::Between { from: 0.75, to: 1.0 },
        "blocked" => Finding::BLOCKED,
        other => panic!("no finding is called {other}"),
    }
}

/// The number that follows `limit` in a row's name, 1 when there is none.
fn times(name: &str) -> usize {
    name.split(" x").nth(1).map_or(1, |rest| rest.split(' ').next().unwrap().parse().unwrap())
}

#[test]
fn plain_updates_are_those_of_the_closed_form_and_of_quadrature() {
    let mut sequence = prior();
    let rows = table(include_str!("../../data/rate_updates.csv"));
    for row in &rows {
        let name = row["finding"].as_str();
        let rate = if let Some((_, reading)) = name.split_once("y=") {
            let fullness = reading.split(' ').next().unwrap().parse().unwrap();
            sequence = sequence.drifted(1.0, 0.02).updated(&evidence(Finding::measured(fullness)));
            sequence
        } else {
            let found = evidence(named(name));
            (0..times(name)).fold(prior(), |rate, _| rate.updated(&found))
        };
        let frozen = |column: &str| row[column].parse::<f64>().unwrap();
        assert_within(rate.mean, frozen("post_m"), FROZEN, name);
        assert_within(rate.sd, frozen("post_s"), FROZEN, name);
        assert_relative(rate.limit().median, frozen("full_at_mm_median"), FROZEN, name);
        if !row["quad_m"].is_empty() {
            assert_within(rate.mean, frozen("quad_m"), FROZEN, name);
            assert_within(rate.sd, frozen("quad_s"), FROZEN, name);
        }
    }
    assert_eq!(rows.len(), 16);
}

#[test]
fn robust_updates_are_those_of_quadrature() {
    let mut repeated = prior();
    let rows = table(include_str!("../../data/rate_updates_robust.csv"));
    for row in &rows {
        let name = row["finding"].as_str();
        let update = if name.contains("drift") {
            let update = repeated.drifted(1.0, 0.02).updated_robustly(&evidence(named(name)));
            repeated = update.rate;
            update
        } else if name == "measured 1.0" {
            // The table takes a fullness of 1 as "at least 1", as an eye would see it.
            prior().updated_robustly(&evidence(Finding::by_eye(1.0)))
        } else {
            prior().updated_robustly(&evidence(named(name)))
        };
        let frozen = |column: &str| row[column].parse::<f64>().unwrap();
        let limit = update.rate.limit();
        assert_relative(limit.median, frozen("median_mm"), FROZEN, name);
        assert_relative(limit.median * (-TABLE_NINETY * limit.log_sd).exp(), frozen("p10"), FROZEN, name);
        assert_relative(limit.median * (TABLE_NINETY * limit.log_sd).exp(), frozen("p90"), FROZEN, name);
        let frozen_sd = (frozen("p90") / frozen("p10")).ln() / (2.0 * TABLE_NINETY);
        assert_within(update.rate.sd, frozen_sd, FROZEN, name);
        // These are frozen to four places.
        assert_within(update.rate.mean, frozen("post_m"), 5.1e-5, name);
        assert_within(update.wild, frozen("w_outlier"), 5.1e-5, name);
    }
    assert_eq!(rows.len(), 11);
}

#[test]
fn four_yearly_readings_give_the_published_sequence() {
    // Fullness .55, .62, .48, .70 each year, believed as they stand; to the printed digits.
    let mut rate = prior();
    for (fullness, median, sd) in
        [(0.55, 1472.0, 0.270), (0.62, 1420.0, 0.214), (0.48, 1559.0, 0.195), (0.70, 1413.0, 0.188)]
    {
        rate = rate.drifted(1.0, DRIFT_PER_YEAR).updated(&evidence(Finding::measured(fullness)));
        assert_within(rate.limit().median, median, 0.5, "median");
        assert_within(rate.sd, sd, 0.0005, "log-sd");
    }
}

/// Inspections a year apart, cleaned at each.
fn yearly(findings: &[Finding]) -> Vec<Inspection> {
    let year = |k: usize| day(2001 + k as i32, 1, 1);
    findings
        .iter()
        .enumerate()
        .map(|(k, &finding)| Inspection { day: year(k), ..inspection(finding) })
        .collect()
}

fn taught(findings: &[Finding]) -> Learned {
    learn(prior(), day(2000, 1, 1), DRIFT_PER_YEAR, &yearly(findings)).unwrap()
}

#[test]
fn no_finding_more_than_doubles_the_mark() {
    // Without the limit the same four give 2368, 4551, 11795 and 21810 mm (rate_updates_robust.csv).
    let learned = taught(&[Finding::NOTHING; 4]);
    let medians: Vec<f64> = learned.steps.iter().map(|step| step.after.limit().median).collect();
    let held: Vec<bool> = learned.steps.iter().map(|step| step.held_back).collect();
    assert_eq!(held, [false, false, true, true]);
    assert_within(medians[0], 2368.0, 1.0, "first");
    assert_within(medians[1], 4551.0, 1.0, "second");
    assert_relative(medians[2], LONGEST_STRETCH * medians[1], 1e-12, "third, held");
    assert_relative(medians[3], LONGEST_STRETCH * medians[2], 1e-12, "fourth, held");
    // What was held back stays as doubt: after the third the unlimited log-sd would be .64.
    assert!(learned.steps[2].after.sd > 0.66 && learned.steps[2].after.sd <= learned.steps[2].before.sd);
    // Shortening has no limit.
    let quick = Inspection { exposure: 20.0, ..inspection(Finding::measured(1.0)) };
    let shortened = learn(prior(), quick.day, 0.0, &[quick]).unwrap();
    assert!(!shortened.steps[0].held_back);
    assert!(shortened.posterior.limit().median < 1200.0 / LONGEST_STRETCH, "{shortened:?}");
}

#[test]
fn order_of_the_list_and_leaving_out() {
    let findings = [Finding::measured(0.5), Finding::NOTHING, Finding::BLOCKED, Finding::by_eye(0.4)];
    let ordered = yearly(&findings);
    let since = day(2000, 1, 1);
    let expected = learn(prior(), since, DRIFT_PER_YEAR, &ordered).unwrap();
    let mixed: Vec<Inspection> = [2, 0, 3, 1].iter().map(|&k| ordered[k]).collect();
    let learned = learn(prior(), since, DRIFT_PER_YEAR, &mixed).unwrap();
    assert_eq!(learned.posterior, expected.posterior);
    assert_eq!(learned.steps.iter().map(|step| step.inspection).collect::<Vec<_>>(), [1, 3, 0, 2]);
    // A withdrawn inspection leaves what would be known had it never been written down.
    let without = [ordered[0], ordered[1], ordered[3]];
    let withdrawn = learn(prior(), since, DRIFT_PER_YEAR, &without).unwrap();
    assert_ne!(withdrawn.posterior, expected.posterior);
    assert_eq!(withdrawn.steps[2].after.mean, withdrawn.posterior.mean);
    assert_eq!(withdrawn.steps[..2], expected.steps[..2]);
}

#[test]
fn inspections_of_one_day_drift_once() {
    let visit = inspection(Finding::measured(0.5));
    let since = Day(visit.day.0 - 3652);
    let learned = learn(prior(), since, 0.02, &[visit, visit]).unwrap();
    assert_relative(learned.steps[0].before.sd, (0.36f64 + 0.2).sqrt(), 1e-4, "ten years of drift");
    assert_eq!(learned.steps[1].before, learned.steps[0].after);
    assert_eq!(learned.as_of, visit.day);
    // An inspection from before the prior's day finds no drift, and the clock does not run backwards.
    let early = learn(prior(), visit.day.plus(400), 0.02, &[visit]).unwrap();
    assert_eq!(early.steps[0].before, prior());
    assert_eq!(early.as_of, visit.day.plus(400));
    assert_eq!(early.drifted_to(visit.day), early.posterior);
    let later = early.drifted_to(early.as_of.plus(3652));
    assert_relative(later.sd, (early.posterior.sd.powi(2) + 0.2).sqrt(), 1e-4, "ten years on");
}

#[test]
fn a_part_cleaning_counts_from_what_was_left() {
    let from = |left: f64, finding| Inspection { start: Start::Left(left), ..inspection(finding) };
    let said = |left, finding| from(left, finding).evidence().unwrap();
    let close = |found: Evidence, expected: Evidence| {
        let (found, expected) = (prior().updated_robustly(&found), prior().updated_robustly(&expected));
        assert_within(found.rate.mean, expected.rate.mean, 1e-12, "mean");
        assert_within(found.rate.sd, expected.rate.sd, 1e-12, "log-sd");
    };
    let ln_rate = |growth: f64| (growth / EXPOSURE_MM).ln();
    assert_eq!(said(0.0, Finding::measured(0.4)).unwrap(), evidence(Finding::measured(0.4)));
    // From .3 to .7: a growth of .4 read off two readings, with the error .3 hypot(.7, .3) / .4 = .571.
    let grown = Evidence::between(ln_rate(0.4), ln_rate(0.4), 0.3 * 0.58f64.sqrt() / 0.4).unwrap();
    close(said(0.3, Finding::measured(0.7)).unwrap(), grown);
    // From .3 to .32 is within the error of reading: no more than .02 + .3 hypot(.32, .3) = .152.
    let most = 0.02 + 0.3 * (0.32f64 * 0.32 + 0.09).sqrt();
    let still = Evidence::between(f64::NEG_INFINITY, ln_rate(most), 0.3).unwrap();
    close(said(0.3, Finding::measured(0.32)).unwrap(), still);
    // A class is moved by what was left, and one that lies under it contradicts it.
    let full = Evidence::between(ln_rate(0.5), f64::INFINITY, 0.3 * 1.25f64.sqrt() / 0.5).unwrap();
    close(said(0.5, Finding::BLOCKED).unwrap(), full);
    assert_eq!(said(0.5, Finding::NOTHING), Err(TaughtNothing::LessThanWasLeft));
    let gone = from(0.5, Finding::measured(0.1));
    let learned = learn(prior(), gone.day, 0.0, &[gone]).unwrap();
    assert_eq!((learned.posterior, learned.findings()), (prior(), 0));
}

#[test]
fn a_cleaning_on_an_unknown_day_leaves_lower_bounds() {
    let one = |finding| {
        let visit = Inspection { start: Start::Unknown, ..inspection(finding) };
        learn(prior(), visit.day, 0.0, &[visit]).unwrap()
    };
    for silent in [Finding::NOTHING, Finding::AtMost(0.9), Finding::measured(0.02), Finding::AtLeast(0.0)] {
        let step = one(silent).steps[0];
        assert_eq!(step.taught_nothing, Some(TaughtNothing::CleanedOnUnknownDay), "{silent:?}");
        assert_eq!((step.after, step.weight), (step.before, 0.0));
    }
    // Blocked within 850 mm says as much as blocked after them.
    let blocked = prior().updated_robustly(&evidence(Finding::BLOCKED)).rate;
    assert_eq!(one(Finding::BLOCKED).posterior, blocked);
    // Half full within 850 mm: the rate is at least .5 / 850, however the finding is worded.
    let half = prior().updated_robustly(&evidence(Finding::AtLeast(0.5))).rate;
    assert_eq!(one(Finding::measured(0.5)).posterior, half);
    assert_eq!(one(Finding::Between { from: 0.5, to: 0.75 }).posterior, half);
    assert!(half.mean > prior().mean && half.limit().median > blocked.limit().median);
}

#[test]
fn what_teaches_nothing_says_why() {
    let why =
        |rate, visit: Inspection| learn(rate, visit.day, 0.0, &[visit]).unwrap().steps[0].taught_nothing;
    let dry = Inspection { exposure: 0.0, ..inspection(Finding::measured(0.5)) };
    assert_eq!(why(prior(), dry), Some(TaughtNothing::NoExposure));
    assert_eq!(why(prior(), inspection(Finding::AtLeast(0.0))), Some(TaughtNothing::AnyRateFits));
    assert_eq!(why(prior(), inspection(Finding::AtMost(f64::INFINITY))), Some(TaughtNothing::AnyRateFits));
    let known = Rate::of(Limit { median: 2.0, log_sd: 0.0 });
    assert_eq!(why(known, inspection(Finding::BLOCKED)), Some(TaughtNothing::RateIsKnown));
    assert_eq!(why(prior(), inspection(Finding::BLOCKED)), None);
}

#[test]
fn nothing_at_all_is_nothing_found() {
    for none in [
        Finding::Measured { fullness: 0.0, log_sd: 0.4 },
        Finding::AtMost(0.0),
        Finding::Between { from: 0.0, to: 0.0 },
        Finding::Between { from: 0.0, to: DETECTION_LIMIT },
        Finding::measured(0.0),
        Finding::by_eye(0.04),
    ] {
        assert_eq!(evidence(none), evidence(Finding::NOTHING), "{none:?}");
    }
    assert_eq!(Finding::by_eye(1.2), Finding::BLOCKED);
    assert_eq!(Finding::measured(1.2), Finding::Measured { fullness: 1.2, log_sd: MEASURED_LOG_SD });
}

#[test]
fn a_class_without_width_is_a_reading() {
    for fullness in [0.06, 0.35, 1.0, 40.0] {
        let point = prior().updated_robustly(&evidence(Finding::measured(fullness))).rate;
        let class =
            prior().updated_robustly(&evidence(Finding::Between { from: fullness, to: fullness })).rate;
        assert_eq!(class, point);
        for width in [1e-12, 1e-8, 1e-6, 1e-4] {
            let to = fullness * (1.0 + width);
            let near = prior().updated_robustly(&evidence(Finding::Between { from: fullness, to })).rate;
            assert_within(near.mean, point.mean, 1e-9 + width, "mean");
            assert_within(near.sd, point.sd, 1e-9 + width, "log-sd");
        }
    }
}

#[test]
fn what_cannot_be_is_refused() {
    let refused = |visit: Inspection| learn(prior(), visit.day, 0.0, &[visit]).is_err();
    for finding in [
        Finding::measured(f64::NAN),
        Finding::measured(-0.1),
        Finding::by_eye(f64::INFINITY),
        Finding::Measured { fullness: 0.5, log_sd: 0.0 },
        Finding::Between { from: 0.6, to: 0.5 },
        Finding::Between { from: f64::NAN, to: 0.5 },
        Finding::AtMost(f64::NAN),
        Finding::AtLeast(-1.0),
        Finding::AtLeast(f64::INFINITY),
    ] {
        assert!(refused(inspection(finding)), "{finding:?}");
    }
    let good = inspection(Finding::BLOCKED);
    assert!(refused(Inspection { exposure: -1.0, ..good }));
    assert!(refused(Inspection { exposure: f64::INFINITY, ..good }));
    assert!(refused(Inspection { exposure_cv: f64::NAN, ..good }));
    assert!(refused(Inspection { start: Start::Left(-0.1), ..good }));
    assert!(learn(Rate { mean: f64::NAN, sd: 0.5 }, good.day, 0.0, &[]).is_err());
    assert!(learn(Rate { mean: 0.0, sd: -0.5 }, good.day, 0.0, &[]).is_err());
    assert!(learn(prior(), good.day, -0.02, &[]).is_err());
    assert_eq!(learn(prior(), good.day, 0.0, &[]).unwrap().posterior, prior());
}

#[test]
fn weight_tells_what_a_finding_counted() {
    let weight = |rate: Rate, visit| learn(rate, day(2020, 6, 1), 0.0, &[visit]).unwrap().steps[0].weight;
    // A reading as sure as the belief counts as much as the belief, but for the chance that it is wild.
    let even = Rate { sd: MEASURED_LOG_SD, ..prior() };
    let expected = Inspection { exposure: 600.0, ..inspection(Finding::measured(0.5)) };
    assert!((0.45..0.5).contains(&weight(even, expected)), "{}", weight(even, expected));
    // One far from the belief is taken for wild and counts for little; more doubt about the rain, less weight.
    let far = inspection(Finding::NOTHING);
    assert!(weight(prior(), far) < 0.2);
    assert!(weight(prior(), expected) > 0.7);
    assert!(weight(prior(), Inspection { exposure_cv: 0.5, ..expected }) < 0.6);
}

#[test]
fn the_worth_of_the_next_finding() {
    // Without wild findings: s' = .6 x .3 / hypot(.6, .3) = .268. With them it is more, and less than .6.
    let soon = next_finding(prior(), 30.0, MEASURED_LOG_SD).unwrap();
    let half = next_finding(prior(), 600.0, MEASURED_LOG_SD).unwrap();
    assert!(half.expected_sd > 0.268 && half.expected_sd < 0.4, "{half:?}");
    assert!(half.nothing_to_find < 0.01 && soon.nothing_to_find > 0.8, "{half:?} {soon:?}");
    assert!(soon.expected_sd > half.expected_sd && soon.expected_sd < 0.6);
    let width = |sd: f64| (NINETY * sd).exp() - (-NINETY * sd).exp();
    assert_relative(half.window_ratio, width(half.expected_sd) / width(0.6), 1e-12, "window");
    let none = next_finding(prior(), 0.0, MEASURED_LOG_SD).unwrap();
    assert_eq!((none.expected_sd, none.window_ratio, none.nothing_to_find), (0.6, 1.0, 1.0));
    assert!(next_finding(prior(), f64::NAN, 0.3).is_err() && next_finding(prior(), 1.0, 0.0).is_err());
}

#[test]
fn the_worth_foretold_is_the_worth_found() {
    // 40,000 components from the prior, each measured once at half the prior's mark.
    let foretold = next_finding(prior(), 600.0, MEASURED_LOG_SD).unwrap();
    let mut draw = Draws(7);
    let n = 40_000;
    let mut sum = 0.0;
    for _ in 0..n {
        let rate = prior().mean + prior().sd * draw.normal();
        let fullness = (rate + draw.error(MEASURED_LOG_SD, 0.15)).exp() * 600.0;
        let visit = Inspection { exposure: 600.0, ..inspection(Finding::measured(fullness)) };
        sum += prior().updated_robustly(&visit.evidence().unwrap().unwrap()).rate.sd;
    }
    assert_relative(foretold.expected_sd, sum / f64::from(n), 0.01, "expected log-sd");
}

/// Reproducible draws: a counter through the finaliser of SplitMix64 (Steele, Lea & Flood 2014), and Box-Muller.
struct Draws(u64);

impl Draws {
    /// Uniform in (0, 1).
    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        (((z ^ (z >> 31)) >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        let radius = (-2.0 * self.uniform().ln()).sqrt();
        radius * (std::f64::consts::TAU * self.uniform()).cos()
    }

    /// The error of a finding with the log-sd `sound`, wild in the given share of cases.
    fn error(&mut self, sound: f64, wild: f64) -> f64 {
        let sd = if self.uniform() < wild { WILD_LOG_SD } else { sound };
        sd * self.normal()
    }
}

/// How well simulated components were learned.
struct Skill {
    /// Median absolute error of ln rate after the last inspection, over that of the prior.
    error_ratio: f64,
    /// Share of true marks within the learned 10 to 90 % window.
    coverage: f64,
}

/// Components with true rates from the prior that drift as the model says, looked at yearly and cleaned each time after
/// between .2 and .8 of the prior's mark, with 10 % wild findings.
fn skill(log_sd: f64, visits: usize, error: f64, components: usize, seen: impl Fn(f64) -> Finding) -> Skill {
    let prior = Rate::of(Limit { median: 1200.0, log_sd });
    let mut draw = Draws(20_260_801);
    let (mut learned_errors, mut prior_errors, mut covered) = (Vec::new(), Vec::new(), 0);
    for _ in 0..components {
        let mut truth = prior.mean + prior.sd * draw.normal();
        let mut inspections = Vec::new();
        for year in 1..=visits as i32 {
            truth += DRIFT_PER_YEAR.sqrt() * draw.normal();
            let exposure = 1200.0 * (0.2 + 0.6 * draw.uniform());
            let fullness = exposure * (truth + draw.error(error, 0.1)).exp();
            let day = day(2000 + year, 1, 1);
            inspections.push(Inspection {
                day,
                exposure,
                exposure_cv: 0.0,
                start: Start::Clean,
                finding: seen(fullness),
            });
        }
        let learned = learn(prior, day(2000, 1, 1), DRIFT_PER_YEAR, &inspections).unwrap().posterior;
        learned_errors.push((learned.mean - truth).abs());
        prior_errors.push((prior.mean - truth).abs());
        let limit = learned.limit();
        let off = (-truth - limit.median.ln()).abs();
        covered += usize::from(off <= NINETY * limit.log_sd);
    }
    Skill {
        error_ratio: median(learned_errors) / median(prior_errors),
        coverage: covered as f64 / components as f64,
    }
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// As a depth is read off a rule.
fn by_rule(fullness: f64) -> Finding {
    Finding::measured(fullness)
}

/// As a form with four boxes asks for it.
fn by_class(fullness: f64) -> Finding {
    match fullness {
        f if f < DETECTION_LIMIT => Finding::NOTHING,
        f if f < 0.25 => Finding::Between { from: DETECTION_LIMIT, to: 0.25 },
        f if f < 0.75 => Finding::Between { from: 0.25, to: 0.75 },
        f if f < 1.0 => Finding::Between { from: 0.75, to: 1.0 },
        _ => Finding::BLOCKED,
    }
}

/// Three inspections bring the error of ln rate under half of the prior's, and the window holds what it says.
///
/// Measured at 4000 components each: with a rule .39, .34, .30, .27 of the prior's error for priors of log-sd .5, .6, .7,
/// .8; with four classes .49, .45, .40, .36; by eye .49, .43, .39, .35; coverage .82 to .83 throughout, a little wide
/// because 10 % are wild here and the model allows for 15 %. Under a log-sd of .5 classes and eyes no longer halve the
/// error (.57 and .56 at .4): such a prior is worth as much as the three findings.
fn check_skill(error: f64, seen: impl Fn(f64) -> Finding + Copy, how: &str) {
    for log_sd in [0.5, 0.6, 0.7, 0.8] {
        let Skill { error_ratio, coverage } = skill(log_sd, 3, error, 4000, seen);
        assert!(error_ratio < 0.5, "{how}, prior {log_sd}: error {error_ratio} of the prior's");
        assert!((0.75..=0.85).contains(&coverage), "{how}, prior {log_sd}: coverage {coverage}");
    }
}

#[test]
fn three_measured_depths_find_the_truth() {
    check_skill(MEASURED_LOG_SD, by_rule, "rule");
}

#[test]
fn three_classes_find_the_truth() {
    check_skill(CLASS_LOG_SD, by_class, "class");
}

#[test]
fn three_looks_find_the_truth() {
    check_skill(BY_EYE_LOG_SD, Finding::by_eye, "eye");
}

#[test]
fn more_findings_teach_more() {
    let ratios: Vec<f64> =
        [1, 2, 3, 5].map(|n| skill(0.7, n, MEASURED_LOG_SD, 4000, by_rule).error_ratio).to_vec();
    assert!(ratios.windows(2).all(|pair| pair[1] < pair[0]), "{ratios:?}");
}

fn rates() -> impl Strategy<Value = Rate> {
    (-12.0..2.0, 0.05..2.0).prop_map(|(mean, sd)| Rate { mean, sd })
}

/// A range of ln rate, either end open at times, up to far from any belief.
fn ranges() -> impl Strategy<Value = (f64, f64)> {
    let end = || prop_oneof![4 => -20.0..10.0, 1 => -200.0..200.0];
    (end(), end(), 0..4).prop_map(|(a, b, open): (f64, f64, i32)| match open {
        0 => (f64::NEG_INFINITY, b),
        1 => (a, f64::INFINITY),
        _ => (a.min(b), a.max(b)),
    })
}

fn findings() -> impl Strategy<Value = Finding> {
    let share = || prop_oneof![4 => 0.0..1.5, 1 => (-290.0..290.0f64).prop_map(|e| 10f64.powf(e))];
    prop_oneof![
        (share(), 0.01..3.0).prop_map(|(fullness, log_sd)| Finding::Measured { fullness, log_sd }),
        (share(), share()).prop_map(|(a, b)| Finding::Between { from: a.min(b), to: a.max(b) }),
        share().prop_map(Finding::AtMost),
        share().prop_map(Finding::AtLeast),
    ]
}

fn inspections(exposure: impl Strategy<Value = f64>) -> impl Strategy<Value = Inspection> {
    let start = prop_oneof![4 => Just(Start::Clean), 2 => (0.0..1.2).prop_map(Start::Left), 1 => Just(Start::Unknown)];
    (0..5000, exposure, 0.0..0.5, start, findings()).prop_map(
        |(day, exposure, exposure_cv, start, finding)| Inspection {
            day: Day(day),
            exposure,
            exposure_cv,
            start,
            finding,
        },
    )
}

proptest! {
    #[test]
    fn a_plain_update_never_raises_the_doubt(rate in rates(), (from, to) in ranges(), log_sd in 0.01..1.0) {
        let range = Evidence::between(from, to, log_sd).unwrap();
        prop_assert!(rate.updated(&range).sd <= rate.sd * (1.0 + 1e-12));
        let end = if from.is_finite() { from } else { to };
        let reading = Evidence::between(end, end, log_sd).unwrap();
        prop_assert!(rate.updated(&reading).sd < rate.sd);
    }

    #[test]
    fn a_finding_moves_the_rate_towards_it(rate in rates(), off in 1e-3..60.0, width in 0.0..60.0, log_sd in 0.01..1.0) {
        for open in [false, true] {
            let far = if open { f64::INFINITY } else { off + width };
            let above = Evidence::between(rate.mean + off, rate.mean + far, log_sd).unwrap();
            let below = Evidence::between(rate.mean - far, rate.mean - off, log_sd).unwrap();
            prop_assert!(rate.updated(&above).mean > rate.mean && rate.updated(&below).mean < rate.mean);
            prop_assert!(rate.updated_robustly(&above).rate.mean > rate.mean);
            prop_assert!(rate.updated_robustly(&below).rate.mean < rate.mean);
        }
    }

    #[test]
    fn a_narrower_range_leaves_no_more_doubt(
        rate in rates(), (from, to) in ranges(), log_sd in 0.01..1.0, cut in (0.0..1.0, 0.0..1.0),
    ) {
        let outer = rate.updated(&Evidence::between(from, to, log_sd).unwrap());
        let (low, high) = (from.max(-300.0), to.min(300.0));
        let (a, b): (f64, f64) = (low + (high - low) * cut.0, low + (high - low) * cut.1);
        let inner = rate.updated(&Evidence::between(a.min(b), a.max(b), log_sd).unwrap());
        prop_assert!(inner.sd <= outer.sd + 1e-9, "{inner:?} {outer:?}");
    }

    #[test]
    fn two_readings_may_come_in_either_order(rate in rates(), a in -12.0..2.0, b in -12.0..2.0, log_sd in (0.05..1.0, 0.05..1.0)) {
        let first = Evidence::between(a, a, log_sd.0).unwrap();
        let second = Evidence::between(b, b, log_sd.1).unwrap();
        let (there, back) = (rate.updated(&first).updated(&second), rate.updated(&second).updated(&first));
        prop_assert!((there.mean - back.mean).abs() < 1e-9 && (there.sd - back.sd).abs() < 1e-9);
    }

    #[test]
    fn a_range_without_ends_changes_nothing(rate in rates(), log_sd in 0.01..1.0) {
        let all = Evidence::between(f64::NEG_INFINITY, f64::INFINITY, log_sd).unwrap();
        for after in [rate.updated(&all), rate.updated_robustly(&all).rate] {
            prop_assert!((after.mean - rate.mean).abs() < 1e-12 && (after.sd - rate.sd).abs() < 1e-12);
        }
        prop_assert_eq!(rate.updated_robustly(&all).weight, 0.0);
    }

    #[test]
    fn another_unit_of_exposure_only_shifts_the_rate(
        rate in rates(), scale in -6.0..6.0, visits in prop::collection::vec(inspections(0.1..5000.0), 1..5),
    ) {
        let factor = f64::exp(scale);
        let scaled: Vec<_> = visits.iter().map(|v| Inspection { exposure: v.exposure * factor, ..*v }).collect();
        let other = Rate { mean: rate.mean - scale, sd: rate.sd };
        let (one, two) = (learn(rate, Day(0), 0.02, &visits).unwrap(), learn(other, Day(0), 0.02, &scaled).unwrap());
        prop_assert!((one.posterior.mean - scale - two.posterior.mean).abs() < 1e-7);
        prop_assert!((one.posterior.sd - two.posterior.sd).abs() < 1e-7);
    }

    #[test]
    fn the_order_of_the_list_does_not_matter(
        rate in rates(), visits in prop::collection::vec(inspections(0.1..5000.0), 1..6), turn in 0usize..6,
    ) {
        let mut apart = visits;
        for (k, visit) in apart.iter_mut().enumerate() {
            visit.day = Day(visit.day.0 * 8 + k as i32);
        }
        let expected = learn(rate, Day(0), 0.02, &apart).unwrap();
        let turn = turn % apart.len();
        apart.rotate_left(turn);
        apart[turn..].reverse();
        prop_assert_eq!(learn(rate, Day(0), 0.02, &apart).unwrap().posterior, expected.posterior);
    }

    #[test]
    fn every_answer_is_a_number(
        mean in -700.0..700.0, sd in 0.0..3.0, drift in 0.0..0.5,
        visits in prop::collection::vec(
            inspections(prop_oneof![0.0..2000.0, (-300.0..300.0f64).prop_map(|e| 10f64.powf(e))]), 1..6),
    ) {
        let learned = learn(Rate { mean, sd }, Day(100), drift, &visits).unwrap();
        for step in &learned.steps {
            prop_assert!(step.after.mean.abs() <= 700.0 && (0.0..=3.0).contains(&step.after.sd), "{step:?}");
            prop_assert!((0.0..=1.0).contains(&step.weight) && (0.0..=1.0).contains(&step.wild), "{step:?}");
            prop_assert!(step.after.mean >= step.before.mean - LONGEST_STRETCH.ln() - 1e-9, "{step:?}");
            prop_assert!(step.taught_nothing.is_none() || (step.after == step.before && step.weight == 0.0));
        }
        let limit = learned.drifted_to(Day(9000)).limit();
        prop_assert!(limit.median > 0.0 && limit.median.is_finite() && (0.0..=3.0).contains(&limit.log_sd));
    }

    #[test]
    fn the_next_finding_is_never_worth_less_than_nothing(rate in rates(), exposure in 0.0..1e5, log_sd in 0.05..1.0) {
        let worth = next_finding(rate, exposure, log_sd).unwrap();
        prop_assert!(worth.expected_sd > 0.0 && worth.expected_sd <= rate.sd);
        prop_assert!(worth.window_ratio > 0.0 && worth.window_ratio <= 1.0 + 1e-12);
        prop_assert!((0.0..=1.0).contains(&worth.nothing_to_find));
    }
}
