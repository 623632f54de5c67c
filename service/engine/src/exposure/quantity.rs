//! The quantities that an accumulated amount can count.

use crate::error::{EngineError, require};

use super::chamber::Chamber;

/// The quantity that an accumulated amount counts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Exposure<'a> {
    /// Runoff in mm over the plan area, after wetting store and coefficient.
    Runoff,
    /// Events that fill a first-flush chamber completely.
    Fills {
        /// The chamber.
        chamber: Chamber<'a>,
    },
    /// Solids that stay in a first-flush chamber, in g.
    Grit {
        /// The chamber.
        chamber: Chamber<'a>,
    },
    /// Dry leaf in kg per m2 of screen. It reaches the screen on days with runoff.
    Leaves {
        /// Area of the screen in m2, above 0.
        screen_area_m2: f64,
    },
    /// Dry leaf in kg per m of gutter. It reaches the gutter on days with runoff.
    GutterLeaves {
        /// Length of the gutter in m, above 0.
        length_m: f64,
        /// Whether a guard covers it.
        guarded: bool,
    },
    /// Dry leaf in kg that falls on a m2 of roof.
    RoofLeaves,
    /// Sediment in mm of depth on the tank floor.
    Sediment {
        /// The first-flush chamber ahead of the tank, if there is one.
        chamber: Option<Chamber<'a>>,
        /// Area of the tank floor in m2, above 0.
        floor_area_m2: f64,
        /// Whether the inlet is turned up and calmed.
        calmed_inlet: bool,
    },
    /// Ultraviolet dose in MJ/m2, 295 to 385 nm.
    Ultraviolet {
        /// Which way the surface faces.
        orientation: Orientation,
        /// Share of the dose kept off by eaves, walls or paint, from 0 (full sun) to 1.
        ///
        /// Part shade is about 0.5, under eaves or on the pole side 0.75, painted or covered 0.95. Judgement, with a
        /// wide error, because scattered light reaches behind a shade.
        shade_share: f64,
        /// How much more a warm part suffers from light: factor by month, January first, 1 at 25 degrees C. `None`
        /// counts as 1.
        warmth: Option<[f64; 12]>,
    },
    /// What comes every day in any weather: litres pumped, days of ageing at 25 degrees C.
    Steady {
        /// Amount of a day by month, January first, 0 or more.
        daily: [f64; 12],
        /// Log-sd of a month's amount, 0 to 3.
        sigma_month: f64,
        /// Log-sd of a year's amount, 0 to 3.
        sigma_year: f64,
        /// Unit.
        unit: &'static str,
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

impl Exposure<'_> {
    /// Unit of the accumulated amount and of its limit.
    pub fn unit(&self) -> &'static str {
        match self {
            Exposure::Runoff => "mm runoff",
            Exposure::Fills { .. } => "fills of the chamber",
            Exposure::Grit { .. } => "g of solids in the chamber",
            Exposure::Leaves { .. } => "kg dry leaf per m2 of screen",
            Exposure::GutterLeaves { .. } => "kg dry leaf per m of gutter",
            Exposure::RoofLeaves => "kg dry leaf per m2 of roof",
            Exposure::Sediment { .. } => "mm depth on the tank floor",
            Exposure::Ultraviolet { .. } => "MJ/m2 TUV 295-385 nm",
            Exposure::Steady { unit, .. } => unit,
        }
    }

    /// Whether rain must be known before anything can be expected of a day.
    pub fn needs_rain(&self) -> bool {
        !matches!(self, Exposure::Ultraviolet { .. } | Exposure::Steady { .. } | Exposure::RoofLeaves)
    }

    /// Whether readings of rain affect it.
    pub(crate) fn reads_rain(&self) -> bool {
        !matches!(self, Exposure::Steady { .. } | Exposure::RoofLeaves)
    }

    pub(crate) fn check(&self) -> Result<(), EngineError> {
        let size = |value: f64, name| require(value > 0.0 && value.is_finite(), name, value, "above 0");
        match self {
            Exposure::Runoff | Exposure::RoofLeaves => Ok(()),
            Exposure::Fills { chamber } | Exposure::Grit { chamber } => chamber.check(),
            Exposure::Leaves { screen_area_m2 } => size(*screen_area_m2, "screen_area_m2"),
            Exposure::GutterLeaves { length_m, .. } => size(*length_m, "length_m"),
            Exposure::Sediment { chamber, floor_area_m2, .. } => {
                chamber.map_or(Ok(()), |chamber| chamber.check())?;
                size(*floor_area_m2, "floor_area_m2")
            }
            Exposure::Ultraviolet { shade_share, warmth, .. } => {
                require((0.0..=1.0).contains(shade_share), "shade_share", *shade_share, "0 to 1")?;
                each(warmth.as_ref().unwrap_or(&[1.0; 12]), "warmth")
            }
            Exposure::Steady { daily, sigma_month, sigma_year, .. } => {
                each(daily, "daily")?;
                require((0.0..=3.0).contains(sigma_month), "sigma_month", *sigma_month, "0 to 3")?;
                require((0.0..=3.0).contains(sigma_year), "sigma_year", *sigma_year, "0 to 3")
            }
        }
    }
}

fn each(values: &[f64; 12], name: &'static str) -> Result<(), EngineError> {
    values.iter().try_for_each(|x| require(*x >= 0.0 && x.is_finite(), name, *x, "0 or more"))
}
