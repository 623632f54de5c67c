//! What a meter has counted, and what that rests on.

/// Exposure since the last service, in the exposure's unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Accumulated {
    /// Expected total: `known + expected_unread`.
    pub value: f64,
    /// From days with a reading.
    pub known: f64,
    /// What the climate expects of days without one.
    pub expected_unread: f64,
    /// Standard deviation of that expectation.
    pub sd: f64,
    /// Days with a reading since the last service.
    pub days_read: u32,
    /// Days without.
    pub days_unread: u32,
}

/// What an answer rests on beyond its inputs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Note {
    /// Means come from normals alone.
    NormalsOnly,
    /// Means rest on this many years, under two.
    ShortRecord {
        /// Years of readings.
        years: f64,
    },
    /// No rain is known; this share of wet days was assumed for the light.
    WetShareAssumed {
        /// Share of wet days.
        share: f64,
    },
    /// Beyond 60 degrees the factors of orientation are held at their last value.
    LatitudeHeld,
}
