//! Normals that count wet days from one amount or another tell the same climate.

use eavesward_engine::generate::Generator;
use eavesward_engine::{Catchment, Climate, Exposure, Gauge, Meter, MonthLaw, Normals, RainRecord, Setting};
use proptest::prelude::*;

use super::{assert_relative, day, roof, site};

const DAYS: [f64; 12] = [31.0, 28.25, 31.0, 30.0, 31.0, 30.0, 31.0, 31.0, 30.0, 31.0, 30.0, 31.0];

/// Shape of the rain of a wet day that normals stand for.
const SHAPE: f64 = 0.75;

/// From which the model counts a day as wet, mm.
const WET_MM: f64 = 0.1;

/// Share of a gamma law of shape 3/4 and mean 1 from x on.
///
/// With u = t^(3/4) the integral of t^(-1/4) e^-t dt from 0.75 x on is 4/3 of that of exp(-u^(4/3)) du: smooth, and
/// summed here by Simpson's rule.
fn share_from(x: f64) -> f64 {
    const GAMMA_OF_SHAPE: f64 = 1.225_416_702_465_177_6;
    const STEPS: i32 = 20_000;
    let (from, to) = ((SHAPE * x).powf(SHAPE), 60.0_f64.powf(SHAPE));
    let step = (to - from) / f64::from(STEPS);
    let of = |n: i32| {
        let weight = if n == 0 || n == STEPS { 1.0 } else { f64::from(2 + 2 * (n % 2)) };
        weight * (-(from + step * f64::from(n)).powf(1.0 / SHAPE)).exp()
    };
    (0..=STEPS).map(of).sum::<f64>() * step / 3.0 / SHAPE / GAMMA_OF_SHAPE
}

fn told(mm_per_day: f64, counted: f64, wet_day_threshold_mm: f64) -> Normals {
    Normals {
        rain_mm: DAYS.map(|days| days * mm_per_day),
        wet_days: DAYS.map(|days| days * counted),
        wet_day_threshold_mm,
        years: 30.0,
    }
}

fn fitted(normals: &Normals) -> Climate {
    Climate::fit(&RainRecord::empty(), Some(normals)).unwrap()
}

/// Chance and mean of a wet day in June.
fn june(normals: &Normals) -> (f64, f64) {
    let law = fitted(normals).months[5];
    (law.wet_share(), law.mean_wet_mm)
}

/// The gamma law's own tail, counted from five amounts, leads back to the law.
#[test]
fn counts_of_a_gamma_law_give_it_back() {
    assert_relative(share_from(0.0), 1.0, 1e-8, "all of it");
    for (rainy, mean_mm) in [(0.05, 12.0), (0.2, 6.0), (0.4, 5.0), (0.55, 4.0), (0.8, 12.0), (0.9, 3.0)] {
        let wet = rainy * share_from(WET_MM / mean_mm);
        for threshold in [0.05, 0.1, 0.2, 0.254, 1.0] {
            let counted = rainy * share_from(threshold / mean_mm);
            let (share, mean) = june(&told(rainy * mean_mm, counted, threshold));
            let what = format!("{rainy} of the days with {mean_mm} mm, counted from {threshold} mm");
            assert_relative(share, wet, 1e-6, &what);
            assert_relative(mean, rainy * mean_mm / wet, 1e-6, &what);
        }
    }
}

/// Counts of what a generator brings in 200 years, by month, from a tenth of a millimetre, a hundredth of an inch, and one
/// millimetre.
fn counted(climate: &Climate) -> [Normals; 3] {
    let first = day(1801, 1, 1);
    let mut sums = [0.0; 12];
    let mut counts = [[0.0; 12]; 3];
    let mut days = [0.0; 12];
    let thresholds = [0.1, 0.254, 1.0];
    for (n, mm) in (0..200 * 365).zip(Generator::new(climate, 3).days(0, first)) {
        let month = first.plus(n).month0();
        days[month] += 1.0;
        sums[month] += mm;
        for (counts, threshold) in counts.iter_mut().zip(thresholds) {
            counts[month] += f64::from(u8::from(mm >= threshold));
        }
    }
    let mean = |sums: &[f64; 12]| std::array::from_fn(|m| sums[m] / days[m] * DAYS[m]);
    std::array::from_fn(|i| Normals {
        rain_mm: mean(&sums),
        wet_days: mean(&counts[i]),
        wet_day_threshold_mm: thresholds[i],
        years: 30.0,
    })
}

