//! What waits on a roof after the last reading.

use crate::calendar::Day;
use crate::climate::{RunoffDays, Weather};

use super::law::Law;

/// What waits for runoff after a day.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Waiting {
    /// The last day with a reading, or the day of a later service.
    pub day: Day,
    pub weather: Weather,
    /// On which days there is runoff.
    pub runoff: RunoffDays,
    pub moves: Moves,
}

/// What runoff moves. Amounts are in the unit of the accumulated amount.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Moves {
    /// All that lies there: the pile of the day, and what falls later.
    All { pile: f64, fall: Law },
    /// What lies there beyond the usual, or below it.
    BeyondUsual { extra: f64 },
    /// Nothing lies there: what counts is the runoff itself, storm by storm.
    Storms(Storms),
}

/// The runoff of one day that has any.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Storms {
    /// Mean, above 0.
    pub mean: f64,
    /// Variance over the square of the mean, above 0.
    pub cv2: f64,
    /// Log-sd of the factor that is common to the storms of a season.
    pub log_sd: f64,
}
