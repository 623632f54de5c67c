//! The example `backtest --duty`: scores of forecasts whose worth is known, true days against a plain walk, and texts.

use std::collections::BTreeMap;

use eavesward_engine::{Catchment, Day, Gauge, Limit, RainRecord};

use super::args::{self, DutyArgs};
use super::dates::{Record, report};
use super::duty::{Duty, Part, Place};
use super::replay::Origin;
use super::table::Table;
use super::truth::{DRAWS, LeftOut, Truth, leaf_factor};
use super::verdict::{ABSOLUTE, EARLY, Figures, LATE, MEDIAN, SPLIT, Seen, WITHIN, verdicts};
use super::{normal, normal_below, seattle_readings};
use crate::outside::{Asked, assert_relative, assert_within, day, forecast, seattle};

/// The figures of one forecast for true days that come as evenly spaced chances of a law.
fn figures(likely: i32, said: &dyn Fn(i32) -> f64, came: &[i32]) -> Figures {
    let seen = Seen::new(0, Some(likely), 9999, came, |day| Ok::<f64, ()>(said(day))).unwrap();
    let (rows, _) = verdicts(&[vec![seen]]);
    rows[0].as_ref().unwrap().figures.map(|figure| figure.mean)
}

/// A chance of 0.4 every day. Days 1 to 5 have their middle in the window: 1 - 0.6^5. The window holds 0.8 of the chance
/// all the same.
#[test]
fn a_few_days_of_a_known_law() {
    const N: i32 = 10_000;
    let by = |day: i32| 1.0 - 0.6_f64.powi(day);
    let came_by = |chance: f64| (1..100).find(|day| by(*day) >= chance).unwrap();
    let came: Vec<i32> = (0..N).map(|i| came_by((f64::from(i) + 0.5) / f64::from(N))).collect();
    let of = figures(2, &by, &came);
    assert_eq!(of[MEDIAN], 0.0);
    assert_within(of[WITHIN], 1.0 - 0.6_f64.powi(5), 1e-4, "within");
    assert_within(of[SPLIT], 0.8, 1e-4, "ties split");
    assert_within(of[EARLY], 0.0, 1e-12, "early");
    assert_within(of[LATE], 0.6_f64.powi(5), 1e-4, "late");
    // E|T - 2| = P(1) + sum of (t - 2) p_t: 0.4 + 0.36 / 0.4.
    assert_within(of[ABSOLUTE], 0.4 + 0.36 / 0.4, 5e-3, "absolute");
}

/// The normal law says how often a window of half its spread, or one that is a spread late, holds the day.
#[test]
fn narrow_and_late_forecasts_are_told() {
    const N: i32 = 5000;
    let truth = normal(400.0, 60.0, 1000);
    let came: Vec<i32> = (0..N).map(|i| truth.quantile((f64::from(i) + 0.5) / f64::from(N))).collect();
    let z = 1.281_551_6;
    for (mean, sd, early, late) in [
        (400.0, 60.0, 0.1, 0.1),
        (400.0, 30.0, normal_below(-z / 2.0), normal_below(-z / 2.0)),
        (460.0, 60.0, normal_below(1.0 - z), normal_below(-1.0 - z)),
    ] {
        let said = normal(mean, sd, 1000);
        let of = figures(mean as i32, &|day| said.by(day), &came);
        // A day is a sixtieth of the spread.
        for (figure, expected, what) in [
            (of[WITHIN], 1.0 - early - late, "within"),
            (of[SPLIT], 1.0 - early - late, "ties split"),
            (of[EARLY], early, "early"),
            (of[LATE], late, "late"),
        ] {
            assert_within(figure, expected, 0.01, &format!("{what} of {mean} {sd}"));
        }
        assert_within(of[MEDIAN], mean - 400.0, 1.0, "median error");
    }
}

/// Clusters of three origins with errors that add up to `value` by their median.
fn clusters(values: impl IntoIterator<Item = i32>) -> Vec<Seen> {
    let of = |(cluster, value): (i32, i32)| {
        [-4, 0, 4].map(|off| {
            Seen::new(cluster, Some(500 + value + off), 9999, &[500], |_| Ok::<f64, ()>(0.5)).unwrap()
        })
    };
    (0..).zip(values).flat_map(of).collect()
}

