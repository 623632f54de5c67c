//! Leaf fall onto a roof, and how it reaches the screen.
//!
//! Litter under a closed canopy is 500 g/m2 a year, times the share of the roof under it. Zhang et al. 2014
//! (Ecological Complexity) give 300 to 1100, that is 3 to 11 Mg/ha a year. Their peak is in autumn in temperate
//! deciduous woods, and in the dry season in the tropics. The wind brings 20 g/m2 a year to areas that no canopy
//! covers (judgement). On a day with runoff all leaves on the roof move to the screen (judgement). Until then they
//! are not in the accumulated amount.
//!
//! Known failures: storms that strip trees, gutters that hold leaves back.
//! Invariant: the screen's share of what fell = what moved + what is still on the roof.

use crate::calendar::{Day, MEAN_MONTH_DAYS};
use crate::events::{Events, Run};
use crate::site::{Canopy, Roof, Site};

use super::quantity::Exposure;

const CLOSED_CANOPY_KG_M2: f64 = 0.5;
const WIND_BLOWN_KG_M2: f64 = 0.02;

/// Share of a roof's leaf fall that stays on its screen. The rest blows off the roof, stays in gutters, or slides off
/// the screen.
///
/// Judgement, set so that a usual screen reaches the prior limit after one to three months on average, as in
/// published cleaning intervals. A usual screen is 0.2 m2 under a roof of 100 m2, a fifth of it under trees. A flat
/// screen holds more, a steep one less: findings will show it.
pub const SHARE_LEFT_ON_SCREEN: f64 = 0.05;

/// Share of a roof's leaf fall that stays in an open gutter. The rest is washed on to the downpipe or blows away.
///
/// Judgement, set with the limit of a gutter so that a usual one needs clearing about twice a year, as in published
/// intervals. A usual gutter is 20 m along a roof of 100 m2, a fifth of it under trees.
pub const SHARE_LEFT_IN_GUTTER: f64 = 0.2;

/// Share of that which passes a guard over the gutter. Judgement.
pub const SHARE_PAST_GUARD: f64 = 0.3;

/// Monthly shares of a year's fall, January first, northern hemisphere. Judgement consistent with Zhang et al. 2014.
const DECIDUOUS: [f64; 12] = [0.02, 0.02, 0.02, 0.04, 0.05, 0.04, 0.04, 0.05, 0.10, 0.30, 0.25, 0.07];
const CONIFER: [f64; 12] = [0.05, 0.05, 0.05, 0.06, 0.07, 0.08, 0.09, 0.10, 0.13, 0.14, 0.11, 0.07];
/// The same for evergreen broadleaf, with figures from the southern hemisphere.
const EVERGREEN_SOUTH: [f64; 12] = [0.14, 0.12, 0.09, 0.07, 0.06, 0.05, 0.05, 0.06, 0.08, 0.09, 0.09, 0.10];

/// Share of a year's leaf fall in a month (January 0). The year adds up to 1. South of the equator the seasons shift
/// by six months.
pub fn monthly_leaf_share(canopy: Canopy, latitude_deg: f64, month0: usize) -> f64 {
    let shifted = |half: bool| (month0 + if half { 6 } else { 0 }) % 12;
    let south = latitude_deg < 0.0;
    match canopy {
        Canopy::None => 1.0 / 12.0,
        Canopy::Deciduous => DECIDUOUS[shifted(south)],
        Canopy::Conifer => CONIFER[shifted(south)],
        Canopy::EvergreenBroadleaf => EVERGREEN_SOUTH[shifted(!south)],
    }
}

/// Dry leaf that falls on a m2 of roof on one day of a month (January 0), kg.
pub fn litter_kg_m2(roof: &Roof, site: &Site, month0: usize) -> f64 {
    let under = if roof.canopy == Canopy::None { 0.0 } else { roof.canopy_share };
    let season = monthly_leaf_share(roof.canopy, site.latitude_deg, month0);
    let year = CLOSED_CANOPY_KG_M2 * under * season + WIND_BLOWN_KG_M2 * (1.0 - under) / 12.0;
    year / MEAN_MONTH_DAYS[month0]
}

/// What one kg of leaf per m2 of roof adds to the screen or gutter that catches it, in the unit of its accumulated
/// amount.
pub(super) fn per_catcher(roof: &Roof, exposure: Exposure<'_>) -> f64 {
    match exposure {
        Exposure::Leaves { screen_area_m2 } => SHARE_LEFT_ON_SCREEN * roof.plan_area_m2 / screen_area_m2,
        Exposure::GutterLeaves { length_m, guarded } => {
            let past = if guarded { SHARE_PAST_GUARD } else { 1.0 };
            SHARE_LEFT_IN_GUTTER * past * roof.plan_area_m2 / length_m
        }
        _ => 1.0,
    }
}

/// Leaf fall of a day by month, in the unit of the accumulated amount.
pub(super) fn fall(roof: &Roof, site: &Site, per_catcher: f64) -> [f64; 12] {
    std::array::from_fn(|m| litter_kg_m2(roof, site, m) * per_catcher)
}

