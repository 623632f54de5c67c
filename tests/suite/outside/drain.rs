//! Chambers, holes and flushes.

use eavesward_engine::first_flush::{WASH_OFF_PER_MM, diverted_share, washed_share};
use eavesward_engine::hydraulics::{Drain, chamber_length_m, circle_m2, pinhole_minimum_head_m};
use eavesward_engine::limit::hand_emptied_chamber;

use super::{assert_relative, assert_within, table};

fn cylinder(diameter_mm: f64, hole_mm: f64, discharge: f64) -> Drain {
    Drain {
        section_m2: circle_m2(diameter_mm / 1000.0),
        hole_m2: circle_m2(hole_mm / 1000.0),
        discharge,
        minimum_head_m: 0.0,
    }
}

/// EPA SWMM 5.2.4, dynamic and kinematic wave. The rows with areas times 10,000 are left out: there that engine switches
/// to a weir law at low head, which a 2 mm hole does not follow.
#[test]
fn swmm_drains() {
    let cases: serde_json::Value = serde_json::from_str(include_str!("../../data/swmm_drain.json")).unwrap();
    let mut compared = 0;
    for (name, case) in cases.as_object().unwrap() {
        if !name.starts_with("drain_") || name.ends_with("_scaled") {
            continue;
        }
        let drain = cylinder(100.0, case["orifice_mm"].as_f64().unwrap(), 0.65);
        for (depth, times) in case["levels_swmm_closed_pct"].as_object().unwrap() {
            let seconds = drain.seconds(2.0, depth.parse().unwrap()).unwrap().unwrap();
            assert_relative(seconds, times[0].as_f64().unwrap(), 0.004, &format!("{name} to {depth} m"));
            compared += 1;
        }
        let empty = drain.seconds(2.0, 0.0).unwrap().unwrap();
        assert_within(empty, case["torricelli_empty_s"].as_f64().unwrap(), 0.05, name);
    }
    assert_eq!(compared, 28);
}

/// Worked examples: a 4 ft tank with 5 in2 from 6 to 2 ft without losses; 1 m2 through 0.01 m2 from 2 m; 100 mm pipes.
#[test]
fn printed_drains() {
    const FOOT: f64 = 0.3048;
    let tank = Drain {
        section_m2: circle_m2(4.0 * FOOT),
        hole_m2: 5.0 * 0.0254 * 0.0254,
        discharge: 1.0,
        minimum_head_m: 0.0,
    };
    // Printed 93.9 from rounded steps; 93.38 unrounded with g = 32.2 ft/s2, which is 9.815 m/s2.
    assert_within(tank.seconds(6.0 * FOOT, 2.0 * FOOT).unwrap().unwrap(), 93.38, 0.03, "4 ft tank");
    let square = Drain { section_m2: 1.0, hole_m2: 0.01, discharge: 0.62, minimum_head_m: 0.0 };
    assert_within(square.seconds(2.0, 0.0).unwrap().unwrap(), 102.99, 0.005, "1 m2");
    for (hole, seconds) in [(2.0, 2574.8), (3.0, 1144.4), (5.0, 412.0)] {
        let empty = cylinder(100.0, hole, 0.62).seconds(2.0, 0.0).unwrap().unwrap();
        assert_within(empty, seconds, 0.05, &format!("{hole} mm hole"));
    }
}

#[test]
fn a_pinhole_keeps_its_last_centimetres() {
    assert_within(pinhole_minimum_head_m(0.002), 0.0148, 5e-5, "head over 2 mm");
    let held = Drain { minimum_head_m: pinhole_minimum_head_m(0.002), ..cylinder(100.0, 2.0, 0.62) };
    assert_eq!(held.seconds(2.0, 0.0).unwrap(), None);
    assert!(held.seconds(2.0, 0.02).unwrap().is_some());
    assert!(held.seconds(0.5, 1.0).is_err());
    assert!(held.seconds(f64::NAN, 0.5).is_err());
}

/// Quarter of the hole's area, four times the time; half the head, 1/sqrt 2.
#[test]
fn scaling() {
    let whole = cylinder(100.0, 2.0, 0.62).seconds(2.0, 0.0).unwrap().unwrap();
    let half = cylinder(100.0, 1.0, 0.62).seconds(2.0, 0.0).unwrap().unwrap();
    assert_relative(half, 4.0 * whole, 1e-12, "half the diameter");
    let low = cylinder(100.0, 2.0, 0.62).seconds(1.0, 0.0).unwrap().unwrap();
    assert_relative(low, whole / 2.0_f64.sqrt(), 1e-12, "half the head");
}

/// A worked student problem (7 x 14 m, 1 mm, 110 mm bore) and the Texas rule (a US gallon in 3, 4 and 6 inch pipe).
#[test]
fn printed_chambers() {
    assert_within(chamber_length_m(98.0, 0.110), 10.312, 5e-4, "110 mm pipe");
    for (bore_in, length_in) in [(3.0, 33.0), (4.0, 18.0), (6.0, 8.0)] {
        let inches = chamber_length_m(3.785_411_784, bore_in * 0.0254) / 0.0254;
        assert_within(inches, length_in, 0.5, &format!("{bore_in} in pipe"));
    }
    // 98 litres off 98 m2 is the one mm it was sized for.
    assert_relative(hand_emptied_chamber(98.0, 98.0).unwrap().limit.median, 1.0, 1e-12, "mm");
}

/// Martinson & Thomas 2005: the rest halves with every mm.
#[test]
fn halving_rule() {
    for (mm, percent) in [(0.5, 29.3), (1.0, 50.0), (2.0, 75.0), (3.0, 87.5), (4.0, 93.75)] {
        assert_within(100.0 * washed_share(WASH_OFF_PER_MM, mm), percent, 0.05, &format!("{mm} mm"));
    }
}

/// 100 m2 with 2 g/m2, 10.8 mm of runoff, diverting 0, 0.5, 1 and 2 mm.
#[test]
fn grams_to_the_tank() {
    for (flush, grams) in [(0.0, 199.9), (0.5, 141.3), (1.0, 99.9), (2.0, 49.9)] {
        let washed = 200.0 * washed_share(WASH_OFF_PER_MM, 10.8);
        let to_tank = washed * (1.0 - diverted_share(WASH_OFF_PER_MM, flush, 10.8));
        assert_within(to_tank, grams, 0.06, &format!("flush {flush}"));
    }
}

#[test]
fn frozen_first_flush() {
    let rows = table(include_str!("../../data/first_flush.csv"));
    assert_eq!(rows.len(), 45);
    for row in rows {
        let get = |name: &str| row[name].parse::<f64>().unwrap();
        let (k, flush, event) = (get("k_per_mm"), get("flush_mm"), get("event_mm"));
        let washed = washed_share(k, event);
        let diverted = diverted_share(k, flush, event);
        assert_within(washed, get("washed_frac"), 1e-5, "washed");
        assert_within(diverted, get("diverted_of_washed"), 1e-5, "diverted");
        assert_within(washed * (1.0 - diverted), get("to_tank_frac"), 1e-5, "to tank");
    }
}
