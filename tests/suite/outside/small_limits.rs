//! Limits of the size of one storm, as a hand-emptied diverter has: how often the window holds the day.
//!
//! Five climates stated in [`super::dry_spells`], with 30 years of simulated rain each. The climate of a forecast is fitted to
//! the years before its origin, ten at least.

use eavesward_engine::generate::Generator;
use eavesward_engine::{Catchment, Day, Exposure, Gauge, Limit, Meter, Question, RainRecord, Roof, Setting};

use super::dry_spells::climates;
use super::{day, site};

const YEARS: i32 = 30;
const FITTED: i32 = 10;

/// The share of one day's place in the forecast, `before` to `by`, that lies between 10 and 90 %.
fn inside(before: f64, by: f64) -> f64 {
    if by > before {
        (by.min(0.9) - before.max(0.1)).max(0.0) / (by - before)
    } else {
        f64::from(u8::from((0.1..0.9).contains(&by)))
    }
}

/// Four in five, give or take a twentieth. The gamma law of sums held 0.70 of them.
#[test]
fn windows_of_small_limits_hold_four_days_in_five() {
    let roof = Roof { wetting_loss_mm: 0.5, ..Roof::new(100.0, 1.0) };
    let (mut held, mut asked) = (0.0, 0.0);
    for (name, climate) in climates() {
        let first = day(1990, 1, 1);
        let rain = Generator::new(&climate, 5).path(0, first, (365 * YEARS) as usize);
        let last = first.plus(365 * YEARS - 1);
        let record = RainRecord::from_readings((0..).map(|n| first.plus(n)).zip(rain));
        let whole = Catchment::new(&Gauge::new(record.clone(), None), &roof).unwrap();
        let (mut of_climate, mut origins) = (0.0, 0.0);
        for origin in (365 * FITTED..365 * YEARS - 200).step_by(41) {
            let today = first.plus(origin);
            let gauge = Gauge::new(record.until(today), None);
            let catchment = Catchment::new(&gauge, &roof).unwrap();
            let setting = Setting {
                site: &site(),
                roof: &roof,
                gauge: &gauge,
                catchment: &catchment,
                exposure: Exposure::Runoff,
            };
            let meter = Meter::new(&setting).unwrap();
            for median in [0.5, 1.0, 2.0] {
                let came = (1..=last.since(today)).find(|n| whole.runoff_mm(today, today.plus(*n)) >= median);
                let Some(came) = came else { continue };
                let limit = Limit { median, log_sd: 0.0 };
                let question =
                    Question { limit, left_share: 0.0, since: today, as_of: today, horizon_days: 2000 };
                let answer = meter.forecast(&question).unwrap();
                let by = |day: Day| if day > today { answer.chance_by(day).unwrap() } else { 0.0 };
                of_climate += inside(by(today.plus(came - 1)), by(today.plus(came)));
                origins += 1.0;
            }
        }
        // 200 origins, three limits on each: a standard error of 0.025 for a climate.
        let share = of_climate / origins;
        assert!((0.72..=0.88).contains(&share), "{name}: {share:.3} of {origins}");
        held += of_climate;
        asked += origins;
    }
    let share = held / asked;
    assert!((0.75..=0.85).contains(&share), "{share:.3} of {asked}");
}
