//! What an exposure may be expected to add on a day without a reading.
//!
//! Means by month come from the exposure's own daily process over the record when it holds a year of readings, else from
//! the climate's laws. With normals beside a record, runoff and sediment are brought to the level of the normals; leaves
//! are limited by what falls and light by the sky, so theirs are not.
//!
//! Dispersion: runoff has the climate's kappa times the coefficient. Sediment takes that of runoff times the ratio of the
//! typical amount at once (mean square over mean) in its unit to that of runoff, which is exact where depth is
//! proportional to runoff. Leaves take their own typical amount at once, and ultraviolet 0.15 of a mean day.

use crate::calendar::MEAN_MONTH_DAYS;
use crate::climate::{Basis, Climate, SPREAD_DAYS, gamma_capped_mean, monthly_means};
use crate::duty::Question;
use crate::error::EngineError;
use crate::passage::Law;
use crate::special::gamma_above;

use super::process::{Pass, fall, run};
use super::sediment::{Diverter, bed_depth_mm, trap_efficiency};
use super::{Exposure, USUAL_WET_SHARE, leaves};

/// Log-sd by month and year of leaf fall: storms shift it by weeks, trees vary by a fifth. Judgement.
const LEAF_SIGMA_MONTH: f64 = 0.35;
const LEAF_SIGMA_YEAR: f64 = 0.2;
/// Day-to-day variance of light over its mean day: (0.3)^2 with a lag-one correlation of 0.25. Judgement.
const LIGHT_KAPPA: f64 = 0.15;
/// Together about 4 % a year, as 37 years of Champion show.
const LIGHT_SIGMA_MONTH: f64 = 0.08;
const LIGHT_SIGMA_YEAR: f64 = 0.03;

/// The question's readings as exposure, and the law for its other days; `None` without rain to base one on.
pub(crate) fn outlook(q: &Question<'_>) -> Result<(Pass, Option<Law>), EngineError> {
    let fall = fall(q);
    let cycle = match (q.exposure, q.climate) {
        (Exposure::Leaves { .. }, Some(climate)) => {
            Some(leaves::cycle(&fall, &runoff_chance(climate, q.roof.wetting_loss_mm)?))
        }
        _ => None,
    };
    let pile = cycle.as_ref().map_or([0.0; 12], |c| c.pile);
    let pass = run(q, &fall, &pile)?;
    let law = match q.exposure {
        Exposure::Ultraviolet { .. } => Some(light(q, &pass)),
        Exposure::Leaves { .. } => cycle.map(|cycle| {
            let measured = pass.known_days() >= SPREAD_DAYS;
            let daily = std::array::from_fn(|m| {
                // Fewer days than most of a month would make a season out of one storm.
                if measured && pass.days[m] >= 25.0 { pass.sums[m] / pass.days[m] } else { cycle.moved[m] }
            });
            Law {
                daily,
                kappa: if measured { pass.lump } else { cycle.lump },
                sigma_month: LEAF_SIGMA_MONTH,
                sigma_year: LEAF_SIGMA_YEAR,
                sampling_sd: 0.0,
            }
        }),
        Exposure::Runoff | Exposure::Sediment { .. } => {
            q.climate.map(|climate| rain_borne(q, climate, &pass))
        }
    };
    Ok((pass, law))
}

impl Pass {
    /// Readings up to the day asked about, also those before the last service.
    pub(crate) fn known_days(&self) -> usize {
        self.days.iter().sum::<f64>() as usize
    }
}

