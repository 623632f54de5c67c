//! What the engine says of one duty.

use crate::domain::model::forecast::Prediction;
use chrono::NaiveDate;

/// How far ahead is looked: sixty years.
pub const HORIZON_DAYS: i32 = 21_915;

/// What the engine said of a duty.
pub struct Predicted {
    /// To be shown.
    pub prediction: Prediction,
    /// The day on which the chance passes the tolerance.
    pub on: Option<NaiveDate>,
    /// Why.
    pub reasons: Vec<String>,
    /// Whether it was found past its limit, and is due for that.
    pub past_limit: bool,
}
