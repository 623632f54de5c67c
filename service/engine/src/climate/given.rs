//! A climate with known laws that were not fitted. Also how much more its runoff varies than its rain.

use crate::calendar::MONTH_DAYS;
use crate::error::{EngineError, require};
use crate::special::gamma_above;

use super::doubt::Doubt;
use super::model::{Basis, Climate};
use super::month_law::{MonthLaw, dispersion, runoff_of};

impl Climate {
    /// The climate with these laws by month, January first. For checks against exact results, and for a generator
    /// that was fitted elsewhere.
    ///
    /// Ranges: Chances are 0 to 1. Means of a wet day are 0 to 10,000 mm, with squared coefficients of variation from
    /// 0.05 to 100. The log-sds of months and years are 0 to 3. `cv30`, the relative error of one year's climatology
    /// per 30 days, is 0 to 3. `years`, the years behind the means, are above 0. The spreads are those of the rain
    /// itself, so its runoff has no loss. There is no record, so the basis is [`Basis::Normals`].
    pub fn from_laws(
        months: [MonthLaw; 12],
        sigma_month: f64,
        sigma_year: f64,
        cv30: f64,
        years: f64,
    ) -> Result<Climate, EngineError> {
        for law in &months {
            require((0.0..=1.0).contains(&law.p01), "p01", law.p01, "0 to 1")?;
            require((0.0..=1.0).contains(&law.p11), "p11", law.p11, "0 to 1")?;
            let mean_ok = (0.0..=10_000.0).contains(&law.mean_wet_mm);
            require(mean_ok, "mean_wet_mm", law.mean_wet_mm, "0 to 10000")?;
            require((0.05..=100.0).contains(&law.cv2), "cv2", law.cv2, "0.05 to 100")?;
        }
        require((0.0..=3.0).contains(&sigma_month), "sigma_month", sigma_month, "0 to 3")?;
        require((0.0..=3.0).contains(&sigma_year), "sigma_year", sigma_year, "0 to 3")?;
        require((0.0..=3.0).contains(&cv30), "cv30", cv30, "0 to 3")?;
        require(years > 0.0 && years.is_finite(), "years", years, "above 0")?;
        let rain = std::array::from_fn(|m| months[m].wet_share() * months[m].mean_wet_mm);
        Ok(Climate {
            kappa_mm: dispersion(&months),
            basis: Basis::Normals,
            years,
            sigma_month,
            sigma_year,
            cv30,
            doubt: Doubt::NONE,
            dry_months: std::array::from_fn(|m| months[m].wet_share() == 0.0),
            rain_mm_per_day: rain,
            loss_mm: 0.0,
            level: [1.0; 12],
            runoff: rain,
            months,
        })
    }

    /// Relative growth of runoff over that of rain, 1 or more: `E[X, X > loss] / E[X - loss, X > loss]` on wet days.
    pub(crate) fn runoff_per_rain(&self) -> f64 {
        let (mut runoff, mut lost) = (0.0, 0.0);
        for (law, days) in self.months.iter().zip(MONTH_DAYS) {
            let scale = law.mean_wet_mm * law.cv2;
            if scale > 0.0 {
                // The shape of a climate is at most 20, where the expansion always settles. The fallback only makes
                // this total.
                let above = gamma_above(1.0 / law.cv2, self.loss_mm / scale).unwrap_or(1.0);
                runoff += days * runoff_of(law, self.loss_mm);
                lost += days * law.wet_share() * above * self.loss_mm;
            }
        }
        if runoff > 0.0 { 1.0 + lost / runoff } else { 1.0 }
    }
}