/// Runoff and sediment: both ride on the rain and share its spread.
fn rain_borne(q: &Question<'_>, climate: &Climate, pass: &Pass) -> Law {
    let by_law: [f64; 12] = std::array::from_fn(|m| expected_by_law(q, climate, m));
    let measured = pass.known_days() >= SPREAD_DAYS;
    let daily = if measured {
        let own = monthly_means(&pass.sums, &pass.days);
        std::array::from_fn(|m| {
            let leveled = own[m] * climate.level[m];
            // Normals may know of rain in a month that this record never saw wet.
            if climate.basis != Basis::Record && !(leveled > 0.0) { by_law[m] } else { leveled }
        })
    } else {
        by_law
    };
    let ratio = match q.exposure {
        Exposure::Sediment { .. } if measured && pass.runoff_lump > 0.0 => pass.lump / pass.runoff_lump,
        Exposure::Sediment { .. } => {
            let runoff: f64 = (0..12).map(|m| runoff_by_law(climate, q.roof.wetting_loss_mm, m)).sum();
            if runoff > 0.0 { by_law.iter().sum::<f64>() / runoff } else { 0.0 }
        }
        _ => q.roof.coefficient,
    };
    Law {
        daily,
        kappa: climate.kappa_mm * ratio,
        sigma_month: climate.sigma_month,
        sigma_year: climate.sigma_year,
        sampling_sd: climate.sampling_sd(),
    }
}

/// Mean runoff per day before the coefficient, from the laws: each wet spell first fills the wetting store.
///
/// The store dries out on one dry day (true of losses up to the default drying), and a spell whose first day does not
/// fill it is taken to lose that day only; both make the result a little high for very small rains.
fn runoff_by_law(climate: &Climate, loss_mm: f64, month0: usize) -> f64 {
    let law = &climate.months[month0];
    let wet = law.wet_share();
    let mean = wet * law.mean_wet_mm;
    if !(mean > 0.0) {
        return 0.0;
    }
    let spells = (1.0 - wet) * law.p01;
    let lost = spells * gamma_capped_mean(law.mean_wet_mm, law.cv2, loss_mm);
    climate.rain_mm_per_day[month0] * (1.0 - lost / mean).max(0.0)
}

fn expected_by_law(q: &Question<'_>, climate: &Climate, month0: usize) -> f64 {
    let runoff = q.roof.coefficient * runoff_by_law(climate, q.roof.wetting_loss_mm, month0);
    match q.exposure {
        Exposure::Sediment { flush_mm, floor_area_m2, calmed_inlet } => {
            let law = &climate.months[month0];
            // The event that a typical mm of runoff belongs to, not the typical event.
            let event = q.roof.coefficient * law.mean_wet_mm * (1.0 + law.cv2);
            let passed = if event > 0.0 { Diverter::new(flush_mm).passed_share(event) } else { 1.0 };
            bed_depth_mm(runoff, passed, trap_efficiency(calmed_inlet), q.roof.plan_area_m2 / floor_area_m2)
        }
        _ => runoff,
    }
}

/// Chance of a day with runoff, by month.
fn runoff_chance(climate: &Climate, loss_mm: f64) -> Result<[f64; 12], EngineError> {
    let mut out = [0.0; 12];
    for (m, law) in climate.months.iter().enumerate() {
        let wet = law.wet_share();
        if !(wet > 0.0) || !(law.mean_wet_mm > 0.0) {
            continue;
        }
        let first = (1.0 - wet) * law.p01;
        let enough = gamma_above(1.0 / law.cv2, loss_mm / (law.mean_wet_mm * law.cv2))?;
        out[m] = (wet - first + first * enough).clamp(0.0, 1.0);
    }
    Ok(out)
}

fn light(q: &Question<'_>, pass: &Pass) -> Law {
    let wet: [f64; 12] = std::array::from_fn(|m| q.climate.map_or(USUAL_WET_SHARE, |c| c.wet_share(m)));
    let daily = pass.year.as_ref().map_or([0.0; 12], |year| year.monthly(&wet));
    let year: f64 = daily.iter().zip(MEAN_MONTH_DAYS).map(|(x, d)| x * d).sum();
    Law {
        daily,
        kappa: LIGHT_KAPPA * year / 365.25,
        sigma_month: LIGHT_SIGMA_MONTH,
        sigma_year: LIGHT_SIGMA_YEAR,
        sampling_sd: 0.0,
    }
}
