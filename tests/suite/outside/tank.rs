//! The tank against EPA SWMM 5.2.4, a worked table and its own balance.

use eavesward_engine::Day;
use eavesward_engine::tank::{BestDay, Levels, Rule, Store, Tank, best_day, wet_season_start};
use proptest::prelude::*;

use super::{assert_within, day, seattle, table};

const RULES: [(Rule, &str); 3] = [
    (Rule::YieldBeforeSpillage, "YBS"),
    (Rule::YieldAfterSpillage, "YAS"),
    (Rule::YieldFromYesterday, "YAS_fewkes"),
];

/// Litres off a roof each day of a year, by the daily loss of half a millimetre that the frozen cases used.
fn inflows(year: i32, roof_m2: f64) -> Vec<f64> {
    let record = seattle();
    let first = day(year, 1, 1);
    let days = day(year + 1, 1, 1).since(first);
    (0..days).map(|n| (record.get(first.plus(n)).unwrap() - 0.5).max(0.0) * roof_m2).collect()
}

#[derive(Default)]
struct Year {
    yield_l: f64,
    spill_l: f64,
    days_short: usize,
}

fn pass(mut store: Store, demand: f64, rule: Rule, inflows: &[f64]) -> Year {
    let mut year = Year::default();
    for inflow in inflows {
        let flow = store.day_by(rule, *inflow);
        year.yield_l += flow.yield_l;
        year.spill_l += flow.spill_l;
        year.days_short += usize::from(flow.yield_l < demand - 1e-9);
    }
    year
}

/// The frozen table holds six cases, all on the vendored record: two years, two roofs, three draws.
#[test]
fn swmm_tanks() {
    let rows = table(include_str!("../../data/swmm_tank.csv"));
    assert_eq!(rows.len(), 6);
    for row in rows {
        assert_eq!(row["series"], "seattle");
        let get = |name: &str| row[name].parse::<f64>().unwrap();
        let (demand, year) = (get("draw_L_d"), get("year") as i32);
        let inflows = inflows(year, get("roof_m2"));
        let name = format!("{year}, {} m2, {demand} L a day", row["roof_m2"]);
        assert_within(inflows.iter().sum::<f64>() / 1000.0, get("inflow_m3"), 0.000_51, &name);
        let tank = Tank::new(1000.0 * get("tank_m3"), demand).unwrap();
        for (rule, column) in RULES {
            let got = pass(tank.empty(), demand, rule, &inflows);
            // Tabulated to the litre.
            assert_within(got.spill_l, 1000.0 * get(&format!("{column}_spill")), 0.51, &name);
            assert_within(got.yield_l, 1000.0 * get(&format!("{column}_yield")), 0.51, &name);
            assert_eq!(got.days_short as f64, get(&format!("{column}_days_short")), "{name} {column}");
        }
        let ours = pass(tank.empty(), demand, Rule::YieldBeforeSpillage, &inflows);
        assert_within(ours.spill_l / 1000.0, get("swmm_flood"), 0.02, &name);
        assert_within(ours.yield_l / 1000.0, get("swmm_outflow"), 0.02, &name);
        // That program counts a moment without water as a day, so it has more of them.
        assert!(ours.days_short as f64 <= get("swmm_days_touch_empty"), "{name}");
    }
}

#[test]
fn day_by_day() {
    let rows = table(include_str!("../../data/tank_daily_seattle2013_50m2_100L.csv"));
    assert_eq!(rows.len(), 365);
    for (rule, column) in RULES {
        let mut store = Tank::new(3000.0, 100.0).unwrap().empty();
        for (row, inflow) in rows.iter().zip(inflows(2013, 50.0)) {
            let get = |name: &str| 1000.0 * row[name].parse::<f64>().unwrap();
            let name = format!("{column} on day {}", row["day"]);
            assert_within(inflow, get("inflow_m3"), 1e-6, &name);
            let flow = store.day_by(rule, inflow);
            assert_within(store.held_l(), get(&format!("{column}_V")), 1e-6, &name);
            assert_within(flow.spill_l, get(&format!("{column}_spill")), 1e-6, &name);
            assert_within(flow.yield_l, get(&format!("{column}_yield")), 1e-6, &name);
            if rule == Rule::YieldBeforeSpillage {
                // The exact solution for inflow and draw that spread over the day is the same.
                assert_within(store.held_l(), get("CONT_V"), 1e-6, &name);
                assert_within(flow.spill_l, get("CONT_spill"), 1e-6, &name);
            }
        }
    }
}

