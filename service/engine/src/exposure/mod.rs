//! What a duty's tally counts, day by day.
//!
//! Each exposure is a sum over days. On a day with a reading its amount follows from that day's rain and what the roof
//! still holds; on a day without one the month's expectation stands in, see [`crate::passage::Law`].

mod leaves;
mod outlook;
mod process;
mod sediment;
mod ultraviolet;

pub use leaves::{SHARE_LEFT_ON_SCREEN, litter_kg_m2, monthly_leaf_share};
pub use sediment::{BED_KG_M3, ROOF_SOLIDS_MG_L, bed_depth_mm, trap_efficiency};
pub use ultraviolet::{USUAL_WET_SHARE, daily_dose_mj, orientation_factor};

pub(crate) use outlook::outlook;
pub(crate) use process::Pass;

use crate::error::{EngineError, require};

/// The quantity a tally adds up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Exposure {
    /// Runoff in mm over the plan area, after wetting store and coefficient.
    Runoff,
    /// Dry leaf in kg per m2 of screen, carried to it on days with runoff.
    Leaves {
        /// Area of the screen in m2, above 0.
        screen_area_m2: f64,
    },
    /// Sediment in mm of depth on the tank floor.
    Sediment {
        /// Runoff that the first-flush diverter takes from each day's event, mm; 0 without a diverter.
        flush_mm: f64,
        /// Area of the tank floor in m2, above 0.
        floor_area_m2: f64,
        /// Whether the inlet is turned up and calmed.
        calmed_inlet: bool,
    },
    /// Ultraviolet dose in MJ/m2, 295 to 385 nm.
    Ultraviolet {
        /// Which way the surface faces.
        orientation: Orientation,
        /// Share of the dose kept off by eaves, walls or paint, 0 in full sun to 1.
        ///
        /// Part shade about 0.5, under eaves or on the pole side 0.75, painted or covered 0.95; judgement, with a wide
        /// error, since scattered light reaches behind a shade.
        shade_share: f64,
    },
}

/// Which way a surface in daylight faces.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Orientation {
    /// Flat on the ground or a roof.
    Horizontal,
    /// Around an upright pipe.
    VerticalPipe,
    /// Upright, towards the equator.
    FacingEquator,
    /// Upright, east or west.
    FacingEastOrWest,
    /// Upright, towards the pole.
    FacingPole,
    /// At 45 degrees towards the equator.
    Tilted45Equator,
}

impl Exposure {
    /// Unit of the tally and of its mark.
    pub fn unit(&self) -> &'static str {
        match self {
            Exposure::Runoff => "mm runoff",
            Exposure::Leaves { .. } => "kg dry leaf per m2 of screen",
            Exposure::Sediment { .. } => "mm depth on the tank floor",
            Exposure::Ultraviolet { .. } => "MJ/m2 TUV 295-385 nm",
        }
    }

    /// Whether nothing can be expected of a day without knowing the rain.
    pub fn needs_rain(&self) -> bool {
        !matches!(self, Exposure::Ultraviolet { .. })
    }

    pub(crate) fn check(&self) -> Result<(), EngineError> {
        match *self {
            Exposure::Runoff => Ok(()),
            Exposure::Leaves { screen_area_m2 } => {
                let ok = screen_area_m2 > 0.0 && screen_area_m2.is_finite();
                require(ok, "screen_area_m2", screen_area_m2, "above 0")
            }
            Exposure::Sediment { flush_mm, floor_area_m2, .. } => {
                require((0.0..=1000.0).contains(&flush_mm), "flush_mm", flush_mm, "0 to 1000")?;
                let ok = floor_area_m2 > 0.0 && floor_area_m2.is_finite();
                require(ok, "floor_area_m2", floor_area_m2, "above 0")
            }
            Exposure::Ultraviolet { shade_share, .. } => {
                require((0.0..=1.0).contains(&shade_share), "shade_share", shade_share, "0 to 1")
            }
        }
    }
}
