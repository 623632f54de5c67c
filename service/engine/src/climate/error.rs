//! Why a gauge may have no climate.

/// Fewest readings from which a record makes a climate without normals. Judgement.
pub const FEWEST_DAYS: usize = 30;

/// Why there is no climate.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ClimateError {
    /// Neither a reading nor normals.
    #[error(
        "no rain reading and no normals: send daily rain for at least {FEWEST_DAYS} days, or twelve monthly normals"
    )]
    NoRain,
    /// Too few readings, and no normals to use instead.
    #[error("{days_read} days of rain are too few: send at least {FEWEST_DAYS}, or twelve monthly normals")]
    TooShort {
        /// Days that have a reading.
        days_read: usize,
    },
    /// A normal outside its range.
    #[error("normals: {name} of month {month} is {value}; allowed: {allowed}")]
    BadNormals {
        /// Which of the fields.
        name: &'static str,
        /// Month, 1 to 12.
        month: usize,
        /// The value given.
        value: f64,
        /// The range allowed.
        allowed: &'static str,
    },
}