/// Capacity 1000, demand 200, seven days, worked by hand from the published equations. The published form of yield
/// after spillage draws on yesterday's store.
#[test]
fn a_week_by_hand() {
    let inflows = [800.0, 0.0, 400.0, 0.0, 0.0, 1600.0, 0.0];
    let after = [
        (0.0, 0.0, 800.0),
        (200.0, 0.0, 600.0),
        (200.0, 0.0, 800.0),
        (200.0, 0.0, 600.0),
        (200.0, 0.0, 400.0),
        (200.0, 1000.0, 800.0),
        (200.0, 0.0, 600.0),
    ];
    let before = [
        (200.0, 0.0, 600.0),
        (200.0, 0.0, 400.0),
        (200.0, 0.0, 600.0),
        (200.0, 0.0, 400.0),
        (200.0, 0.0, 200.0),
        (200.0, 600.0, 1000.0),
        (200.0, 0.0, 800.0),
    ];
    for (rule, expected) in [(Rule::YieldFromYesterday, after), (Rule::YieldBeforeSpillage, before)] {
        let mut store = Tank::new(1000.0, 200.0).unwrap().empty();
        for (inflow, (yield_l, spill_l, held_l)) in inflows.into_iter().zip(expected) {
            let flow = store.day_by(rule, inflow);
            assert_eq!((flow.yield_l, flow.spill_l, store.held_l()), (yield_l, spill_l, held_l), "{rule:?}");
        }
    }
}

proptest! {
    #[test]
    fn water_is_kept(
        inflows in prop::collection::vec(prop_oneof![Just(0.0), 0.0..4000.0_f64], 1..200),
        capacity in 50.0..8000.0_f64,
        demand in 0.0..500.0_f64,
        filled in 0.0..=1.0_f64,
    ) {
        for (rule, _) in RULES {
            let mut store = Tank::new(capacity, demand).unwrap().holding(filled * capacity).unwrap();
            let first = store.held_l();
            let (mut all_in, mut all_out) = (0.0, 0.0);
            for inflow in &inflows {
                let before = store.held_l();
                let flow = store.day_by(rule, *inflow);
                prop_assert!((0.0..=capacity).contains(&store.held_l()));
                prop_assert!((0.0..=demand).contains(&flow.yield_l) && flow.spill_l >= 0.0);
                let change = store.held_l() - before;
                prop_assert!((inflow - flow.yield_l - flow.spill_l - change).abs() < 1e-9);
                all_in += inflow;
                all_out += flow.yield_l + flow.spill_l;
            }
            let change = store.held_l() - first;
            prop_assert!((all_in - all_out - change).abs() <= 1e-12 * (1.0 + all_in + first));
        }
    }

    #[test]
    fn more_tank_or_more_draw_spills_less(
        inflows in prop::collection::vec(prop_oneof![Just(0.0), 0.0..4000.0_f64], 1..200),
        capacity in 50.0..8000.0_f64,
        demand in 0.0..500.0_f64,
        larger in 1.0..3.0_f64,
    ) {
        let of = |capacity: f64, demand: f64, rule| {
            pass(Tank::new(capacity, demand).unwrap().empty(), demand, rule, &inflows)
        };
        let slack = 1e-6;
        let by_rule = RULES.map(|(rule, _)| of(capacity, demand, rule));
        prop_assert!(by_rule[0].spill_l <= by_rule[1].spill_l + slack);
        prop_assert!(by_rule[1].spill_l <= by_rule[2].spill_l + slack);
        for ((rule, _), plain) in RULES.iter().zip(&by_rule) {
            let roomy = of(capacity * larger, demand, *rule);
            prop_assert!(roomy.spill_l <= plain.spill_l + slack);
            prop_assert!(roomy.days_short <= plain.days_short);
            prop_assert!(of(capacity, demand * larger, *rule).spill_l <= plain.spill_l + slack);
        }
    }
}

#[test]
fn a_tank_refuses_nonsense() {
    assert!(Tank::new(0.0, 10.0).is_err());
    assert!(Tank::new(f64::NAN, 10.0).is_err());
    assert!(Tank::new(1000.0, -1.0).is_err());
    assert!(Tank::new(1000.0, f64::INFINITY).is_err());
    let tank = Tank::new(1000.0, 10.0).unwrap();
    assert!(tank.holding(1000.1).is_err());
    assert!(tank.holding(f64::NAN).is_err());
    let mut store = tank.holding(300.0).unwrap();
    assert_eq!((store.drain(), store.held_l()), (300.0, 0.0));
}

/// Rain from November to January above all, as at the vendored record.
const WINTER_RAIN: [f64; 12] = [5.0, 3.0, 3.0, 2.0, 2.0, 1.0, 0.5, 0.5, 1.0, 3.0, 6.0, 6.0];

