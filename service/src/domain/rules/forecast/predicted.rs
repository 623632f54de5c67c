//! What the engine says of one duty.

use crate::domain::model::forecast::Prediction;
use crate::domain::model::reason::Reason;
use chrono::NaiveDate;

/// How far ahead forecasts look, in years.
pub const HORIZON_YEARS: u32 = 60;

/// The same in days.
pub const HORIZON_DAYS: i32 = 21_915;

/// What the engine said of a duty.
pub struct Predicted {
    /// To be shown.
    pub prediction: Prediction,
    /// The day on which the chance passes the tolerance.
    pub on: Option<NaiveDate>,
    /// Why.
    pub reasons: Vec<Reason>,
    /// Whether it was found past its limit, and is due for that.
    pub past_limit: bool,
}
