//! What the spread of a record is drawn to, and what stands for it where there is none.

/// Log-sd by month and by year that nine daily series share, set before an independent tenth was tried.
pub(super) const USUAL_SIGMA_MONTH: f64 = 0.35;
pub(super) const USUAL_SIGMA_YEAR: f64 = 0.06;
/// Months and years that the usual values weigh.
pub(super) const USUAL_MONTHS: f64 = 24.0;
pub(super) const USUAL_YEARS: f64 = 6.0;
/// Relative error per 30 days when the record is too short to tell. Judgement within the 0.4 to 0.7 seen.
pub(super) const USUAL_CV30: f64 = 0.6;
