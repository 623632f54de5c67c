//! Converts the engine's days and windows to civil dates, and back.

use crate::domain::model::forecast::{Chances, CurvePoint, Window};
use chrono::NaiveDate;
use eavesward_engine as engine;
use engine::Day;

/// Days between the engine's day 0, 1970-01-01, and chrono's day 0.
const EPOCH_FROM_CE: i32 = 719_163;

/// A civil date in the engine's type.
pub fn to_day(date: NaiveDate) -> Day {
    use chrono::Datelike;
    Day(date.num_days_from_ce() - EPOCH_FROM_CE)
}

/// A day of the engine as a civil date; absent outside the range of chrono.
pub fn to_date(day: Day) -> Option<NaiveDate> {
    NaiveDate::from_num_days_from_ce_opt(day.0.checked_add(EPOCH_FROM_CE)?)
}

/// A window of the engine in civil dates.
pub fn to_window(window: engine::Window) -> Window {
    Window {
        early_on: window.early.and_then(to_date),
        likely_on: window.likely.and_then(to_date),
        late_on: window.late.and_then(to_date),
    }
}

/// A curve of the engine in civil dates.
pub fn to_curve(curve: &[engine::CurvePoint]) -> Vec<CurvePoint> {
    let points =
        curve.iter().filter_map(|point| Some(CurvePoint { on: to_date(point.day)?, chance: point.chance }));
    points.collect()
}

/// Chances of the engine in the domain's type.
pub fn to_chances(chance: engine::Chance) -> Chances {
    Chances {
        today: chance.today,
        in_7_days: chance.in_7_days,
        in_30_days: chance.in_30_days,
        in_90_days: chance.in_90_days,
    }
}