/// The mean of independent clusters has the error sd / sqrt(n). Of two records of one size each differs from both by half
/// their difference, so its distance is that of a test of two means.
#[test]
fn errors_come_from_clusters() {
    let near = clusters((0..60).map(|i| if i % 2 == 0 { 90 } else { 110 }));
    let far = clusters((0..60).map(|i| if i % 2 == 0 { 94 } else { 122 }));
    let (rows, all) = verdicts(&[near, far, Vec::new()]);
    let [Some(near), Some(far), None] = &rows[..] else { panic!("two records have origins") };
    let all = all.unwrap();
    assert_eq!((near.origins, near.clusters, all.origins, all.clusters), (180, 60, 360, 120));
    // 500 draws know a standard error to a thirtieth; four of those.
    let close = 4.0 / 30.0;
    let root = 60.0_f64.sqrt();
    assert_within(near.figures[ABSOLUTE].mean, 100.0, 1e-9, "near");
    assert_relative(near.figures[ABSOLUTE].error, 10.0 / root, close, "near");
    assert_relative(far.figures[ABSOLUTE].error, 14.0 / root, close, "far");
    assert_within(all.figures[ABSOLUTE].mean, 104.0, 1e-9, "all");
    assert_relative(all.figures[ABSOLUTE].error, 10.0_f64.hypot(14.0) / 2.0 / root, close, "all");
    let distance = 8.0 / (10.0_f64.hypot(14.0) / root);
    assert_relative(far.distance[ABSOLUTE], distance, close, "distance");
    assert_relative(near.distance[ABSOLUTE], -distance, close, "distance");
    // Half of the origins lie at 98 and below, half at 102 and above.
    assert_within(near.figures[MEDIAN].mean, 100.0, 6.0, "median");
    assert!(all.distance[ABSOLUTE].is_nan(), "no distance from itself");
    // One cluster says nothing about an error.
    let (rows, _) = verdicts(&[clusters([100])]);
    assert!(rows[0].as_ref().unwrap().figures[MEDIAN].error.is_nan());
    assert_eq!(rows[0].as_ref().unwrap().figures[MEDIAN].mean, 100.0);
}

fn gauge(readings: &BTreeMap<i32, f64>) -> Gauge {
    Gauge::new(RainRecord::from_readings(readings.iter().map(|(day, mm)| (Day(*day), *mm))), None)
}

/// Runoff against a plain count over the record.
#[test]
fn the_true_day_of_runoff() {
    let readings = seattle_readings();
    let gauge = gauge(&readings);
    let part = Part::new(Duty::Diverter, Place::default(), Some(60.0)).unwrap();
    let catchment = Catchment::new(&gauge, &part.roof).unwrap();
    let truth = Truth::new(&part, &gauge, &catchment).unwrap();
    let mut open = 0;
    for origin in (day(2012, 3, 1).0..day(2015, 12, 31).0).step_by(31).map(Day) {
        // How a day's rain wets the roof is the catchment's; its runoff is added up here.
        let mut sum = 0.0;
        let came = (1..=day(2015, 12, 31).since(origin)).find(|t| {
            sum += catchment.runoff_mm(origin.plus(t - 1), origin.plus(*t));
            sum >= 60.0 - 1e-9
        });
        open += i32::from(came.is_none());
        assert_eq!(truth.days(origin, origin), came.map(|came| vec![came]).ok_or(LeftOut::Open));
    }
    assert!((1..5).contains(&open), "{open}");
}

