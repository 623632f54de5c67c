//! Twelve published means: the monthly laws that follow from them, and scaling a record's fit to them.

use crate::calendar::MEAN_MONTH_DAYS;

use super::doubt::Doubt;
use super::error::ClimateError;
use super::model::{Basis, Climate};
use super::month_law::{MonthLaw, dispersion, runoff_of};
use super::usual::{USUAL_CV30, USUAL_SIGMA_MONTH};

/// c in p01 = c f: 0.75 by Geng et al. 1986 (from memory). Six daily series gave 0.60 to 0.78, oceanic ones the
/// lowest.
const OCCURRENCE: f64 = 0.75;
/// Moment shape of wet-day rain. Series gave 0.54 to 0.78, and 0.31 under monsoon.
const SHAPE: f64 = 0.75;
const SIGMA_YEAR: f64 = 0.08;
/// Years behind normals that do not state them.
const USUAL_YEARS: f64 = 30.0;
/// Mean of a wet day where normals have rain but no wet day, mm. Judgement between the 4 and 12 mm of six series.
const USUAL_WET_DAY_MM: f64 = 7.0;

/// Twelve monthly means, as climate services publish them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Normals {
    /// Mean total of each month, January first, mm, 0 or more.
    pub rain_mm: [f64; 12],
    /// Mean count of wet days of each month, 0 or more.
    pub wet_days: [f64; 12],
    /// Rain from which those days count as wet: usually 0.1, 0.2, 0.25 or 1 mm.
    pub wet_day_threshold_mm: f64,
    /// Years behind the means, usually 30. 0 when unknown, which counts as 30.
    pub years: f64,
}

pub(super) fn check(normals: &Normals) -> Result<(), ClimateError> {
    let bad = |name, month, value, allowed| Err(ClimateError::BadNormals { name, month, value, allowed });
    for m in 0..12 {
        let (rain, wet) = (normals.rain_mm[m], normals.wet_days[m]);
        if !(0.0..=20_000.0).contains(&rain) {
            return bad("rain_mm", m + 1, rain, "0 to 20000");
        }
        if !(0.0..=31.0).contains(&wet) {
            return bad("wet_days", m + 1, wet, "0 to 31");
        }
    }
    Ok(())
}

/// Climate from checked normals.
pub(super) fn from_normals(normals: &Normals, loss_mm: f64) -> Climate {
    let years = if normals.years > 0.0 && normals.years.is_finite() { normals.years } else { USUAL_YEARS };
    let rain: [f64; 12] = std::array::from_fn(|m| normals.rain_mm[m] / MEAN_MONTH_DAYS[m]);
    let months: [MonthLaw; 12] = std::array::from_fn(|m| {
        let counted = normals.wet_days[m] / MEAN_MONTH_DAYS[m];
        let wet = if rain[m] > 0.0 && !(counted > 0.0) { rain[m] / USUAL_WET_DAY_MM } else { counted };
        // Even endless rain needs a chance of change.
        let wet = if rain[m] > 0.0 { wet.min(0.99) } else { 0.0 };
        MonthLaw {
            p01: OCCURRENCE * wet,
            p11: 1.0 - OCCURRENCE * (1.0 - wet),
            mean_wet_mm: if wet > 0.0 { rain[m] / wet } else { 0.0 },
            cv2: 1.0 / SHAPE,
        }
    });
    Climate {
        kappa_mm: dispersion(&months),
        basis: Basis::Normals,
        years,
        sigma_month: USUAL_SIGMA_MONTH,
        sigma_year: SIGMA_YEAR,
        cv30: USUAL_CV30,
        doubt: Doubt::NONE,
        dry_months: std::array::from_fn(|m| months[m].wet_share() == 0.0),
        rain_mm_per_day: rain,
        loss_mm,
        level: [1.0; 12],
        runoff: std::array::from_fn(|m| runoff_of(&months[m], loss_mm)),
        months,
    }
}

/// Combines the means of `base` (normals) with the spread of `own` (record).
///
/// Occurrence stays that of the record, whose wet-day threshold is known. Wet-day rain is scaled to the normal total.
/// A month without rain on either side takes the law of the normals.
pub(super) fn relevel(own: Climate, base: &Climate) -> Climate {
    let mut out = own;
    for m in 0..12 {
        let law = out.months[m];
        let level = base.rain_mm_per_day[m] / out.rain_mm_per_day[m];
        let fitted = law.wet_share() * law.mean_wet_mm;
        if level.is_finite() && level > 0.0 && fitted > 0.0 {
            out.level[m] = level;
            out.months[m].mean_wet_mm = base.rain_mm_per_day[m] / law.wet_share();
            out.runoff[m] *= level;
        } else {
            out.level[m] = if base.rain_mm_per_day[m] > 0.0 { 1.0 } else { 0.0 };
            out.months[m] = base.months[m];
            out.runoff[m] = base.runoff[m];
        }
    }
    out.kappa_mm = dispersion(&out.months);
    out.dry_months = base.dry_months;
    out.rain_mm_per_day = base.rain_mm_per_day;
    out.years = base.years.max(out.years);
    out.doubt = out.doubt.with_level(out.sigma_year, out.years);
    out.basis = Basis::Both;
    out
}
