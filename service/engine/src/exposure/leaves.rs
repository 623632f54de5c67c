//! Leaf fall onto a roof and its way to the screen.
//!
//! Litter under a closed canopy is 500 g/m2 a year (300 to 1100; Zhang et al. 2014, Ecological Complexity: 3 to 11 Mg/ha
//! a year, autumn peak in temperate deciduous woods, dry-season peak in the tropics), times the share of the roof under
//! it. What no canopy covers gets 20 g/m2 a year from the wind (judgement). The pile on the roof moves to the screen on
//! days with runoff, all of it (judgement). What lies on the roof today is not in the tally
//! until a day with runoff brings it. Known failures: storms that strip trees, gutters that hold leaves back.
//! Invariant: the screen's share of what fell = what moved + what lies on the roof.

use crate::calendar::{Day, MEAN_MONTH_DAYS};
use crate::catchment::Events;
use crate::site::{Canopy, Roof, Site};

use super::Exposure;

const CLOSED_CANOPY_KG_M2: f64 = 0.5;
const WIND_BLOWN_KG_M2: f64 = 0.02;

/// Share of a roof's leaf fall that comes to lie on its screen; the rest blows off the roof, stays in gutters, or slides
/// off the screen.
///
/// Judgement, set so that a usual screen (0.2 m2 under a roof of 100 m2, a fifth of it under trees) reaches the prior
/// mark after one to three months on average, which is what published cleaning intervals span. A flat screen holds
/// more, a steep one less: findings will tell.
pub const SHARE_LEFT_ON_SCREEN: f64 = 0.05;

/// Share of a roof's leaf fall that stays in an open gutter; the rest is washed on to the downpipe or blows away.
///
/// Judgement, set with the mark of a gutter so that a usual one (20 m along a roof of 100 m2, a fifth of it under trees)
/// wants clearing about twice a year, which is what published intervals say.
pub const SHARE_LEFT_IN_GUTTER: f64 = 0.2;

/// Share of that which gets past a guard over the gutter. Judgement.
pub const SHARE_PAST_GUARD: f64 = 0.3;

/// Monthly shares of a year's fall, January first, northern hemisphere. Judgement consistent with Zhang et al. 2014.
const DECIDUOUS: [f64; 12] = [0.02, 0.02, 0.02, 0.04, 0.05, 0.04, 0.04, 0.05, 0.10, 0.30, 0.25, 0.07];
const CONIFER: [f64; 12] = [0.05, 0.05, 0.05, 0.06, 0.07, 0.08, 0.09, 0.10, 0.13, 0.14, 0.11, 0.07];
/// The same for evergreen broadleaf, whose figures are southern.
const EVERGREEN_SOUTH: [f64; 12] = [0.14, 0.12, 0.09, 0.07, 0.06, 0.05, 0.05, 0.06, 0.08, 0.09, 0.09, 0.10];

/// Share of a year's leaf fall in a month (January 0), adding up to 1 over the year. South of the equator the seasons
/// shift by six months.
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

/// What a kg of leaf per m2 of roof means to the screen or gutter that catches it, in the unit of its tally.
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

/// Leaf fall of a day by month, in the unit of the tally.
pub(super) fn fall(roof: &Roof, site: &Site, per_catcher: f64) -> [f64; 12] {
    std::array::from_fn(|m| litter_kg_m2(roof, site, m) * per_catcher)
}

/// Leaves that fell since the last event, as the next one finds them.
pub(super) struct Fallen {
    fall: [f64; 12],
}

impl Fallen {
    pub(super) fn new(roof: &Roof, site: &Site, per_catcher: f64) -> Fallen {
        Fallen { fall: fall(roof, site, per_catcher) }
    }

    /// What lay on the roof when the event came. `days_back` stands for what lay there when readings began.
    pub(super) fn before(&self, events: &Events, i: usize, days_back: f64) -> f64 {
        let month0 = usize::from(events.month0[i]);
        let (days, in_month) = (events.day[i] - events.before[i], i32::from(events.day_of_month[i]));
        let mut sum = self.fall[month0] * f64::from(days.min(in_month));
        if events.unknown_before[i] {
            sum += self.fall[month0] * days_back;
        }
        let mut left = days - in_month;
        let mut end = Day(events.day[i] - in_month);
        while left > 0 {
            let (_, month, length) = end.ymd();
            let days = left.min(length as i32);
            sum += self.fall[month as usize - 1] * f64::from(days);
            left -= days;
            end = end.plus(-days);
        }
        sum
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_usual_screen_wants_cleaning_within_the_published_intervals() {
        let roof = Roof {
            plan_area_m2: 100.0,
            coefficient: 0.9,
            wetting_loss_mm: 0.5,
            canopy: Canopy::Deciduous,
            canopy_share: 0.2,
        };
        let site = Site { latitude_deg: 48.0, elevation_m: 0.0 };
        let fall: f64 = (0..12).map(|m| litter_kg_m2(&roof, &site, m) * MEAN_MONTH_DAYS[m]).sum();
        let per_day = fall * SHARE_LEFT_ON_SCREEN * roof.plan_area_m2 / 0.2 / 365.25;
        let days = crate::mark::screen().mark.median / per_day;
        // Monthly by the Puget Sound LID manual 4.9.7, every three months by common practice.
        assert!((30.0..92.0).contains(&days), "{days}");
    }
}
