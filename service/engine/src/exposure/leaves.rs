//! Leaf fall onto a roof and its way to the screen.
//!
//! Litter under a closed canopy is 500 g/m2 a year (300 to 1100; Zhang et al. 2014, Ecological Complexity: 3 to 11 Mg/ha
//! a year, autumn peak in temperate deciduous woods, dry-season peak in the tropics), times the share of the roof under
//! it. What no canopy covers gets 20 g/m2 a year from the wind (judgement). The pile on the roof moves to the screen on
//! days with runoff, all of it (judgement). What lies on the roof today is not in the tally
//! until a day with runoff brings it. Known failures: storms that strip trees, gutters that hold leaves back.
//! Invariant: the screen's share of what fell = what moved + what lies on the roof.

use crate::calendar::MEAN_MONTH_DAYS;
use crate::site::{Canopy, Roof, Site};

const CLOSED_CANOPY_KG_M2: f64 = 0.5;
const WIND_BLOWN_KG_M2: f64 = 0.02;

/// Share of a roof's leaf fall that comes to lie on its screen; the rest blows off the roof, stays in gutters, or slides
/// off the screen.
///
/// Judgement, set so that a usual screen (0.2 m2 under a roof of 100 m2, a fifth of it under trees) reaches the prior
/// mark after one to three months on average, which is what published cleaning intervals span. A flat screen holds
/// more, a steep one less: findings will tell.
pub const SHARE_LEFT_ON_SCREEN: f64 = 0.05;

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

/// A year of leaves on a roof as the climate lets them move, by month.
pub(super) struct Cycle {
    /// Leaf on the roof in the middle of the month, per m2 of screen.
    pub pile: [f64; 12],
    /// Leaf moved per day.
    pub moved: [f64; 12],
    /// Typical amount moved at once.
    pub lump: f64,
}

/// Follows the pile through the year until it repeats itself; `chance` is that of a day with runoff, by month.
///
/// Each day the pile grows by `fall` and the chance part of it moves. The expectation is exact when a day's runoff does
/// not depend on the day before; wet spells make it a little early.
pub(super) fn cycle(fall: &[f64; 12], chance: &[f64; 12]) -> Cycle {
    let mut out = Cycle { pile: [0.0; 12], moved: [0.0; 12], lump: 0.0 };
    let mut pile = 0.0;
    // A pile of one year is forgotten within the next one in every climate that moves leaves at all.
    for _ in 0..3 {
        for m in 0..12 {
            let days = MEAN_MONTH_DAYS[m].round();
            let mut moved = 0.0;
            for day in 0..days as u32 {
                pile += fall[m];
                let goes = chance[m] * pile;
                pile -= goes;
                moved += goes;
                if day == 14 {
                    out.pile[m] = pile;
                }
            }
            out.moved[m] = moved / days;
        }
    }
    let (mut square, mut sum) = (0.0, 0.0);
    for m in 0..12 {
        if chance[m] > 0.0 {
            // Waits between runoff days are geometric: mean square over mean is (2 - q) / q.
            let moved = out.moved[m] * MEAN_MONTH_DAYS[m];
            square += moved * fall[m] * (2.0 - chance[m]) / chance[m];
            sum += moved;
        }
    }
    out.lump = if sum > 0.0 { square / sum } else { 0.0 };
    out
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
