//! Rain in: daily readings are judged one by one, and the good ones are an upsert by date.

use crate::domain::base::bounds::Bounds;
use crate::domain::model::gauge::RainSpan;
use chrono::NaiveDate;

/// Rain of a day that is believed, mm. The greatest ever measured is 1,825 mm (La Réunion, 7-8 January
/// 1966, World Meteorological Organization's archive of extremes; from memory).
pub const RAIN_MM: Bounds = Bounds::of(0.0, 2000.0);

/// The most readings of one request. Judgement: more than a hundred years of days.
pub const MOST_READINGS: usize = 50_000;

/// Rain of one day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RainDay {
    /// The day.
    pub date: NaiveDate,
    /// Rain in mm.
    pub rain_mm: f64,
}

/// A reading as it came, or why it could not be read.
#[derive(Clone, Debug)]
pub struct OfferedReading {
    /// Line or position, from 1.
    pub line: u64,
    /// The date as it was sent.
    pub date: Option<String>,
    /// The reading, or the reason.
    pub reading: std::result::Result<RainDay, String>,
    /// Whether it was made by spreading an accumulated reading.
    pub spread: bool,
}

/// Everything one request offers.
#[derive(Clone, Debug, Default)]
pub struct RainOffer {
    /// The readings.
    pub readings: Vec<OfferedReading>,
    /// Lines that say nothing about rain.
    pub other: u32,
}

/// One reading that was not stored.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refusal {
    /// Line or position, from 1.
    pub line: u64,
    /// The date as it was sent.
    pub date: Option<String>,
    /// Why.
    pub reason: String,
}

/// What became of an offer.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct RainReport {
    /// Days that had no reading before.
    pub new: u32,
    /// Days whose reading changed.
    pub changed: u32,
    /// Days that had this value.
    pub same: u32,
    /// Readings not stored.
    pub refused: u32,
    /// Days made by spreading.
    pub spread: u32,
    /// Lines that say nothing about rain.
    pub other: u32,
    /// The first refusals.
    pub refusals: Vec<Refusal>,
    /// What the record spans now.
    pub span: RainSpan,
}

/// The days of a list of readings; open where an end is absent.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct RainRange {
    /// The first day.
    pub from: Option<NaiveDate>,
    /// The last day.
    pub to: Option<NaiveDate>,
}

/// How many days an upsert met which way.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Upserted {
    /// Days that had no reading before.
    pub new: u32,
    /// Days whose reading changed.
    pub changed: u32,
    /// Days that had this value.
    pub same: u32,
}

/// What is known of a gauge's record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RainKnown {
    /// How often it had been rewritten when it was read.
    pub rewrites: i64,
    /// The last day with a reading.
    pub through: Option<NaiveDate>,
}

/// What was read of a gauge's record.
#[derive(Clone, Debug, PartialEq)]
pub struct RainRead {
    /// How often it has been rewritten: counts up when a reading is changed, removed, or added before the last one.
    pub rewrites: i64,
    /// Whether `days` is the whole record, and not what came after the known one.
    pub whole: bool,
    /// Readings by date.
    pub days: Vec<RainDay>,
}
