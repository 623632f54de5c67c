//! What an exposure may be expected to add on a day without a reading.
//!
//! Means by month come from the exposure's own daily process: over the record when it holds a year of readings, else over
//! years generated from the climate. With normals beside a record, runoff is brought to the level of the normals; what is
//! limited by the leaves or solids on the roof, or by the sky, is not.
//!
//! Dispersion from day to day: runoff has the climate's kappa times the coefficient. What rides on the rain in its own way
//! takes that times the ratio of its typical amount at once (mean square over mean) to that of runoff; then its own totals
//! of 30 days are held against its own monthly means, as those of runoff are, and what they stray beyond that becomes its
//! monthly factor and its sampling error. Leaves take their own typical amount at once, ultraviolet 0.15 of a mean day.

use crate::calendar::MEAN_MONTH_DAYS;
use crate::climate::{Climate, Misfit, monthly_means};
use crate::meter::Setting;
use crate::passage::Law;

use super::amounts::{Counted, Months};
use super::ultraviolet::Year;
use super::{Exposure, USUAL_WET_SHARE, leaves};

/// Log-sd by month and year of leaf fall: storms shift it by weeks, trees vary by a fifth. Judgement.
const LEAF_SIGMA_MONTH: f64 = 0.35;
const LEAF_SIGMA_YEAR: f64 = 0.2;
/// Day-to-day variance of light over its mean day: (0.3)^2 with a lag-one correlation of 0.25. Judgement.
const LIGHT_KAPPA: f64 = 0.15;
/// Together about 4 % a year, as 37 years of Champion show.
const LIGHT_SIGMA_MONTH: f64 = 0.08;
const LIGHT_SIGMA_YEAR: f64 = 0.03;
/// Fewest days of a month from which its leaf fall is taken from the readings: fewer would make a season out of a storm.
const FEWEST_LEAF_DAYS: f64 = 25.0;

/// The law of the days that nobody read; `None` without rain to base one on.
pub(crate) fn law(s: &Setting<'_>, counted: &Counted) -> Option<Law> {
    let climate = s.gauge.climate().ok();
    match (s.exposure, &counted.year, &counted.months) {
        (Exposure::Steady { daily, sigma_month, sigma_year, .. }, ..) => {
            Some(Law { daily, sigma_month, sigma_year, ..Law::NOTHING })
        }
        (Exposure::RoofLeaves, ..) => Some(Law {
            daily: std::array::from_fn(|m| leaves::litter_kg_m2(s.roof, s.site, m)),
            sigma_month: LEAF_SIGMA_MONTH,
            sigma_year: LEAF_SIGMA_YEAR,
            ..Law::NOTHING
        }),
        (_, Some(year), _) => Some(light(climate, year)),
        (Exposure::Leaves { .. } | Exposure::GutterLeaves { .. }, _, Some(months)) => {
            climate.map(|climate| moved_leaves(s, climate, months))
        }
        (_, _, Some(months)) => climate.map(|climate| rain_borne(s, climate, months)),
        (_, None, None) => None,
    }
}

fn moved_leaves(s: &Setting<'_>, climate: &Climate, months: &Months) -> Law {
    let fall = leaves::fall(s.roof, s.site, leaves::per_catcher(s.roof, s.exposure));
    let daily = std::array::from_fn(|m| {
        if climate.never_rains() {
            // Nothing carries them.
            0.0
        } else if months.days[m] >= FEWEST_LEAF_DAYS {
            months.sums[m] / months.days[m]
        } else {
            fall[m]
        }
    });
    Law {
        daily,
        kappa: months.lump,
        sigma_month: LEAF_SIGMA_MONTH,
        sigma_year: LEAF_SIGMA_YEAR,
        ..Law::NOTHING
    }
}

/// What rides on the rain.
fn rain_borne(s: &Setting<'_>, climate: &Climate, months: &Months) -> Law {
    let measured = months.blocks.as_ref();
    let mut daily = if measured.is_some() {
        monthly_means(&months.sums, &months.days)
    } else {
        // Generated years are long, and the climate they come from is smooth as far as it should be.
        std::array::from_fn(|m| months.sums[m] / months.days[m])
    };
    let runoff_alone = matches!(s.exposure, Exposure::Runoff);
    if runoff_alone && measured.is_some() {
        for (mean, level) in daily.iter_mut().zip(climate.level) {
            *mean *= level;
        }
    }
    let before_coefficient = months.runoff_lump / s.roof.coefficient;
    let ratio = match s.exposure {
        Exposure::Runoff => s.roof.coefficient,
        _ if before_coefficient > 0.0 => months.lump / before_coefficient,
        _ => 0.0,
    };
    let kappa = climate.kappa_mm * ratio;
    let years = s.gauge.record().known_days() as f64 / 365.0;
    let spreads = match measured {
        Some(blocks) if !runoff_alone => {
            let mut misfit = Misfit::default();
            let blocks = s.gauge.read().whole_blocks().iter().zip(blocks);
            // A block with more than five days unread would say more about the gap than about the exposure.
            for (read, observed) in blocks.filter(|(read, _)| read.known() >= 25) {
                misfit.add(*observed, read.expected(&daily));
            }
            let usual = (climate.sigma_month, climate.cv30);
            let (sigma_month, cv30, doubt) = misfit.spread(kappa, years, usual, climate.doubt);
            // Its means come from the record alone, whatever normals stand beside it.
            let doubt = doubt.with_level(climate.sigma_year, years);
            doubt.widen(sigma_month, climate.sigma_year, cv30 / years.sqrt())
        }
        _ => climate.spreads(),
    };
    Law::new(daily, kappa, spreads)
}

fn light(climate: Option<&Climate>, year: &Year) -> Law {
    let wet: [f64; 12] = std::array::from_fn(|m| climate.map_or(USUAL_WET_SHARE, |c| c.wet_share(m)));
    let daily = year.monthly(&wet);
    let total: f64 = daily.iter().zip(MEAN_MONTH_DAYS).map(|(x, d)| x * d).sum();
    Law {
        daily,
        kappa: LIGHT_KAPPA * total / 365.25,
        sigma_month: LIGHT_SIGMA_MONTH,
        sigma_year: LIGHT_SIGMA_YEAR,
        ..Law::NOTHING
    }
}
