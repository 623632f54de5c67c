//! Bounds of what callers send. Each is one constant, which the check, its refusal and the API's document read.
//!
//! Here are those of every noun; the bounds of one noun stand in its own file and have the name of the field.

use std::ops::RangeInclusive;

/// The least and the most of a figure, both allowed, in the unit of its field.
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

    /// Of a measure that cannot be nothing: from [`LEAST_MEASURE`] to the most.
    pub const fn above_nothing(most: f64) -> Self {
        Self::of(LEAST_MEASURE, most)
    }

    /// Whether a value lies between them. No value that is not a number does.
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

    /// As many as the list has, no more and no fewer.
    pub const fn exactly(number: usize) -> Self {
        Self::of(number, number)
    }
}

/// The least of any length, area, volume or time that is more than nothing, in the unit of its field. Smaller ones are
/// slips of a unit, and would make accumulated amounts without end.
pub const LEAST_MEASURE: f64 = 0.001;

/// The first and last year that dates may lie in: the engine looks back at most two hundred years.
pub const YEARS: RangeInclusive<i32> = 1900..=2099;

/// The most characters of a name, of a thing or a person. Judgement: a line of a list holds no more.
pub const NAME_LENGTH: usize = 200;

/// The most characters of a note. Judgement: a page of text; what is longer belongs in a document of its own.
pub const NOTE_LENGTH: usize = 4000;

/// A share of a whole.
pub const SHARE: Bounds = Bounds::of(0.0, 1.0);

/// Degrees north of the equator, from pole to pole.
pub const LATITUDE_DEG: Bounds = Bounds::of(-90.0, 90.0);

/// Degrees east of Greenwich, once round the earth.
pub const LONGITUDE_DEG: Bounds = Bounds::of(-180.0, 180.0);

/// Lists with a value for each month of the year.
pub const MONTHS: Entries = Entries::exactly(12);

/// Months of the year by their number.
pub const MONTH: Bounds = Bounds::of(1.0, 12.0);

/// Days of a month by their number; the check knows how many each month has.
pub const DAY_OF_MONTH: Bounds = Bounds::of(1.0, 31.0);
