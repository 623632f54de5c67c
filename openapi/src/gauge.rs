//! Rain gauges: where rain is measured, and what was measured there.

use crate::setters::setters;
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// A request to make or replace a rain gauge.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct GaugeRequest {
    /// Name of the rain gauge, 1 to 200 characters.
    pub name: String,
    /// Degrees north of the equator, -90 to 90; negative is south.
    pub latitude_deg: f64,
    /// Degrees east of Greenwich, -180 to 180; negative is west.
    pub longitude_deg: f64,
    /// Monthly normals of rain, in addition to daily readings or instead of them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub normals: Option<MonthlyNormals>,
}

impl GaugeRequest {
    /// A rain gauge without normals.
    pub fn new(name: impl Into<String>, latitude_deg: f64, longitude_deg: f64) -> Self {
        Self { name: name.into(), latitude_deg, longitude_deg, normals: None }
    }
}

setters! { GaugeRequest { normals: Option<MonthlyNormals> } }

/// Monthly normals of rain: twelve values of each figure, January first in both hemispheres.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "service", serde(deny_unknown_fields))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct MonthlyNormals {
    /// Mean rain of each month in mm, 0 to 5,000.
    pub rain_mm: Vec<f64>,
    /// Mean number of wet days of each month, 0 to the days of the month.
    pub wet_days: Vec<f64>,
    /// The least rain in mm that made a day count as wet, 0.05 to 10; 1 when absent. 0.1, 0.2, 0.25 and 1 are
    /// usual.
    #[serde(default = "one_mm")]
    pub wet_day_threshold_mm: f64,
    /// Number of years that the normals cover, 1 to 300; 30 when absent.
    #[serde(default = "thirty")]
    pub years: f64,
}

impl MonthlyNormals {
    /// Mean rain in mm and mean number of wet days of each month, January first, of 30 years. A day with 1 mm is wet.
    pub fn new(rain_mm: impl Into<Vec<f64>>, wet_days: impl Into<Vec<f64>>) -> Self {
        let (wet_day_threshold_mm, years) = (one_mm(), thirty());
        Self { rain_mm: rain_mm.into(), wet_days: wet_days.into(), wet_day_threshold_mm, years }
    }
}

setters! { MonthlyNormals { wet_day_threshold_mm: f64, years: f64 } }

fn one_mm() -> f64 {
    1.0
}

fn thirty() -> f64 {
    30.0
}

/// A rain gauge.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Gauge {
    /// Id of the rain gauge.
    pub id: Uuid,
    /// Name of the rain gauge.
    pub name: String,
    /// Degrees north of the equator; negative is south.
    pub latitude_deg: f64,
    /// Degrees east of Greenwich; negative is west.
    pub longitude_deg: f64,
    /// Monthly normals, if there are any.
    pub normals: Option<MonthlyNormals>,
    /// First day with a reading; null when there are no readings.
    pub rain_from: Option<NaiveDate>,
    /// Last day with a reading; null when there are no readings. Later days count as not yet known, never as dry.
    pub rain_through: Option<NaiveDate>,
    /// Number of days with a reading.
    pub rain_days: i64,
    /// Version, to be sent in `If-Match` with a change. Sending rain does not change it.
    pub version: i64,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// When it was last changed.
    pub updated_at: DateTime<Utc>,
}

/// Rain of one day.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "service", serde(deny_unknown_fields))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct RainDay {
    /// The day.
    pub date: NaiveDate,
    /// Rain in mm, 0 to 2,000.
    pub rain_mm: f64,
}

impl RainDay {
    /// A day and its rain in mm.
    pub const fn new(date: NaiveDate, rain_mm: f64) -> Self {
        Self { date, rain_mm }
    }
}

/// Daily rain as JSON. A reading replaces an earlier one of the same day, so sending it twice changes nothing.
///
/// Each entry is checked by itself, so that one bad reading does not lose the good ones. An entry that cannot be
/// read is reported by its index, like every other refusal.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct RainRequest {
    /// The days, in any order, at most 50,000.
    pub days: Vec<RainDay>,
}

impl RainRequest {
    /// Days in any order.
    pub fn new(days: impl Into<Vec<RainDay>>) -> Self {
        Self { days: days.into() }
    }
}

/// Layout of a rain file.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub enum RainLayout {
    /// CSV with the header `date,mm` (or `date,rain_mm`) and one line for each day.
    #[default]
    DailyCsv,
    /// GHCN-Daily by-station lines: station, yyyymmdd, element, value, measurement, quality and source flag, time.
    /// `PRCP` values are tenths of a millimetre.
    GhcnDaily,
}

/// What was done with the readings that were sent.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct RainReport {
    /// Number of readings by what was done with them.
    pub counts: RainCounts,
    /// The refused readings with the reasons; at most the first 1,000.
    pub refused: Vec<RainRefusal>,
    /// First day with a reading, including those just stored.
    pub rain_from: Option<NaiveDate>,
    /// Last day with a reading, including those just stored.
    pub rain_through: Option<NaiveDate>,
}

/// Counts of a rain report.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct RainCounts {
    /// Days that had no reading before.
    pub added: u32,
    /// Days whose reading was replaced by another value.
    pub changed: u32,
    /// Days that already had this value.
    pub same: u32,
    /// Readings that were not stored.
    pub refused: u32,
    /// Days made from a reading of several days, which is spread evenly over them. They also count above.
    pub spread: u32,
    /// Lines that say nothing about rain, such as other elements of a station file.
    pub other: u32,
}

/// One reading that was not stored.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct RainRefusal {
    /// Line of a file, counted from 1; null for JSON.
    pub line: Option<u64>,
    /// Position in `days` of a JSON body, counted from 0; null for a file.
    pub index: Option<u64>,
    /// The date as it was sent, if there was one.
    pub date: Option<String>,
    /// Why the reading was refused, with its value.
    pub reason: String,
}