fn pick(first: Day, levels: &[f32], days: usize) -> BestDay {
    let tank = Tank::new(1000.0, 50.0).unwrap();
    best_day(&tank, &Levels { first, days, held_l: levels }, &WINTER_RAIN).unwrap()
}

#[test]
fn the_best_day_is_the_last_low_one_before_the_rains() {
    // November to January bring most.
    assert_eq!(wet_season_start(&WINTER_RAIN), 10);
    assert_eq!(wet_season_start(&[1.0; 12]), 2, "March to May are the first to have 92 days");
    // August to mid-November: falling to 40 by 1 October, 55 (a tie within 20) for ten days, then filling.
    let first = day(2021, 8, 1);
    let level = |n: i32| match first.plus(n).since(day(2021, 10, 1)) {
        d if d < 0 => 40.0 - 5.0 * d as f32,
        0 => 40.0,
        d if d <= 10 => 55.0,
        d => 55.0 + 20.0 * (d - 10) as f32,
    };
    let levels: Vec<f32> = (0..110).map(level).collect();
    let best = pick(first, &levels, 110);
    assert_eq!(best.day, day(2021, 10, 11));
    assert_eq!((best.lost_l, best.lost_low_l, best.lost_high_l), (55.0, 55.0, 55.0));
    assert!(!best.in_wet_season);
}

#[test]
fn a_window_inside_the_wet_season_gives_its_lowest_day() {
    let levels = [300.0, 200.0, 190.0, 400.0, 500.0];
    let best = pick(day(2021, 11, 20), &levels, 5);
    assert_eq!(best.day, day(2021, 11, 22));
    assert!(best.in_wet_season);
    // A window that starts in the wet season and is as low after it goes to the end of the dry one.
    let levels: Vec<f32> = (0..400).map(|_| 10.0).collect();
    let best = pick(day(2021, 1, 10), &levels, 400);
    assert_eq!((best.day, best.in_wet_season), (day(2021, 10, 31), false));
}

#[test]
fn the_water_lost_is_told_with_its_doubt() {
    // Eleven paths of two days; the second day is lower in the mean.
    let levels: Vec<f32> = (0..11).rev().flat_map(|path| [500.0, 10.0 * path as f32]).collect();
    let best = pick(day(2021, 6, 1), &levels, 2);
    assert_eq!(best.day, day(2021, 6, 2));
    assert_within(best.lost_l, 50.0, 1e-9, "mean");
    assert_within(best.lost_low_l, 10.0, 1e-9, "10 %");
    assert_within(best.lost_high_l, 90.0, 1e-9, "90 %");
}

#[test]
fn a_choice_refuses_nonsense() {
    let tank = Tank::new(1000.0, 50.0).unwrap();
    let first = day(2021, 6, 1);
    let choose =
        |days, held_l: &[f32], rain: &[f64; 12]| best_day(&tank, &Levels { first, days, held_l }, rain);
    assert!(choose(1, &[5.0], &WINTER_RAIN).is_ok());
    assert!(choose(0, &[5.0], &WINTER_RAIN).is_err());
    assert!(choose(2, &[], &WINTER_RAIN).is_err());
    assert!(choose(2, &[1.0, 2.0, 3.0], &WINTER_RAIN).is_err());
    assert!(choose(1, &[f32::NAN], &WINTER_RAIN).is_err());
    assert!(choose(1, &[1200.0], &WINTER_RAIN).is_err());
    assert!(choose(1, &[5.0], &[f64::NAN; 12]).is_err());
}

/// The four years as four paths: the tank of the frozen daily case is best emptied in late summer, for little.
#[test]
fn four_years_agree_on_late_summer() {
    let tank = Tank::new(3000.0, 100.0).unwrap();
    let (mut levels, mut inflow) = (Vec::new(), [0.0; 12]);
    for year in 2012..2016 {
        let mut store = tank.holding(1500.0).unwrap();
        for (n, litres) in inflows(year, 50.0).into_iter().take(365).enumerate() {
            store.day(litres);
            levels.push(store.held_l() as f32);
            inflow[day(year, 1, 1).plus(n as i32).month0()] += litres / 4.0 / 30.4;
        }
    }
    let first = day(2013, 1, 1);
    let best = best_day(&tank, &Levels { first, days: 365, held_l: &levels }, &inflow).unwrap();
    assert!((7..10).contains(&best.day.month0()), "{best:?}");
    assert!(best.lost_l < 0.1 * tank.capacity_l(), "{best:?}");
    assert!(best.lost_low_l <= best.lost_l && best.lost_l <= best.lost_high_l, "{best:?}");
}
