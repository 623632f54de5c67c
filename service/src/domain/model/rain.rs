//! Incoming rain: each daily reading is checked by itself, and the good ones are inserted or updated by date.

use crate::domain::base::bounds::Bounds;
use crate::domain::base::error::{Error, Result};
use crate::domain::base::plural::{counted, with_commas};
use crate::domain::model::gauge::RainSpan;
use chrono::NaiveDate;

/// Rain of one day that is accepted, mm. The most that was ever measured is 1,825 mm (La Réunion, 7-8 January 1966,
/// World Meteorological Organization's archive of extremes; from memory).
pub const RAIN_MM: Bounds = Bounds::of(0.0, 2000.0);

/// The most readings of one request. Judgement: they cover more than a hundred years.
pub const MOST_READINGS: usize = 50_000;

/// Checks the number of readings of one request.
///
/// # Errors
/// If there are more than [`MOST_READINGS`].
pub fn check_count(readings: usize) -> Result<()> {
    if readings > MOST_READINGS {
        let (most, sent) = (with_commas(MOST_READINGS), counted(readings as u64, "reading", "readings"));
        return Err(Error::field("days", format!("it has {sent}; send at most {most} at a time")));
    }
    Ok(())
}

/// Rain of one day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RainDay {
    /// The day.
    pub date: NaiveDate,
    /// Rain in mm.
    pub rain_mm: f64,
}

/// A reading as it came in, or why it cannot be read.
#[derive(Clone, Debug)]
pub struct OfferedReading {
    /// Line or position, from 1.
    pub line: u64,
    /// The date as it was sent.
    pub date: Option<String>,
    /// The reading, or the reason.
    pub reading: std::result::Result<RainDay, String>,
    /// Whether it comes from an accumulated reading that was spread over several days.
    pub spread: bool,
}

/// Everything that one request sends.
#[derive(Clone, Debug, Default)]
pub struct RainOffer {
    /// The readings.
    pub readings: Vec<OfferedReading>,
    /// Lines that are not about rain.
    pub other: u32,
    /// Whether it is a list of a JSON body. Otherwise it is a file.
    pub is_list: bool,
}

impl RainOffer {
    /// Where a reading is, by its `line`.
    pub const fn place(&self, line: u64) -> Place {
        if self.is_list { Place::Index(line.saturating_sub(1)) } else { Place::Line(line) }
    }
}

/// Where a reading is among those of its request.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// The line of a file, from 1.
    Line(u64),
    /// The position in a list, from 0.
    Index(u64),
}

impl std::fmt::Display for Place {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Line(line) => write!(f, "line {line}"),
            Self::Index(index) => write!(f, "days[{index}]"),
        }
    }
}

/// One reading that was not stored.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refusal {
    /// Where it is.
    pub place: Place,
    /// The date as it was sent.
    pub date: Option<String>,
    /// Why it was refused.
    pub reason: String,
}

/// What became of the readings of a request.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct RainReport {
    /// Days that had no reading before.
    pub new: u32,
    /// Days whose reading changed.
    pub changed: u32,
    /// Days that already had this value.
    pub same: u32,
    /// Readings not stored.
    pub refused: u32,
    /// Days that come from spreading an accumulated reading.
    pub spread: u32,
    /// Lines that are not about rain.
    pub other: u32,
    /// The first refusals.
    pub refusals: Vec<Refusal>,
    /// What the record spans now.
    pub span: RainSpan,
}

/// The days of a list of readings, with no limit where an end is absent.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct RainRange {
    /// The first day.
    pub from: Option<NaiveDate>,
    /// The last day.
    pub to: Option<NaiveDate>,
}

/// How many days were new, changed or the same when readings were stored.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Upserted {
    /// Days that had no reading before.
    pub new: u32,
    /// Days whose reading changed.
    pub changed: u32,
    /// Days that already had this value.
    pub same: u32,
}

/// What a reader already knows of a rain gauge's record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RainKnown {
    /// How often the record had been rewritten when it was read.
    pub rewrites: i64,
    /// The last day with a reading.
    pub through: Option<NaiveDate>,
}

/// What was read of a rain gauge's record.
#[derive(Clone, Debug, PartialEq)]
pub struct RainRead {
    /// How often the record was rewritten. It counts up when a reading is changed, removed, or added before the
    /// last one.
    pub rewrites: i64,
    /// Whether `days` is the whole record. Otherwise it has only the readings after the known ones.
    pub whole: bool,
    /// Readings by date.
    pub days: Vec<RainDay>,
}
