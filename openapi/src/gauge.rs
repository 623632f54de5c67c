//! Gauges: where rain is measured, and what was measured there.

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// A request to make or replace a gauge.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct GaugeRequest {
    /// What the gauge is called.
    pub name: String,
    /// Degrees north of the equator.
    pub latitude_deg: f64,
    /// Degrees east of Greenwich.
    pub longitude_deg: f64,
    /// Twelve monthly normals, beside or instead of a daily record.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub normals: Option<MonthlyNormals>,
}

/// Twelve monthly normals of rain, January first.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "service", serde(deny_unknown_fields))]
pub struct MonthlyNormals {
    /// Mean rain of each month in mm, 0 to 5,000.
    pub rain_mm: Vec<f64>,
    /// Mean number of wet days of each month, no more than the month has days.
    pub wet_days: Vec<f64>,
    /// The least rain in mm that made a day count as wet: 0.1, 0.2, 0.25 or 1 are usual.
    #[serde(default = "one_mm")]
    pub wet_day_threshold_mm: f64,
    /// Years behind the normals.
    #[serde(default = "thirty")]
    pub years: f64,
}

fn one_mm() -> f64 {
    1.0
}

fn thirty() -> f64 {
    30.0
}

/// A gauge.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Gauge {
    /// Id of the gauge.
    pub id: Uuid,
    /// What it is called.
    pub name: String,
    /// Degrees north of the equator.
    pub latitude_deg: f64,
    /// Degrees east of Greenwich.
    pub longitude_deg: f64,
    /// Monthly normals, if any were given.
    pub normals: Option<MonthlyNormals>,
    /// First day with a reading.
    pub rain_from: Option<NaiveDate>,
    /// Last day with a reading. The days after it count as not yet known, never as dry.
    pub rain_through: Option<NaiveDate>,
    /// Days with a reading.
    pub rain_days: i64,
    /// Version for `If-Match`; rain does not change it.
    pub version: i64,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// When it was last changed.
    pub updated_at: DateTime<Utc>,
}

/// Rain of one day.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "service", serde(deny_unknown_fields))]
pub struct RainDay {
    /// The day.
    pub date: NaiveDate,
    /// Rain in mm, 0 to 2,000.
    pub rain_mm: f64,
}

/// Daily rain as JSON. It is an upsert by date: sending it twice changes nothing.
///
/// Each entry is judged by itself, so that one bad reading does not lose the good ones; entries that are not even
/// readable are reported by position like every other refusal.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct RainRequest {
    /// The days, in any order, at most 50,000.
    pub days: Vec<RainDay>,
}

/// How a rain file is laid out.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum RainLayout {
    /// A header `date,mm` (or `date,rain_mm`) and a line a day.
    #[default]
    DailyCsv,
    /// GHCN-Daily by-station lines: station, yyyymmdd, element, value, measurement, quality and source flag, time.
    /// `PRCP` values are tenths of a millimetre.
    GhcnDaily,
}

/// What became of the readings that were sent.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct RainReport {
    /// How many readings met which fate.
    pub counts: RainCounts,
    /// The refused readings and why, the first 1,000 of them.
    pub refused: Vec<RainRefusal>,
    /// First day with a reading after this.
    pub rain_from: Option<NaiveDate>,
    /// Last day with a reading after this.
    pub rain_through: Option<NaiveDate>,
}

/// Counts of a rain report.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct RainCounts {
    /// Days that had no reading before.
    pub new: u32,
    /// Days whose reading was replaced by another value.
    pub changed: u32,
    /// Days that already had this value.
    pub same: u32,
    /// Readings that were not stored.
    pub refused: u32,
    /// Days made by spreading an accumulated reading evenly over the days it covers; counted above too.
    pub spread: u32,
    /// Lines that say nothing about rain: other elements of a station file.
    pub other: u32,
}

/// One reading that was not stored.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct RainRefusal {
    /// Line of the file, or position in the list, counted from 1.
    pub line: u64,
    /// The date as it was sent, if one was found.
    pub date: Option<String>,
    /// Why it was refused, with the value.
    pub reason: String,
}
