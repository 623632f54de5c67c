//! Usual spreads: a record's spread is drawn to them, and they stand in where there is none.

/// Log-sd by month and by year that nine daily series share. Set before an independent tenth series was tried.
pub(super) const USUAL_SIGMA_MONTH: f64 = 0.35;
pub(super) const USUAL_SIGMA_YEAR: f64 = 0.06;
/// Weight of the usual values, in months and in years.
pub(super) const USUAL_MONTHS: f64 = 24.0;
pub(super) const USUAL_YEARS: f64 = 6.0;
/// Relative error per 30 days when the record is too short to show it. Judgement within the 0.4 to 0.7 seen.
pub(super) const USUAL_CV30: f64 = 0.6;
