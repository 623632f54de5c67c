//! What the engine predicts for one duty.

use crate::domain::model::forecast::Prediction;
use crate::domain::model::reason::Reason;
use chrono::NaiveDate;

/// How far ahead forecasts look, in years.
pub const HORIZON_YEARS: u32 = 60;

/// The same in days. Every fourth year of the 60 has a leap day.
pub const HORIZON_DAYS: i32 = HORIZON_YEARS as i32 * 1_461 / 4;

/// What the engine predicts for one duty.
pub struct Predicted {
    /// What is shown to readers.
    pub prediction: Prediction,
    /// The day on which the chance of being past the limit passes the tolerance.
    pub on: Option<NaiveDate>,
    /// Why.
    pub reasons: Vec<Reason>,
    /// Whether it was found past its limit, and is due because of that.
    pub past_limit: bool,
}
