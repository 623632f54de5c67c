//! How much water the tank will hold, and how long the seal of its overflow trap will last.
//!
//! Neither is a sum over days, so no closed form gives them. They are followed along generated paths. The tank starts
//! from what the readings put into it. Generated rain takes it through the days between the last reading and today,
//! and on from there. Paths belong to their calendar dates ([`crate::generate`]), so a forecast does not jump from
//! one day to the next. Roofs of one kind under one gauge share the paths.
//!
//! Inflow of a day in litres: `(runoff - what the first-flush chamber takes) x plan area`, with yield before spillage
//! ([`crate::tank`]). The seal of a trap loses the month's evaporation each day and is full again after an overflow
//! ([`crate::trap`]). The evaporation is uncertain by one log-normal factor for all paths, with log-sd
//! [`EVAPORATION_LOG_SD`] (judgement). On each path there is a chance that the most the seal had lost by a day, times
//! that factor, reaches its depth. The mean over the paths is the chance that the seal was gone by that day.
//!
//! Known failures: A leak, and a demand that follows the season. The chamber counts as empty before every rain.
//! Today's level rests on at most two years of readings: older water has long been drawn or spilled.
//! Invariants: Stored water stays between 0 and the capacity. Chances never fall with time.

mod forthcoming;
mod seal;
mod tank_outlook;

pub use forthcoming::{AHEAD_DAYS, Forthcoming};
pub use seal::{EVAPORATION_LOG_SD, SealOutlook};
pub use tank_outlook::Supply;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calendar::Day;
    use crate::catchment::Catchment;
    use crate::climate::Normals;
    use crate::gauge::Gauge;
    use crate::generate::Generator;
    use crate::rain::RainRecord;
    use crate::site::Roof;
    use crate::tank::Tank;
    use crate::trap::{evaporation, usual_evaporation};

    const ROOF: Roof = Roof { wetting_loss_mm: 0.5, ..Roof::new(50.0, 0.9) };

    /// Wet winters and dry summers.
    fn gauge(until: Day) -> Gauge {
        let normals = Normals {
            rain_mm: [150.0, 120.0, 90.0, 40.0, 10.0, 2.0, 0.0, 0.0, 10.0, 60.0, 120.0, 150.0],
            wet_days: [15.0, 13.0, 11.0, 6.0, 2.0, 0.5, 0.0, 0.0, 2.0, 7.0, 12.0, 15.0],
            wet_day_threshold_mm: 0.2,
            years: 30.0,
        };
        let climate = Gauge::new(RainRecord::empty(), Some(normals));
        let generator = Generator::new(climate.climate().unwrap(), 9);
        let first = Day::from_ymd(2010, 1, 1).unwrap();
        let mm = generator.path(0, first, until.since(first) as usize + 1);
        let days = mm.into_iter().enumerate().map(|(i, mm)| (first.plus(i as i32), mm));
        Gauge::new(RainRecord::from_readings(days), Some(normals))
    }

    fn day(y: i32, m: u32, d: u32) -> Day {
        Day::from_ymd(y, m, d).unwrap()
    }

    fn supply(read_until: Day, as_of: Day) -> Supply {
        let gauge = gauge(read_until);
        let catchment = Catchment::new(&gauge, &ROOF).unwrap();
        let forthcoming = Forthcoming::new(&gauge, &ROOF, as_of).unwrap().unwrap();
        let tank = Tank::new(3000.0, 100.0).unwrap();
        Supply::new(&gauge, &catchment, &forthcoming, &ROOF, 0.5, tank, day(2010, 1, 1)).unwrap()
    }

    #[test]
    fn the_tank_is_best_emptied_at_the_end_of_the_dry_season() {
        let supply = supply(day(2014, 3, 1), day(2014, 3, 1));
        let best = supply.best_day(day(2014, 3, 10), day(2015, 3, 10)).unwrap().unwrap();
        assert!((7..10).contains(&best.day.month0()), "{:?}", best.day.ymd());
        assert!(best.lost_low_l <= best.lost_high_l);
        assert!(best.lost_l < 300.0 && !best.in_wet_season, "{best:?}");
        assert_eq!(supply.best_day(day(2020, 1, 1), day(2021, 1, 1)).unwrap(), None);
        for n in 0..=AHEAD_DAYS as i32 {
            let held = supply.expected_l(day(2014, 3, 1).plus(n)).unwrap_or(0.0);
            assert!((0.0..=3000.1).contains(&held));
        }
    }

    #[test]
    fn a_seal_goes_in_the_dry_season_after_the_last_overflow() {
        let as_of = day(2014, 3, 20);
        let supply = supply(as_of, as_of);
        let clock = usual_evaporation(None).unwrap();
        let outlook = supply.seal(50.0, day(2013, 6, 1), &clock).unwrap();
        // After a winter of overflows, the last one is at most some weeks back.
        assert!(as_of.since(outlook.full_on) < 60, "{outlook:?}");
        let likely = outlook.window.likely.unwrap();
        // 50 mm at 1.07 mm a day are 47 days, and April may bring another overflow.
        let days = likely.since(outlook.full_on);
        assert!((45..120).contains(&days), "{days}");
        assert!(
            outlook.window.early.unwrap() < likely && likely < outlook.window.late.unwrap(),
            "{:?} {:?}",
            outlook.window,
            outlook.full_on
        );
        let deeper = supply.seal(100.0, day(2013, 6, 1), &clock).unwrap();
        assert!(deeper.window.early.unwrap() > outlook.window.early.unwrap());
        let none = supply.seal(50.0, as_of, &evaporation([0.0; 12]).unwrap()).unwrap();
        assert_eq!((none.window.early, none.chance.in_90_days, none.full_on), (None, 0.0, as_of));
    }

    #[test]
    fn chances_never_fall_and_paths_stay_with_their_dates() {
        let read_until = day(2014, 3, 1);
        for unread in [0, 1, 20, 89, 200] {
            let as_of = read_until.plus(unread);
            let supply = supply(read_until, as_of);
            let clock = usual_evaporation(None).unwrap();
            for filled in [day(2013, 1, 1), as_of.plus(-10), as_of] {
                let outlook = supply.seal(60.0, filled, &clock).unwrap();
                assert!(outlook.chances.windows(2).all(|pair| pair[0] <= pair[1]));
                assert!(outlook.chances.iter().all(|chance| (0.0..=1.0).contains(chance)));
                assert!(outlook.lost_mm >= 0.0 && outlook.full_on <= as_of);
            }
        }
        let gauge = gauge(read_until);
        let on = |as_of| Forthcoming::new(&gauge, &ROOF, as_of).unwrap().unwrap();
        let (today, later) = (on(read_until), on(read_until.plus(30)));
        assert_eq!(today.mm[..700], later.mm[..700]);
    }
}