/// Leaves laid down day by day with the factors of each world, and moved on days with runoff.
#[test]
fn the_true_days_of_leaves() {
    let readings = seattle_readings();
    let gauge = gauge(&readings);
    for (duty, limit) in [(Duty::Gutter, 0.06), (Duty::Screen, 0.3)] {
        let part = Part::new(duty, Place::default(), None).unwrap();
        assert_eq!(part.limit, limit);
        let catchment = Catchment::new(&gauge, &part.roof).unwrap();
        let truth = Truth::new(&part, &gauge, &catchment).unwrap();
        let spread = truth.leaf_spread().unwrap();
        assert!(spread.0 > 0.1 && spread.1 > 0.05, "{spread:?}");
        let runs = |day: Day| catchment.runoff_mm(day.plus(-1), day) > 0.0;
        for (since, origin) in [(day(2013, 9, 1), day(2013, 9, 1)), (day(2014, 4, 20), day(2014, 5, 31))] {
            let days = truth.days(since, origin).unwrap();
            assert_eq!(days.len() as u64, DRAWS);
            // Leaves of 2012 and later lie on the roof until runoff, and those before `since` go to the last service.
            let (mut roof, mut moved) = (0.0, 0.0);
            for day in (day(2012, 3, 1).0..=origin.0).map(Day) {
                roof += part.fall_of_day(day.month0());
                if runs(day) {
                    moved += if day > since { roof } else { 0.0 };
                    roof = 0.0;
                }
            }
            for (draw, came) in (0..).zip(days) {
                let (mut roof, mut moved) = (roof, moved);
                let walked = (1..2000).find(|t| {
                    let day = origin.plus(*t);
                    roof += part.fall_of_day(day.month0()) * leaf_factor(draw, day, spread);
                    if runs(day) {
                        moved += roof;
                        roof = 0.0;
                    }
                    moved >= part.limit
                });
                assert_eq!(walked, Some(came), "{duty:?}, {origin:?}, draw {draw}");
            }
        }
    }
}

/// Log-normal with mean 1: `ln` of the factor has the mean `-(s^2 + r^2) / 2`. A month shares one factor, its year another.
#[test]
fn leaf_factors_have_their_law() {
    const N: u64 = 20_000;
    let (month, year) = (0.35_f64, 0.2_f64);
    let at = |draw, date| leaf_factor(draw, date, (month, year));
    let (mut mean, mut log, mut square, mut product) = (0.0, 0.0, 0.0, 0.0);
    let expected = -0.5 * (month * month + year * year);
    for draw in 0..N {
        let (one, other) = (at(draw, day(2014, 11, 1)), at(draw, day(2014, 10, 31)));
        assert_eq!(one, at(draw, day(2014, 11, 30)));
        mean += one / N as f64;
        log += one.ln() / N as f64;
        square += (one.ln() - expected).powi(2) / N as f64;
        product += (one.ln() - expected) * (other.ln() - expected) / N as f64;
    }
    // Four standard errors of 20,000 draws.
    let four = 4.0 / (N as f64).sqrt();
    let variance = month * month + year * year;
    assert_within(mean, 1.0, four * (variance.exp() - 1.0).sqrt(), "mean");
    assert_within(log, expected, four * variance.sqrt(), "mean of the logarithm");
    assert_within(square, variance, four * 2.0_f64.sqrt() * variance, "variance of the logarithm");
    assert_within(product, year * year, four * 1.1 * variance, "two months of a year");
    assert_eq!(leaf_factor(3, day(2014, 11, 1), (0.0, 0.0)), 1.0);
}

fn asked(line: &str) -> (DutyArgs, Option<u32>, Option<i32>) {
    let args = args::parse(line.split_whitespace().map(str::to_owned)).unwrap().unwrap();
    (args.duty.unwrap(), args.years, args.step)
}

fn record(name: &str, readings: &BTreeMap<i32, f64>, line: &str) -> Result<Record, String> {
    let (duty, years, step) = asked(&format!("{name} {line}"));
    let table = Table { readings: readings.clone(), ..Table::default() };
    Record::new(name, &table, &duty, years, step)
}

fn walk(record: &Record) -> Vec<Origin> {
    let truth = record.truth().unwrap();
    (0..record.origins.len()).map(|index| record.origin(&truth, index).unwrap()).collect()
}

