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
}
