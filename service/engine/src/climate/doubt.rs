//! How badly a record shows its own spread, and how much wider a window must be for that.
//!
//! Question answered: five years show the spread of months and years, but not well. How much wider must a window be
//! than if that spread were known?
//!
//! **A variance that is itself estimated.** A sum has the variance `V = sum_i S_i s_i^2`. Its estimate is
//! `V (1 + e)`, where e has mean 0 and variance `tau^2`. A window from `-z` to `z` standard deviations, widened by k,
//! keeps its promise when `E Phi(z sqrt((1 + k)(1 + e))) = Phi(z)`. As a function of w, `Phi(z sqrt w)` has the slope
//! `z phi / 2` and the second derivative `-(z + z^3) phi / 4` at 1. Hence
//!
//! `k = (1 + z^2) tau^2 / 4`, `tau^2 V^2 = sum_i S_i^2 var(s_i^2)`.
//!
//! With `tau^2 = 2 / nu` this is the first term in which Student's t differs from the normal law:
//! `z (1 + (1 + z^2) / (4 nu))` (Abramowitz & Stegun 26.7.5, from memory). Its degrees of freedom are those of Welch
//! (1947) and Satterthwaite (1946) for a sum of estimated variances (from memory). z is that of the 10 and 90 % days.
//!
//! **By part.** `k V` is a sum over parts, `(1 + z^2) / 4 S_i^2 var(s_i^2) / V`. So each log-variance counts as
//! larger by `(1 + z^2) / 4 var(s_i^2) S_i / V`. `V / S_i` is taken where the part was measured: the relative
//! variance of a block for months, that of a year for years. Closed form and simulator then only need larger
//! log-variances.
//!
//! **The two variances.** Months: `cv30^2` is a mean square of n blocks. A gamma law with the relative spread c has
//! the fourth moment `(3 + 6 c^2) sigma^4`, so its mean square has the variance `c^4 (2 + 6 c^2) / n`. The usual
//! value weighs as much as 24 more blocks, so n + 24 stands for n. Years: yearly totals are near enough to normal, so
//! the variance is `2 c_y^4 / (n + 6)`. The 6 years are the weight of the usual value, and c_y is the climate's
//! relative spread of a year. The doubt about the daily law is left out: a record has hundreds of wet days when it
//! has dozens of blocks.
//!
//! **The level.** The means of L years contain the mean of their L yearly factors, `s_y^2 / L`, alike in all months.
//! The sampling error by month is drawn for each month, so over a year it covers only a twelfth of that.
//!
//! All of this is of order 1 over the length of the record and vanishes for long records. Values that do not come
//! from a record have no doubt of their own: the usual ones are wide enough for other places.
//! Units: none, all figures are relative to means. Known failures: The expansion in tau is stretched by records of
//! two years. Years that depend on each other tell less than their number suggests.
//! Invariants: Never negative. A longer record with the same spread never has more doubt.

use super::usual::{USUAL_MONTHS, USUAL_YEARS};

/// The 90 % point of the normal law.
const Z: f64 = 1.281_551_565_544_6;
/// What a window adds to an estimated variance, per unit of its relative variance.
const WIDENED: f64 = (1.0 + Z * Z) / 4.0;

/// What a window adds to the measured spread. All 0 where the spread is known.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Doubt {
    /// Added to the log-variance of the monthly factor.
    pub month: f64,
    /// Added to the log-variance of the yearly factor.
    pub year: f64,
    /// Variance of the error that is common to the means of all months.
    pub level: f64,
}

/// Log-sds for a window: the measured ones with their doubt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spreads {
    /// Of the factor that is drawn for each month.
    pub month: f64,
    /// Of the factor that is drawn for each year.
    pub year: f64,
    /// Of the error of each month's mean.
    pub sampling: f64,
    /// Of the error that is common to the means of all months.
    pub level: f64,
}

impl Doubt {
    /// No doubt: the spread is known.
    pub const NONE: Doubt = Doubt { month: 0.0, year: 0.0, level: 0.0 };

    /// Adds the doubt of a monthly log-variance that was measured on so many blocks, whose relative spread is `cv30`.
    pub(crate) fn with_blocks(self, blocks: f64, cv30: f64) -> Doubt {
        let c2 = cv30 * cv30;
        Doubt { month: WIDENED * c2 * (2.0 + 6.0 * c2) / (USUAL_MONTHS + blocks), ..self }
    }

    /// Adds the doubt of a yearly log-variance that was measured on so many years, whose totals have the relative
    /// variance `of_year`.
    pub(super) fn with_years(self, years: f64, of_year: f64) -> Doubt {
        Doubt { year: WIDENED * 2.0 * of_year / (USUAL_YEARS + years), ..self }
    }

    /// Adds the doubt of means over so many years. At least half a year, as for the sampling error.
    pub(crate) fn with_level(self, sigma_year: f64, years: f64) -> Doubt {
        Doubt { level: sigma_year * sigma_year / years.max(0.5), ..self }
    }

    /// A measured spread, widened for a window.
    pub(crate) fn widen(&self, sigma_month: f64, sigma_year: f64, sampling: f64) -> Spreads {
        // Where the spread is known, exactly the measured value.
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
            // So many years, where all spread is yearly.
            let doubt = Doubt::NONE.with_years(nu - USUAL_YEARS, 1.0);
            let ours = Z * doubt.widen(0.0, 1.0, 0.0).year;
            // The next term is of order 1 / nu^2. The tables have four digits.
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
