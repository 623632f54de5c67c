//! The water seal of the overflow trap, and clocks that run by the month.

use eavesward_engine::Day;
use eavesward_engine::heat::MonthlyClock;
use eavesward_engine::runoff::WettingStore;
use eavesward_engine::tank::Tank;
use eavesward_engine::trap::{
    INDOOR_MM_PER_DAY, REFILL_L, Seal, USUAL_DEPTH_MM, drying, evaporation, usual_evaporation,
};
use proptest::prelude::*;

use super::{assert_relative, assert_within, day, seattle};

/// 50 mm at 2.5 mm a week: half after ten weeks, none after twenty; 75 mm after thirty. To the day, from any day.
#[test]
fn weeks_of_seal() {
    let indoors = evaporation([INDOOR_MM_PER_DAY; 12]).unwrap();
    for n in 0..1500 {
        let since = day(2019, 1, 1).plus(n);
        let fifty = drying(&indoors, 50.0, since).unwrap();
        assert_eq!((fifty.half, fifty.gone), (Some(since.plus(70)), Some(since.plus(140))));
        assert_eq!(drying(&indoors, 75.0, since).unwrap().gone, Some(since.plus(210)));
    }
    let mut seal = Seal::full(USUAL_DEPTH_MM).unwrap();
    for n in 1..=140 {
        assert!(!seal.is_gone(), "day {n}");
        seal.day(0.0, INDOOR_MM_PER_DAY);
        if n == 70 {
            assert_within(seal.held_mm(), 25.0, 1e-9, "mm after ten weeks");
        }
    }
    assert!(seal.is_gone());
}

/// 20 days of January at 1 mm, then February at 2 mm: 20 + 28 x 2 = 76 mm by the end of it.
#[test]
fn months_in_turn() {
    let mut mm = [0.0; 12];
    (mm[0], mm[1]) = (1.0, 2.0);
    let clock = evaporation(mm).unwrap();
    let since = day(2021, 1, 11);
    assert_eq!(clock.between(since, day(2021, 2, 28)), 76.0);
    assert_eq!(clock.between(since, day(2021, 12, 31)), 76.0);
    assert_eq!(clock.between(since, since), 0.0);
    assert_eq!(clock.between(since, day(2020, 1, 1)), 0.0);
    assert_eq!(clock.reached(since, 20.0), Some(day(2021, 1, 31)));
    assert_eq!(clock.reached(since, 20.5), Some(day(2021, 2, 1)));
    assert_eq!(clock.reached(since, 76.0), Some(day(2021, 2, 28)));
    assert_eq!(clock.reached(since, 76.5), Some(day(2022, 1, 1)));
    // A leap year has one more day of February.
    assert_eq!(clock.between(day(2023, 12, 31), day(2024, 3, 1)), 89.0);
}

#[test]
fn what_never_dries_says_so() {
    let still = evaporation([0.0; 12]).unwrap();
    let since = day(2021, 1, 1);
    let never = drying(&still, 50.0, since).unwrap();
    assert_eq!((never.half, never.gone), (None, None));
    // Two hundred years are beyond the century it looks ahead.
    assert_eq!(MonthlyClock::new("step", [1.0 / 365.25; 12]).unwrap().reached(since, 200.0), None);
    assert!(evaporation([-0.1; 12]).is_err());
    assert!(evaporation([f64::NAN; 12]).is_err());
    assert!(usual_evaporation(Some(&[f64::NAN; 12])).is_err());
    assert!(drying(&still, 0.0, since).is_err());
    assert!(Seal::full(f64::NAN).is_err());
}

#[test]
fn the_default_follows_warmth() {
    let usual = usual_evaporation(None).unwrap();
    // Three times 2.5 mm a week: seven weeks for 50 mm, less two days.
    assert_relative(usual.per_day()[6], 7.5 / 7.0, 1e-12, "mm per day");
    assert_eq!(drying(&usual, 50.0, Day(0)).unwrap().gone, Some(Day(47)));
    let warm =
        usual_evaporation(Some(&[20.0, 35.0, 5.0, 0.0, -10.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0])).unwrap();
    let steps = warm.per_day();
    assert_relative(steps[0], 7.5 / 7.0, 1e-12, "at 20 C");
    assert!(steps[1] > 2.0 * steps[0] && steps[0] > steps[2] && steps[2] > steps[4] && steps[4] > 0.0);
    // Ten times the indoor figure is the fastest that is reported of dry heat; a mean of 40 C stays below it.
    let desert = usual_evaporation(Some(&[40.0; 12])).unwrap();
    assert!(desert.per_day()[0] < 10.0 * INDOOR_MM_PER_DAY);
}

