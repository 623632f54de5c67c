//! Twelve published means: the monthly laws that follow from them, and scaling a record's fit to them.
//!
//! Normals count days from a threshold T of their own, usually 0.1, 0.254 or 1 mm. The model's wet days begin at
//! [`WET_MM`]. Both follow from a gamma law of mean m and shape k for the rain of a day with any rain. With R mm a day
//! on average there are R/m such days, and the share of days from t mm on is `s(t) = R/m Q(k, k t/m)`, where Q is the
//! regularised upper incomplete gamma. m is the larger solution of `s(T) = counted share`. The model has `s(WET_MM)` wet
//! days, and each brings R over that.
//!
//! Known failures: `s(T)` has a largest value, R / (2.85 T) for k = 0.75. Where more days are counted, no such law
//! exists. Then the wet days are those of the largest value, or the counted ones if these are more. Real rain has more
//! days under 1 mm than the law.
//! Invariants: total = chance x mean of a wet day. More counted days never make fewer wet days. More rain on as many
//! counted days never makes a wet day's mean smaller. A change of any figure by little changes little.

use crate::calendar::MEAN_MONTH_DAYS;
use crate::special::gamma_above;

use super::doubt::Doubt;
use super::error::ClimateError;
use super::model::{Basis, Climate};
use super::month_law::{MonthLaw, dispersion, runoff_of};
use super::statistics::WET_MM;
use super::usual::{USUAL_CV30, USUAL_SIGMA_MONTH};

use statrs::function::gamma::ln_gamma;

/// c in p01 = c f: 0.75 by Geng et al. 1986 (from memory). Six daily series gave 0.60 to 0.78, oceanic ones the
/// lowest.
const OCCURRENCE: f64 = 0.75;
/// Moment shape of wet-day rain. Series gave 0.54 to 0.78, and 0.31 under monsoon.
const SHAPE: f64 = 0.75;
const SIGMA_YEAR: f64 = 0.08;
/// Steps of Newton's method: a few as a rule, and halvings near the largest value.
const MOST_STEPS: u32 = 60;
/// Relative step at which the solution counts as found.
const SETTLED: f64 = 1e-14;
/// Years behind normals that do not state them.
const USUAL_YEARS: f64 = 30.0;
/// The y at which y Q([`SHAPE`], y) is largest.
const MOST_COUNTED_AT: f64 = 0.852_564_317_634_269_5;
/// Mean of a wet day where normals have rain but no wet day, mm. Judgement between the 4 and 12 mm of six series.
const USUAL_WET_DAY_MM: f64 = 7.0;

/// Twelve monthly means, as climate services publish them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Normals {
    /// Mean total of each month, January first, mm, 0 or more.
    pub rain_mm: [f64; 12],
    /// Mean count of wet days of each month, 0 or more.
    pub wet_days: [f64; 12],
    /// Rain from which those days count as wet, mm: usually 0.1, 0.2, 0.25 or 1. 0 when unknown, which counts as
    /// [`WET_MM`](super::WET_MM).
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
    let stated = normals.wet_day_threshold_mm;
    let threshold = if stated > 0.0 && stated.is_finite() { stated } else { WET_MM };
    let rain: [f64; 12] = std::array::from_fn(|m| normals.rain_mm[m] / MEAN_MONTH_DAYS[m]);
    let months: [MonthLaw; 12] = std::array::from_fn(|m| {
        let counted = normals.wet_days[m] / MEAN_MONTH_DAYS[m];
        let wet = if rain[m] > 0.0 && !(counted > 0.0) {
            rain[m] / USUAL_WET_DAY_MM
        } else {
            wet_share(rain[m], counted, threshold)
        };
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

/// Share of days with [`WET_MM`] or more, from the mean rain of a day and the share of days with `threshold_mm` or
/// more.
fn wet_share(mm_per_day: f64, counted: f64, threshold_mm: f64) -> f64 {
    if !(mm_per_day > 0.0) || !(counted > 0.0) {
        return counted;
    }
    // With y = k T / m both shares are R / (k T) times y Q(k, b y), with b = 1 and b = WET_MM / T.
    let scale = mm_per_day / (SHAPE * threshold_mm);
    let wet_over = WET_MM / threshold_mm;
    // The incomplete gamma settles at once for arguments around the shape.
    let above = |y: f64| gamma_above(SHAPE, y).unwrap_or(0.0);
    let most = MOST_COUNTED_AT / wet_over.max(1.0);
    let (most_counted, most_wet) = (scale * most * above(most), scale * most * above(wet_over * most));
    if counted >= most_counted {
        return most_wet.max(counted * (most_wet / most_counted).min(1.0));
    }
    // y Q(k, y) is concave up to its largest value and no more than y. So Newton's steps from the left stay on the left.
    let target = counted / scale;
    let mut y = target;
    for _ in 0..MOST_STEPS {
        let q = above(y);
        let step = (target - y * q) / (q - (SHAPE * y.ln() - y - ln_gamma(SHAPE)).exp());
        if !(step > SETTLED * y) {
            break;
        }
        y = (y + step).min(most);
    }
    scale * y * above(wet_over * y)
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
