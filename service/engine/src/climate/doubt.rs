//! How badly a record tells its own spread, and what a window owes to that.
//!
//! Question answered: five years show how far months and years stray from their means, but not well; how much wider must a
//! window be than if that spread were known?
//!
//! **A variance that is itself estimated.** A sum has the variance `V = sum_i S_i s_i^2`, of which we have an estimate
//! `V (1 + e)`, e with mean 0 and variance `tau^2`. Widened by k, the window from `-z` to `z` standard deviations keeps what
//! it promises when `E Phi(z sqrt((1 + k)(1 + e))) = Phi(z)`. As a function of w, `Phi(z sqrt w)` has at 1 the slope
//! `z phi / 2` and the bend `-(z + z^3) phi / 4`; hence
//!
//! `k = (1 + z^2) tau^2 / 4`, `tau^2 V^2 = sum_i S_i^2 var(s_i^2)`.
//!
//! With `tau^2 = 2 / nu` this is the first term by which Student's t leaves the normal law, `z (1 + (1 + z^2) / (4 nu))`
//! (Abramowitz & Stegun 26.7.5, from memory), with the degrees of freedom of Welch (1947) and Satterthwaite (1946) for a
//! sum of estimated variances (from memory). z is that of the 10 and 90 % days.
//!
//! **By part.** `k V` is a sum over parts, `(1 + z^2) / 4 S_i^2 var(s_i^2) / V`: each log-variance counts as if it were larger by
//! `(1 + z^2) / 4 var(s_i^2) S_i / V`. `V / S_i` is taken where the part was measured: the relative variance of a block for
//! months, that of a year for years. Closed form and simulator then need nothing but larger log-variances.
//!
//! **The two variances.** Months: `cv30^2` is a mean square of n blocks. A gamma law with the relative spread c has the
//! fourth moment `(3 + 6 c^2) sigma^4`, so its mean square has the variance `c^4 (2 + 6 c^2) / n`; the usual value was given
//! the weight of 24 more blocks, so n + 24 stands for n. Years: totals of a year are near enough to normal,
//! `2 c_y^4 / (n + 6)` with the 6 years of the usual value, c_y the relative spread of a year as the climate has it.
//! The doubt about the daily law is left out: a record has hundreds of wet days when it has dozens of blocks.
//!
//! **The level.** The means of L years share the mean of their L yearly factors, `s_y^2 / L`, in all months alike; the
//! sampling error by month, drawn anew in each, holds a twelfth of it over a year.
//!
//! All of it is of order 1 over the length of the record and vanishes as that grows. Values that no record gave have no
//! doubt of their own: the usual ones were set so wide as to hold for other places.
//! Units: none, all is relative to means. Known failures: an expansion in tau, which two years stretch; years that hang
//! together tell less than their number.
//! Invariants: never negative; a longer record with the same spread never has more doubt.

use super::usual::{USUAL_MONTHS, USUAL_YEARS};

/// The 90 % point of the normal law.
const Z: f64 = 1.281_551_565_544_6;
/// What the relative variance of an estimated variance adds to it in a window.
const WIDENED: f64 = (1.0 + Z * Z) / 4.0;

/// What a window needs beyond the measured spread. All 0 where the spread is known.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Doubt {
    /// Added to the log-variance of the monthly factor.
    pub month: f64,
    /// Added to the log-variance of the yearly factor.
    pub year: f64,
    /// Variance of the error that the means of all months share.
    pub level: f64,
}

/// Log-sds as a window needs them: the measured ones with their doubt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spreads {
    /// Of the factor that each month draws anew.
    pub month: f64,
    /// Of the factor that each year draws.
    pub year: f64,
    /// Of the error of each month's mean.
    pub sampling: f64,
    /// Of the error that the means of all months share.
    pub level: f64,
}

impl Doubt {
    /// A spread that is known.
    pub const NONE: Doubt = Doubt { month: 0.0, year: 0.0, level: 0.0 };

    /// With the doubt of a log-variance by month that was measured on so many blocks, which stray by `cv30`.
    pub(crate) fn with_blocks(self, blocks: f64, cv30: f64) -> Doubt {
        let c2 = cv30 * cv30;
        Doubt { month: WIDENED * c2 * (2.0 + 6.0 * c2) / (USUAL_MONTHS + blocks), ..self }
    }

    /// With the doubt of a log-variance by year that was measured on so many years, whose totals have the relative variance
    /// `of_year`.
    pub(super) fn with_years(self, years: f64, of_year: f64) -> Doubt {
        Doubt { year: WIDENED * 2.0 * of_year / (USUAL_YEARS + years), ..self }
    }

    /// With the doubt of means that rest on so many years; half a year at least, as for the sampling error.
    pub(crate) fn with_level(self, sigma_year: f64, years: f64) -> Doubt {
        Doubt { level: sigma_year * sigma_year / years.max(0.5), ..self }
    }

    /// A measured spread as a window needs it.
    pub(crate) fn widen(&self, sigma_month: f64, sigma_year: f64, sampling: f64) -> Spreads {
        // To the last bit what was measured, where that is known.
        let with = |sigma: f64, more: f64| if more > 0.0 { sigma.hypot(more.sqrt()) } else { sigma };
        Spreads {
            month: with(sigma_month, self.month),
            year: with(sigma_year, self.year),
            sampling,
            level: self.level.sqrt(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Student's t at 90 %, from tables: 1.3722 with 10, 1.3104 with 30, 1.2901 with 100 degrees of freedom.
    #[test]
    fn an_estimated_variance_gives_students_t() {
        for (nu, t) in [(10.0, 1.3722), (30.0, 1.3104), (100.0, 1.2901)] {
            // So many years of a spread that is all of it yearly.
            let doubt = Doubt::NONE.with_years(nu - USUAL_YEARS, 1.0);
            let ours = Z * doubt.widen(0.0, 1.0, 0.0).year;
            // The next term is of order 1 / nu^2, the tables have four digits.
            assert!((ours - t).abs() < 1.0 / (nu * nu) + 5e-5, "{nu}: {ours} instead of {t}");
        }
    }

    #[test]
    fn doubt_vanishes_as_a_record_grows() {
        let of = |years: f64| {
            let doubt = Doubt::NONE.with_blocks(12.0 * years, 0.6).with_years(years, 0.04);
            doubt.with_level(0.1, years).widen(0.35, 0.1, 0.6 / years.sqrt())
        };
        for years in [1.0, 2.0, 5.0, 20.0, 1000.0] {
            let (short, long) = (of(years), of(2.0 * years));
            assert!(long.month < short.month && long.year < short.year && long.level < short.level);
        }
        let known = of(1e8);
        assert!((known.month - 0.35).abs() + (known.year - 0.1).abs() + known.level < 1e-4);
        let given = Spreads { month: 0.3, year: 0.1, sampling: 0.2, level: 0.0 };
        assert_eq!(Doubt::NONE.widen(0.3, 0.1, 0.2), given);
    }
}
