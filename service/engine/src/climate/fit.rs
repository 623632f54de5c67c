//! Fitting a climate to a record, to normals, or to both.

use crate::rain::RainRecord;

use super::error::{ClimateError, FEWEST_DAYS};
use super::model::Climate;
use super::normals::{self, Normals};
use super::spread;
use super::statistics::GrowingStatistics;

/// Daily loss in mm with which [`Climate::fit`] measures the spread of runoff.
pub const REFERENCE_LOSS_MM: f64 = 0.5;

/// Readings from which a record's own spread is used beside normals: one year. Judgement.
pub const SPREAD_DAYS: usize = 365;

impl Climate {
    /// Fits a gauge's climate to its record, its normals, or both.
    ///
    /// With both and at least [`SPREAD_DAYS`] readings, the normals give the means and the record gives the spread.
    /// With a shorter record the normals give both. Pairs of days across a gap are left out. 29 February is added to
    /// the 28th. A record of zeros gives a climate in which it never rains.
    pub fn fit(record: &RainRecord, normals: Option<&Normals>) -> Result<Climate, ClimateError> {
        Climate::fit_with_loss(record, normals, REFERENCE_LOSS_MM)
    }

    /// The same with another daily loss in mm, for [`Climate::mean_runoff_by_month`] and the measured spread.
    ///
    /// A loss that is negative or NaN counts as 0.
    pub fn fit_with_loss(
        record: &RainRecord,
        normals: Option<&Normals>,
        loss_mm: f64,
    ) -> Result<Climate, ClimateError> {
        let loss_mm = if loss_mm >= 0.0 && loss_mm.is_finite() { loss_mm } else { 0.0 };
        Climate::from_statistics(
            &GrowingStatistics::of(record, loss_mm),
            record.known_days(),
            normals,
            loss_mm,
        )
    }

    /// The same from sums that grew with the record. `known_days` is its number of readings.
    pub(crate) fn from_statistics(
        statistics: &GrowingStatistics,
        known_days: usize,
        normals: Option<&Normals>,
        loss_mm: f64,
    ) -> Result<Climate, ClimateError> {
        let own = || spread::from_statistics(&statistics.so_far(), loss_mm);
        match normals {
            None if known_days == 0 => Err(ClimateError::NoRain),
            None if known_days < FEWEST_DAYS => Err(ClimateError::TooShort { days_read: known_days }),
            None => Ok(own()),
            Some(normals) => {
                normals::check(normals)?;
                let base = normals::from_normals(normals, loss_mm);
                if known_days < SPREAD_DAYS {
                    return Ok(base);
                }
                Ok(normals::relevel(own(), &base))
            }
        }
    }
}
