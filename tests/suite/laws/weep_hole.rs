//! When a weep hole clogs: sooner under a larger roof, more rain, with a finer hole, and over a smaller floor.

use eavesward_engine::{Catchment, Day, Gauge, Meter, RainRecord, Roof, Setting, Site};
use eavesward_service::domain::model::part::{CHAMBER_VOLUME_L, Emptying, HEAD_M, HOLE_MM, Part};
use eavesward_service::domain::model::roof::PLAN_AREA_M2;
use eavesward_service::domain::rules::forecast::chamber::{ChamberEmptying, DiverterChamber};
use eavesward_service::domain::rules::forecast::rule::clogging;
use proptest::prelude::*;

/// A diverter under a roof.
#[derive(Clone, Copy, Debug)]
struct Diverter {
    chamber_volume_l: f64,
    hole_mm: f64,
    head_m: f64,
    plan_area_m2: f64,
}

const SITE: Site = Site { latitude_deg: 45.0, elevation_m: 0.0 };

fn start() -> Day {
    Day::from_ymd(2020, 2, 1).expect("a day")
}

/// How many times over the grit of some days of rain clogs the hole: what stays in the chamber over its limit.
fn times_clogged(diverter: Diverter, rain: &[f64]) -> f64 {
    let Diverter { chamber_volume_l, hole_mm, head_m, plan_area_m2 } = diverter;
    let part =
        Part::FirstFlushDiverter { chamber_volume_l, emptying: Emptying::WeepHole { hole_mm, head_m } };
    let chamber = DiverterChamber {
        volume_mm: 1.0,
        emptying: ChamberEmptying::WithinTheDay,
        idle: Vec::new(),
        found_blocked: false,
    };
    let rule = clogging(&part, &chamber, plan_area_m2).expect("good figures").expect("a hole clogs");
    let roof = Roof { wetting_loss_mm: 0.0, ..Roof::new(plan_area_m2, 0.9) };
    let readings = (1..).map(|n| start().plus(n)).zip(rain.iter().copied());
    let gauge = Gauge::new(RainRecord::from_readings(readings), None);
    let catchment = Catchment::new(&gauge, &roof).expect("a good roof");
    let exposure = rule.exposure;
    let setting = Setting { site: &SITE, roof: &roof, gauge: &gauge, catchment: &catchment, exposure };
    let meter = Meter::new(&setting).expect("a good setting");
    let kept = meter.accumulated(start(), start().plus(rain.len() as i32)).expect("good days");
    kept.value / rule.prior.limit.median
}

/// Over all that a request may say, evenly in the logarithm.
fn diverters() -> impl Strategy<Value = Diverter> {
    let evenly = |least: f64, most: f64| (least.ln()..most.ln()).prop_map(f64::exp);
    (
        evenly(0.01, CHAMBER_VOLUME_L.most),
        evenly(HOLE_MM.least, HOLE_MM.most),
        evenly(HEAD_M.least, HEAD_M.most),
        evenly(1.0, PLAN_AREA_M2.most),
    )
        .prop_map(|(chamber_volume_l, hole_mm, head_m, plan_area_m2)| Diverter {
            chamber_volume_l,
            hole_mm,
            head_m,
            plan_area_m2,
        })
}

fn rains() -> impl Strategy<Value = Vec<f64>> {
    prop::collection::vec(prop_oneof![3 => Just(0.0), 1 => 0.01..1.0_f64, 2 => 1.0..60.0_f64], 1..120)
}

proptest! {
    #[test]
    fn larger_roofs_finer_holes_and_smaller_floors_clog_sooner(
        diverter in diverters(),
        rain in rains(),
        factor in prop_oneof![1.001..1.1_f64, 1.1..20.0_f64],
    ) {
        let clogged = times_clogged(diverter, &rain);
        let bound = clogged * (1.0 - 1e-9);
        let plan_area_m2 = (diverter.plan_area_m2 * factor).min(PLAN_AREA_M2.most);
        prop_assert!(times_clogged(Diverter { plan_area_m2, ..diverter }, &rain) >= bound, "a larger roof");
        let hole_mm = (diverter.hole_mm / factor).max(HOLE_MM.least);
        prop_assert!(times_clogged(Diverter { hole_mm, ..diverter }, &rain) >= bound, "a finer hole");
        // A smaller floor under as much water, and a slimmer chamber that holds the same.
        let chamber_volume_l = diverter.chamber_volume_l / factor;
        prop_assert!(times_clogged(Diverter { chamber_volume_l, ..diverter }, &rain) >= bound, "a smaller floor");
        let head_m = (diverter.head_m * factor).min(HEAD_M.most);
        prop_assert!(times_clogged(Diverter { head_m, ..diverter }, &rain) >= bound, "a slimmer chamber");
        // And strictly, where there is any grit.
        let finer = times_clogged(Diverter { hole_mm, ..diverter }, &rain);
        prop_assert!(clogged == 0.0 || hole_mm == diverter.hole_mm || finer > clogged);
    }

    /// More rain on one day, up to what the chamber takes of it. A cloudburst beyond that carries on to the tank what later
    /// rain would have left in the chamber.
    #[test]
    fn more_rain_clogs_sooner(
        diverter in diverters(),
        rain in rains(),
        at in any::<prop::sample::Index>(),
        shares in (0.0..=1.0_f64, 0.0..=1.0_f64),
    ) {
        let at = at.index(rain.len());
        let most_mm = (diverter.chamber_volume_l / diverter.plan_area_m2 / 0.9).min(60.0);
        let (mut rain, mut wetter) = (rain.clone(), rain);
        rain[at] = most_mm * shares.0.min(shares.1);
        wetter[at] = most_mm * shares.0.max(shares.1);
        prop_assert!(times_clogged(diverter, &wetter) >= times_clogged(diverter, &rain) * (1.0 - 1e-9));
    }
}

/// Two roofs over one chamber of 60 L with a hole of 2 mm: eight times the roof brings the day of clearing forward.
#[test]
fn a_larger_roof_fills_the_same_chamber_sooner() {
    let rain: Vec<f64> = (0..730).map(|n| if n % 4 == 0 { 8.0 } else { 0.0 }).collect();
    let first_clogged = |plan_area_m2| {
        let diverter = Diverter { chamber_volume_l: 60.0, hole_mm: 2.0, head_m: 1.0, plan_area_m2 };
        (1..rain.len()).find(|&days| times_clogged(diverter, &rain[..days]) >= 1.0).expect("it clogs")
    };
    let days = [60.0, 120.0, 240.0, 480.0].map(first_clogged);
    assert!(days.is_sorted_by(|one, next| one > next), "{days:?}");
}