/// The engine asked by hand, with the two years up to an origin.
#[test]
fn forecasts_are_those_of_the_engine() {
    let readings = seattle_readings();
    for (line, since_days) in [("--limit 100", 0), ("--limit 100 --since-days 20", 20), ("--limit 3", 0)] {
        let line = format!("--duty diverter --years 2 --step 90 {line}");
        let record = record("seattle.csv", &readings, &line).unwrap();
        let (duty, ..) = asked(&format!("seattle.csv {line}"));
        let part = Part::new(duty.duty, duty.place, duty.limit).unwrap();
        let whole = seattle();
        let mut asked_by_hand = 0;
        for (origin, of) in record.origins.iter().zip(walk(&record)) {
            let Origin::Seen(of) = of else { continue };
            let record = crate::outside::part(&whole, origin.plus(1 - 731), *origin);
            let climate = Gauge::new(record.clone(), None).climate().cloned().unwrap();
            let answer = forecast(&Asked {
                site: &part.site,
                roof: &part.roof,
                record: &record,
                climate: Some(&climate),
                exposure: part.exposure,
                limit: Limit { median: part.limit, log_sd: 0.0 },
                since: origin.plus(-since_days),
                as_of: *origin,
                horizon_days: 21_915,
            })
            .unwrap();
            let likely = answer.day_of_chance(0.5).unwrap().since(*origin);
            let came = likely - of.errors[0];
            let expected =
                Seen::new(origin.ymd().0, Some(likely), 0, &[came], |day| answer.chance_by(origin.plus(day)));
            assert_eq!(of, expected.unwrap(), "{line}, {origin:?}");
            asked_by_hand += 1;
        }
        assert!(asked_by_hand >= 6, "{line}: {asked_by_hand}");
    }
}

/// 10 mm every fourth day: every date is known to two storms.
#[test]
fn a_steady_climate_is_forecast_to_the_storm() {
    let readings: BTreeMap<i32, f64> =
        (0..3000).map(|day| (day, if day % 4 == 0 { 10.0 } else { 0.0 })).collect();
    let record = record("steady.csv", &readings, "--duty diverter --limit 100 --step 30").unwrap();
    let (mut seen, mut open) = (0, 0);
    for origin in walk(&record) {
        match origin {
            Origin::Seen(of) => {
                seen += 1;
                assert!(of.errors[0].abs() <= 8 && !of.undated, "{of:?}");
            }
            other => {
                open += 1;
                assert_eq!(other, Origin::Left(LeftOut::Open));
            }
        }
    }
    // 45 days ahead, so one or two origins are open.
    assert!(seen > 30 && (1..=2).contains(&open), "{seen} {open}");
}

#[test]
fn origins_are_left_out_for_a_reason() {
    let readings = |unread: std::ops::Range<i32>| -> BTreeMap<i32, f64> {
        (0..1500).filter(|d| !unread.contains(d)).map(|d| (d, f64::from(d % 4) * 2.0)).collect()
    };
    let first = |unread, line: &str| {
        let line = format!("--duty diverter --years 2 --step 100 {line}");
        walk(&record("a.csv", &readings(unread), &line).unwrap()).remove(0)
    };
    // The first origin is day 729; some 2.5 mm a day run off.
    assert!(matches!(first(0..0, "--limit 50"), Origin::Seen(_)));
    assert_eq!(first(800..801, "--limit 400"), Origin::Left(LeftOut::Gap));
    assert!(matches!(first(800..801, "--limit 50"), Origin::Seen(_)));
    assert_eq!(first(0..0, "--limit 4000"), Origin::Left(LeftOut::Open));
    assert_eq!(first(800..801, "--limit 4000"), Origin::Left(LeftOut::Gap));
    assert_eq!(first(100..200, "--limit 50"), Origin::Left(LeftOut::Thin));
    assert_eq!(first(0..0, "--limit 50 --since-days 60"), Origin::Left(LeftOut::Due));
    assert_eq!(first(700..701, "--limit 200 --since-days 60"), Origin::Left(LeftOut::Gap));
    // The part of the limit that the days since the service brought is not forecast again.
    let of = |line| match first(0..0, line) {
        Origin::Seen(seen) => seen.errors[0],
        other => panic!("{line}: {other:?}"),
    };
    assert!(of("--limit 200 --since-days 60").abs() <= 10 && of("--limit 200").abs() <= 10);
}