proptest! {
    /// Stepping day by day and summing by months are the same.
    #[test]
    fn days_and_months_agree(
        mm in prop::array::uniform12(0.05..3.0_f64),
        start in 0..20_000_i32,
        depth in 10.0..120.0_f64,
    ) {
        let clock = evaporation(mm).unwrap();
        let since = Day(start);
        let gone = drying(&clock, depth, since).unwrap().gone.unwrap();
        let mut seal = Seal::full(depth).unwrap();
        let mut today = since;
        while today < gone {
            prop_assert!(!seal.is_gone());
            today = today.plus(1);
            seal.day(0.0, mm[today.month0()]);
            prop_assert!((0.0..=depth).contains(&seal.held_mm()));
        }
        prop_assert!(seal.is_gone());
    }

    #[test]
    fn the_day_reached_is_the_first(
        steps in prop::array::uniform12(prop_oneof![Just(0.0), 0.0..5.0_f64]),
        start in -20_000..20_000_i32,
        total in 0.001..5000.0_f64,
    ) {
        let clock = MonthlyClock::new("step", steps).unwrap();
        let since = Day(start);
        match clock.reached(since, total) {
            Some(day) => {
                prop_assert!(clock.between(since, day) >= total - 1e-6);
                prop_assert!(clock.between(since, day.plus(-1)) < total);
                let middle = since.plus(day.since(since) / 2);
                let parts = clock.between(since, middle) + clock.between(middle, day);
                prop_assert!((parts - clock.between(since, day)).abs() < 1e-8);
            }
            None => prop_assert!(clock.between(since, since.plus(36_525)) < total),
        }
    }

    #[test]
    fn a_deeper_seal_or_a_later_overflow_never_dries_earlier(
        mm in prop::array::uniform12(0.05..3.0_f64),
        start in 0..20_000_i32,
        depth in 10.0..120.0_f64,
        more in 0.0..60.0_f64,
        later in 0..90_i32,
        share in 0.0..=1.0_f64,
    ) {
        let clock = evaporation(mm).unwrap();
        let plain = drying(&clock, depth, Day(start)).unwrap();
        prop_assert!(plain.half <= plain.gone);
        prop_assert!(drying(&clock, depth + more, Day(start)).unwrap().gone >= plain.gone);
        prop_assert!(drying(&clock, depth, Day(start + later)).unwrap().gone >= plain.gone);
        let slower = evaporation(mm.map(|x| x * (0.1 + 0.9 * share))).unwrap();
        prop_assert!(drying(&slower, depth, Day(start)).unwrap().gone >= plain.gone);
    }
}

/// Along the record: the overflow keeps the seal in winter; a dry summer without overflow loses it.
#[test]
fn a_summer_without_overflow() {
    let record = seattle();
    let mut roof = WettingStore::new(0.5).unwrap();
    let mut store = Tank::new(3000.0, 100.0).unwrap().empty();
    let mut seal = Seal::full(50.0).unwrap();
    let (mut today, mut last_overflow, mut dry_days) = (record.first().unwrap(), None, 0);
    let step = usual_evaporation(None).unwrap();
    while let Some(mm) = record.get(today) {
        let flow = store.day(50.0 * roof.day(mm));
        seal.day(flow.spill_l, step.per_day()[today.month0()]);
        if flow.spill_l >= REFILL_L {
            last_overflow = Some(today);
            assert_eq!(seal.held_mm(), 50.0);
        }
        if let Some(since) = last_overflow {
            let gone = drying(&step, 50.0, since).unwrap().gone.unwrap();
            assert_eq!(seal.is_gone(), today >= gone, "{today:?}");
        }
        dry_days += i32::from(seal.is_gone());
        today = today.plus(1);
    }
    assert!((100..800).contains(&dry_days), "{dry_days} of 1461 days without a seal");
    seal.refill();
    assert!(!seal.is_gone());
}
