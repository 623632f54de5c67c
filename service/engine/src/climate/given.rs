//! A climate whose laws are known, not fitted.

use crate::error::{EngineError, require};

use super::laws::runoff_of;
use super::spread::dispersion;
use super::{Basis, Climate, MonthLaw, REFERENCE_LOSS_MM};

impl Climate {
    /// The climate with these laws by month, January first: for checks against exact results, and where a generator was
    /// fitted elsewhere.
    ///
    /// Chances 0 to 1, means of a wet day 0 to 10,000 mm, their squared coefficients of variation 0.05 to 100, the log-sds of
    /// months and years 0 to 3, the relative error `cv30` of one year's climatology per 30 days 0 to 3, above 0 `years` behind
    /// the means. Runoff is that after [`REFERENCE_LOSS_MM`]; the basis counts as [`Basis::Normals`], there being no record.
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
        Ok(Climate {
            kappa_mm: dispersion(&months),
            basis: Basis::Normals,
            years,
            sigma_month,
            sigma_year,
            cv30,
            dry_months: std::array::from_fn(|m| months[m].wet_share() == 0.0),
            rain_mm_per_day: std::array::from_fn(|m| months[m].wet_share() * months[m].mean_wet_mm),
            loss_mm: REFERENCE_LOSS_MM,
            level: [1.0; 12],
            runoff: std::array::from_fn(|m| runoff_of(&months[m], REFERENCE_LOSS_MM)),
            months,
        })
    }
}