/// Dry from April to September, and twelve days between storms else. An origin counts from the tenth dry day on, once the
/// pile is over a quarter of the limit. Each spell is a cluster.
#[test]
fn dry_spells_are_chosen() {
    let start = day(2001, 1, 1);
    let wet = |day: Day| !(3..9).contains(&day.month0()) && day.since(start) % 12 == 0;
    let readings: BTreeMap<i32, f64> =
        (0..3650).map(|n| (start.0 + n, if wet(start.plus(n)) { 8.0 } else { 0.0 })).collect();
    let line = "--duty gutter --limit 0.03 --years 3 --dry-spells --step 1";
    let record = record("dry.csv", &readings, line).unwrap();
    let part = Part::new(Duty::Gutter, Place::default(), Some(0.03)).unwrap();
    let (mut spells, mut by_days, mut by_pile) = (std::collections::BTreeSet::new(), 0, 0);
    for (origin, of) in record.origins.iter().zip(walk(&record)) {
        let dry = (0..300).find(|back| wet(origin.plus(-back))).unwrap();
        let pile: f64 = (0..dry).map(|back| part.fall_of_day(origin.plus(-back).month0())).sum();
        let enough = pile > 0.25 * part.limit;
        match of {
            Origin::Seen(seen) => {
                assert!(dry >= 10 && enough, "{origin:?}: {dry} days, {pile}");
                assert_eq!(seen.cluster, origin.plus(-dry).0);
                spells.insert(seen.cluster);
            }
            Origin::Left(left) => {
                assert!(dry >= 10 && enough && left == LeftOut::Open, "{origin:?} {left:?}");
            }
            Origin::Unwanted => {
                assert!(dry < 10 || !enough, "{origin:?}: {dry} days, {pile}");
                by_days += i32::from(enough);
                by_pile += i32::from(dry >= 10);
            }
        }
    }
    // Seven summers, and the spells of seven autumns.
    assert!(spells.len() > 14 && by_days > 20 && by_pile > 20, "{} {by_days} {by_pile}", spells.len());
}

/// A day without a reading may have brought runoff.
#[test]
fn a_gap_ends_a_dry_spell() {
    let mut readings: BTreeMap<i32, f64> =
        (0..1000).map(|n| (n, if n < 900 && n % 5 == 0 { 8.0 } else { 0.0 })).collect();
    readings.remove(&920);
    let gauge = gauge(&readings);
    let part = Part::new(Duty::Screen, Place::default(), None).unwrap();
    let catchment = Catchment::new(&gauge, &part.roof).unwrap();
    let truth = Truth::new(&part, &gauge, &catchment).unwrap();
    let since = |today| truth.dry_spell(Day(today)).map(|spell| spell.since.0);
    assert_eq!([894, 895, 919, 920, 950].map(since), [Some(890), Some(895), Some(895), None, None]);
}

/// The median of n independent normal errors has the standard error `sd sqrt(pi / 2 / n)` (Kendall & Stuart, The
/// Advanced Theory of Statistics 1, 10.10).
#[test]
fn the_median_of_normal_errors() {
    const N: i32 = 400;
    let law = normal(3000.0, 500.0, 6000);
    let seen = (0..N).map(|i| {
        let came = law.quantile((f64::from(i) + 0.5) / f64::from(N));
        Seen::new(i, Some(3010), 9999, &[came], |_| Ok::<f64, ()>(0.5)).unwrap()
    });
    let (rows, _) = verdicts(&[seen.collect()]);
    let median = rows[0].as_ref().unwrap().figures[MEDIAN];
    assert_within(median.mean, 10.0, 3.0, "median");
    let expected = 500.0 * (std::f64::consts::FRAC_PI_2 / f64::from(N)).sqrt();
    // 500 draws know a standard error to a thirtieth; four of those. The steps between 400 errors add a few per cent.
    assert_relative(median.error, expected, 0.18, "standard error");
}

