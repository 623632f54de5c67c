//! What a meter has counted, and what the count rests on.

/// Exposure since the last service, in the exposure's unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Accumulated {
    /// Expected total: `known + expected_unread`.
    pub value: f64,
    /// Exposure of the days with a reading.
    pub known: f64,
    /// Exposure that the climate leads one to expect on the days without a reading.
    pub expected_unread: f64,
    /// Standard deviation of that expectation.
    pub sd: f64,
    /// Days with a reading since the last service.
    pub days_read: u32,
    /// Days without a reading since the last service.
    pub days_unread: u32,
}

/// An assumption behind an answer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Note {
    /// The means come from normals alone.
    NormalsOnly,
    /// The means rest on fewer than two years of readings.
    ShortRecord {
        /// Years of readings.
        years: f64,
    },
    /// No rain is known, so the dose of light assumes this share of wet days.
    WetShareAssumed {
        /// Share of wet days.
        share: f64,
    },
    /// Beyond 60 degrees of latitude the factors of orientation keep their value at 60 degrees.
    LatitudeHeld,
}