/// What was on the roof at each event, in the unit of the accumulated amount. `fall` is the leaf fall of a day by
/// month.
pub(super) fn moved(events: &Events, fall: &[f64; 12]) -> Vec<f64> {
    let days_back = events.days_back();
    let mut amounts = Vec::with_capacity(events.len());
    let mut starts = events.starts.iter().peekable();
    let mut month_before: Option<(&Run, i32)> = None;
    for run in &events.months {
        let per_day = fall[usize::from(run.month0)];
        let days = &events.day[amounts.len()..run.end];
        let Some((&first, &last)) = days.first().zip(days.last()) else { continue };
        let whole = starts.peek().is_none_or(|start| start.0 >= run.end);
        match month_before {
            // The usual month: its events follow one in the month before, and one another.
            Some((before, previous)) if whole && before.last == run.before => {
                let rest = fall[usize::from(before.month0)] * f64::from(before.last - previous);
                amounts.push(rest + per_day * f64::from(first - run.before));
                amounts.extend(days.windows(2).map(|pair| per_day * f64::from(pair[1] - pair[0])));
            }
            _ => {
                let mut previous = month_before.map_or(first, |before| before.1);
                for &day in days {
                    let mut lying = 0.0;
                    if let Some(start) = starts.next_if(|start| start.0 == amounts.len()) {
                        previous = start.1;
                        // What was there when readings began is unknown. It counts as the amount of an average day.
                        lying = per_day * days_back;
                    }
                    amounts.push(lying + between(fall, Day(previous), Day(day)));
                    previous = day;
                }
            }
        }
        month_before = Some((run, last));
    }
    amounts
}

/// Leaf fall of the days after `after`, up to and including `through`.
pub(super) fn between(fall: &[f64; 12], after: Day, through: Day) -> f64 {
    let (mut left, mut end, mut sum) = (through.since(after), through, 0.0);
    while left > 0 {
        let (_, month, day_of_month) = end.ymd();
        let days = left.min(day_of_month as i32);
        sum += fall[month as usize - 1] * f64::from(days);
        left -= days;
        end = end.plus(-days);
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::gauge::Gauge;
    use crate::rain::RainRecord;

    /// Compared with leaves laid down day by day, over leap days, gaps, months without an event and events on month
    /// ends.
    #[test]
    fn leaves_lie_where_days_laid_them() {
        let first = Day::from_ymd(2015, 12, 20).unwrap();
        let reading = |n: i32| match n {
            50..=58 | 300 | 302..=400 => None,
            _ if n % 11 == 0 || n % 30 == 7 || (100..104).contains(&n) => Some(8.0),
            _ if (150..260).contains(&n) => Some(0.0),
            _ => Some(f64::from(n % 3)),
        };
        let record = RainRecord::from_readings((0..900).filter_map(|n| Some((first.plus(n), reading(n)?))));
        let roof = Roof {
            wetting_loss_mm: 0.5,
            canopy: Canopy::Deciduous,
            canopy_share: 0.2,
            ..Roof::new(100.0, 0.9)
        };
        let gauge = Gauge::new(record, None);
        let catchment = crate::catchment::Catchment::new(&gauge, &roof).unwrap();
        let events = catchment.own();
        let fall: [f64; 12] = std::array::from_fn(|m| 1.0 + f64::from(m as i32 * 5 % 7));
        let moved = moved(events, &fall);
        assert_eq!(moved.len(), events.len());
        let (mut lying, mut unknown, mut at) = (0.0, true, 0);
        for n in 0..900 {
            let day = first.plus(n);
            if reading(n).is_none() {
                (lying, unknown) = (0.0, true);
                continue;
            }
            lying += fall[day.month0()];
            if events.day.get(at) == Some(&day.0) {
                let before = if unknown { fall[day.month0()] * events.days_back() } else { 0.0 };
                assert!((moved[at] - lying - before).abs() < 1e-9, "{n}: {} {lying} {before}", moved[at]);
                (lying, unknown, at) = (0.0, false, at + 1);
            }
        }
        assert_eq!(at, moved.len());
    }

    #[test]
    fn a_usual_screen_wants_cleaning_within_the_published_intervals() {
        let roof = Roof {
            wetting_loss_mm: 0.5,
            canopy: Canopy::Deciduous,
            canopy_share: 0.2,
            ..Roof::new(100.0, 0.9)
        };
        let site = Site { latitude_deg: 48.0, elevation_m: 0.0 };
        let fall: f64 = (0..12).map(|m| litter_kg_m2(&roof, &site, m) * MEAN_MONTH_DAYS[m]).sum();
        let per_day = fall * SHARE_LEFT_ON_SCREEN * roof.plan_area_m2 / 0.2 / 365.25;
        let days = crate::limit::screen().limit.median / per_day;
        // Monthly by the Puget Sound LID manual 4.9.7, every three months by common practice.
        assert!((30.0..92.0).contains(&days), "{days}");
    }
}
