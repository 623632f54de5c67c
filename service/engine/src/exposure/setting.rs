//! The inputs of a meter: the place, the roof, the rain, and what to count.

use crate::catchment::Catchment;
use crate::gauge::Gauge;
use crate::site::{Roof, Site};

use super::quantity::Exposure;

/// What is counted, and where.
#[derive(Debug, Clone, Copy)]
pub struct Setting<'a> {
    /// Place.
    pub site: &'a Site,
    /// Roof that feeds the part.
    pub roof: &'a Roof,
    /// The gauge for that roof, without readings after the day of the forecast ([`Gauge::until`]).
    pub gauge: &'a Gauge,
    /// The runoff off roofs of this kind under that gauge.
    pub catchment: &'a Catchment,
    /// What the accumulated amount counts.
    pub exposure: Exposure<'a>,
}
