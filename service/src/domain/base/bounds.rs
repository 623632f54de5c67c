//! Bounds of what callers send. Each bound is one constant, which the check, its error message and the API's
//! document read.
//!
//! This file has the bounds that several nouns share. The bounds of one noun are in its own file, named after the
//! field.

use std::ops::RangeInclusive;

/// The least and the most of a figure, both allowed, in the unit of the field.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounds {
    /// The least.
    pub least: f64,
    /// The most.
    pub most: f64,
}

impl Bounds {
    /// From the least to the most.
    pub const fn of(least: f64, most: f64) -> Self {
        Self { least, most }
    }

    /// Bounds of a measure that cannot be 0: from [`LEAST_MEASURE`] to the most.
    pub const fn above_nothing(most: f64) -> Self {
        Self::of(LEAST_MEASURE, most)
    }

    /// Whether a value lies within the bounds. A NaN never does.
    pub fn hold(self, value: f64) -> bool {
        value >= self.least && value <= self.most
    }
}

/// The fewest and the most entries of a list, both allowed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Entries {
    /// The fewest.
    pub fewest: usize,
    /// The most.
    pub most: usize,
}

impl Entries {
    /// From the fewest to the most.
    pub const fn of(fewest: usize, most: usize) -> Self {
        Self { fewest, most }
    }

    /// Exactly this number of entries.
    pub const fn exactly(number: usize) -> Self {
        Self::of(number, number)
    }
}

/// The least length, area, volume or time above 0, in the unit of the field. A smaller value is a wrong unit, and
/// would make accumulated figures grow without end.
pub const LEAST_MEASURE: f64 = 0.001;

/// The first and last year of a date. The engine looks back at most two hundred years.
pub const YEARS: RangeInclusive<i32> = 1900..=2099;

/// The most characters of a name of a thing or a person. Judgement: a line of a list holds no more.
pub const NAME_LENGTH: usize = 200;

/// The most characters of a note. Judgement: this is a page of text, and longer text belongs in a document of its
/// own.
pub const NOTE_LENGTH: usize = 4000;

/// A share of a whole, 0 to 1.
pub const SHARE: Bounds = Bounds::of(0.0, 1.0);

/// Degrees north of the equator, from pole to pole.
pub const LATITUDE_DEG: Bounds = Bounds::of(-90.0, 90.0);

/// Degrees east of Greenwich, once around the earth.
pub const LONGITUDE_DEG: Bounds = Bounds::of(-180.0, 180.0);

/// Lists with one value for each month of the year.
pub const MONTHS: Entries = Entries::exactly(12);

/// The number of a month.
pub const MONTH: Bounds = Bounds::of(1.0, 12.0);

/// The number of a day in its month. The check knows how many days each month has.
pub const DAY_OF_MONTH: Bounds = Bounds::of(1.0, 31.0);