/// How much settles in a tank by such a climate, mm a year.
fn sediment(normals: &Normals) -> f64 {
    let gauge = Gauge::new(RainRecord::empty(), Some(*normals));
    let (site, roof) = (site(), roof());
    let catchment = Catchment::new(&gauge, &roof).unwrap();
    let exposure = Exposure::Sediment { chamber: None, floor_area_m2: 1.5, calmed_inlet: true };
    let setting = Setting { site: &site, roof: &roof, gauge: &gauge, catchment: &catchment, exposure };
    let law = *Meter::new(&setting).unwrap().law().unwrap();
    law.daily.iter().zip(DAYS).map(|(mm, days)| mm * days).sum()
}

/// Four climates, each generated for 200 years by a plain chain of gamma days. By month, what follows from each way of
/// counting lies within 2 %, and two standard errors of a count, of the days from a tenth of a millimetre.
#[test]
fn one_climate_told_three_ways_stays_one_climate() {
    let all_year = |law| [law; 12];
    let mut seasonal = all_year([0.05, 4.0]);
    seasonal[5..10].fill([0.5, 13.0]);
    for (what, months) in [
        ("oceanic", all_year([0.5, 4.1])),
        ("continental", all_year([0.27, 7.0])),
        ("monsoon", seasonal),
        ("drizzle", all_year([0.9, 3.0])),
    ] {
        let laws = months.map(|[wet, mean_wet_mm]| MonthLaw {
            p01: 0.75 * wet,
            p11: 1.0 - 0.75 * (1.0 - wet),
            mean_wet_mm,
            cv2: 1.0 / SHAPE,
        });
        let climate = Climate::from_laws(laws, 0.0, 0.0, 0.0, 30.0).unwrap();
        let ways = counted(&climate);
        let climates = ways.each_ref().map(fitted);
        let solids = ways.each_ref().map(sediment);
        for (at, fitted) in climates.iter().enumerate() {
            for (m, days) in DAYS.iter().enumerate() {
                let what = format!("{what}, way {at}, month {m}");
                let wet = ways[0].wet_days[m] / days;
                let most = 0.02 + 2.0 / (200.0 * ways[0].wet_days[m]).sqrt();
                assert_relative(fitted.months[m].wet_share(), wet, most, &what);
                let mean = ways[0].rain_mm[m] / ways[0].wet_days[m];
                assert_relative(fitted.months[m].mean_wet_mm, mean, most, &what);
            }
            assert_relative(solids[at], solids[0], 0.03, what);
        }
    }
}

/// Counts that no gamma law has: more rain on the counted days than there was, and hardly less.
#[test]
fn impossible_counts_stay_as_they_are_told() {
    for counted in [0.3, 0.6, 0.95] {
        let (share, mean) = june(&told(0.5, counted, 5.0));
        assert_relative(share, counted, 1e-9, "counted days");
        assert_relative(mean, 0.5 / counted, 1e-9, "mean");
    }
    // A threshold that is not known counts as a tenth of a millimetre.
    for unknown in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        assert_relative(june(&told(2.0, 0.4, unknown)).0, 0.4, 1e-9, "unknown threshold");
    }
}

proptest! {
    #[test]
    fn wet_days_follow_what_is_told(
        mm_per_day in 0.001..40.0_f64,
        counted in 0.0005..1.0_f64,
        threshold in 0.05..10.0_f64,
        factor in prop_oneof![1.000_001..1.001_f64, 1.001..5.0_f64],
    ) {
        let (share, mean) = june(&told(mm_per_day, counted, threshold));
        prop_assert!((0.0..=0.99).contains(&share) && mean.is_finite());
        prop_assert!((share * mean / mm_per_day - 1.0).abs() < 1e-9);
        if threshold >= WET_MM {
            prop_assert!(share >= counted.min(0.99) * (1.0 - 1e-9), "{share}");
        }
        let more = june(&told(mm_per_day, (counted * factor).min(1.0), threshold));
        prop_assert!(more.0 >= share * (1.0 - 1e-9), "more counted days: {} {share}", more.0);
        let wetter = june(&told(mm_per_day * factor, counted, threshold));
        prop_assert!(wetter.1 >= mean * (1.0 - 1e-9), "more rain: {} {mean}", wetter.1);
        // A little more of anything changes little. Where hardly a law fits, the slope is steep but ends.
        if factor < 1.001 {
            let strayed = june(&told(mm_per_day, counted, threshold * factor));
            for (share_of, bound) in [(more.0, 0.2), (wetter.0, 0.2), (strayed.0, 0.2)] {
                prop_assert!((share_of / share - 1.0).abs() <= bound, "{share_of} {share}");
            }
        }
    }
}