/// Every duty over Seattle, and the same record twice.
#[test]
fn reports_on_seattle() {
    let readings = seattle_readings();
    for (line, words) in [
        (
            "--duty gutter",
            vec!["Limit: 0.06 kg dry leaf per m of gutter", "drawn 24 times", "20 m of open gutter"],
        ),
        ("--duty screen --since-days 14", vec!["14 days before the origin", "a screen of 0.2 m2"]),
        ("--duty diverter", vec!["Limit: 0.5 mm runoff", "resampled years"]),
        ("--duty weep-hole --limit 60", vec!["Limit: 60 g of solids in the chamber", "a hole of 2 mm"]),
        ("--duty sediment --limit 2", vec!["Limit: 2 mm depth on the tank floor", "a tank floor of 2 m2"]),
        (
            "--duty screen --dry-spells",
            vec!["10 days or more without runoff", "resampled dry spells", "says little"],
        ),
    ] {
        let record = record("rain/seattle.csv", &readings, &format!("{line} --step 28")).unwrap();
        let outcomes = walk(&record);
        let seen = outcomes.iter().filter(|origin| matches!(origin, Origin::Seen(_))).count();
        assert!(seen > 0, "{line}");
        let spread = record.truth().unwrap().leaf_spread();
        let alone = report(std::slice::from_ref(&record), spread, vec![outcomes.clone()]);
        for word in words {
            assert!(alone.contains(word), "{line}: no `{word}` in {alone}");
        }
        let row = |text: &str, name: &str| {
            let row = text.lines().find(|row| row.starts_with(&format!("{name} "))).unwrap().to_owned();
            row.split_whitespace().map(str::to_owned).collect::<Vec<_>>()
        };
        let left = |why| outcomes.iter().filter(|origin| **origin == Origin::Left(why)).count().to_string();
        let of = row(&alone, "seattle");
        assert_eq!(of[1], seen.to_string());
        assert_eq!(of[of.len() - 2..], [left(LeftOut::Open), left(LeftOut::Gap)]);
        assert!(!alone.contains("Distance"), "{alone}");
        let twice = [self::record("a/one.csv", &readings, &format!("{line} --step 28")).unwrap(), record];
        let both = report(&twice, spread, vec![outcomes.clone(), outcomes]);
        assert!(both.contains("Distance of each record from all"), "{both}");
        assert_eq!(row(&both, "all")[1], (2 * seen).to_string());
        // The same origins twice have the same median and mean.
        let (all, one) = (row(&both, "all"), row(&alone, "seattle"));
        assert_eq!((&all[3], &all[6], &all[9]), (&one[3], &one[6], &one[9]), "{line}");
    }
}

#[test]
fn command_lines_and_faults_of_duties() {
    let parse = |line: &str| args::parse(line.split_whitespace().map(str::to_owned));
    let line = "a.csv b.csv --duty=screen --limit 0.2 --dry-spells --area 60 --canopy-share .4 --latitude -33 \
                --chamber-l 20 --floor-m2 3 --since-days 9 --years 3";
    let args = parse(line).unwrap().unwrap();
    assert_eq!((args.files.len(), args.years), (2, Some(3)));
    let place =
        Place { area_m2: 60.0, canopy_share: 0.4, latitude_deg: -33.0, chamber_l: 20.0, floor_m2: 3.0 };
    let duty = DutyArgs { duty: Duty::Screen, limit: Some(0.2), place, dry_spells: true, since_days: 9 };
    assert_eq!(args.duty, Some(duty));
    for (line, fault) in [
        (
            "a.csv --duty roof",
            "--duty is `roof`; known duties: gutter, screen, diverter, weep-hole, sediment",
        ),
        ("a.csv --duty", "needs a value"),
        ("a.csv --limit 3", "--limit goes with --duty"),
        ("a.csv --dry-spells", "--dry-spells goes with --duty"),
        ("a.csv b.csv", "--duty takes several"),
        ("a.csv --duty gutter --threshold 100", "set the duty's limit with --limit"),
        ("a.csv --duty sediment --dry-spells", "--dry-spells goes with --duty gutter or screen"),
        ("a.csv --duty gutter --dry-spells=yes", "--dry-spells takes no value"),
        ("a.csv --duty gutter --limit 0", "--limit is `0`; allowed: above 0"),
        ("a.csv --duty gutter --limit nan", "allowed: above 0"),
        ("a.csv --duty gutter --area 0", "--area is `0`; allowed: 1 to 100000"),
        ("a.csv --duty gutter --latitude 91", "allowed: -90 to 90"),
        ("a.csv --duty gutter --since-days -1", "whole numbers from 0 to 36525"),
        ("--duty gutter", "name a file"),
    ] {
        let said = parse(line).unwrap_err();
        assert!(said.contains(fault), "{line}: {said}");
    }
    let short: BTreeMap<i32, f64> = (0..400).map(|day| (day, 3.0)).collect();
    let said = record("a.csv", &short, "--duty gutter --years 2").unwrap_err();
    assert!(said.starts_with("a.csv: the record spans 1.1 years"), "{said}");
    assert!(said.contains("give a longer record or a smaller --years"), "{said}");
    let said = record("a.csv", &short, "--duty gutter --since-days 366").unwrap_err();
    assert!(said.contains("--since-days is 366, more than the 365 days to learn from"), "{said}");
}
