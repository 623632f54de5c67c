//! The place of a system and the roof that feeds it.
//!
//! Question answered: what sun, what season, how much roof, and what grows over it?
//!
//! Nothing is computed here. The units rest on one relation: `litres = mm of runoff x plan_area_m2`. Areas are
//! horizontal, as in all manuals, because rain falls on the plan. Each field states its range. The losses of a roof
//! are inputs without a default; the figures beside the fields help to choose them. The classes of canopy are
//! judgement in line with published seasons of leaf fall ([`crate::exposure`]).
//! Known failures: One roof stands for all roofs of a system. A coefficient hides wind and slope. Trees grow.
//! Invariant: values outside the ranges, and NaN, are refused before they are used.

use crate::error::{EngineError, require};

/// A place: what sun and season depend on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Site {
    /// Latitude in degrees, north positive, -90 to 90. Its sign decides the season of leaf fall.
    pub latitude_deg: f64,
    /// Height above sea level in m, -500 to 9000. Ultraviolet dose grows 8 % per 1000 m.
    pub elevation_m: f64,
}

/// One roof draining to one system.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Roof {
    /// Horizontal plan area in m2 including the overhang, above 0. Never the sloping area.
    pub plan_area_m2: f64,
    /// Share of the rain beyond the wetting loss that reaches the downpipe, above 0 and up to 1.
    ///
    /// Sloping smooth roofs exceed 0.90 (Farreny et al. 2011, Water Research 45:3245). Well built corrugated iron has
    /// 0.80 to 0.85 in the long run.
    pub coefficient: f64,
    /// Rain in mm that wets the surface before anything runs off, 0 to 20.
    ///
    /// About 0.5 mm for smooth metal and up to 1 mm for tile (from memory). The Urban Drainage and Flood Control
    /// District criteria, Table 2-1 (1984), give 1.27 mm for sloped and 2.54 mm for flat roofs.
    pub wetting_loss_mm: f64,
    /// What grows over the roof.
    pub canopy: Canopy,
    /// Share of the plan area under that canopy, 0 to 1.
    pub canopy_share: f64,
}

/// Class of the trees over a roof, by the season of their leaf fall.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Canopy {
    /// No tree: only leaves that the wind brings.
    None,
    /// Drops in autumn.
    Deciduous,
    /// Drops a little all year, most in autumn.
    Conifer,
    /// Drops all year, most in summer (eucalypt and other evergreen broadleaf).
    EvergreenBroadleaf,
}

impl Site {
    pub(crate) fn check(&self) -> Result<(), EngineError> {
        require(self.latitude_deg.abs() <= 90.0, "latitude_deg", self.latitude_deg, "-90 to 90")?;
        require(
            (-500.0..=9000.0).contains(&self.elevation_m),
            "elevation_m",
            self.elevation_m,
            "-500 to 9000",
        )
    }
}

impl Roof {
    /// A roof without wetting loss and without trees. To set other fields, write them before `..Roof::new(..)`.
    pub const fn new(plan_area_m2: f64, coefficient: f64) -> Self {
        Self { plan_area_m2, coefficient, wetting_loss_mm: 0.0, canopy: Canopy::None, canopy_share: 0.0 }
    }

    pub(crate) fn check(&self) -> Result<(), EngineError> {
        let area_ok = self.plan_area_m2 > 0.0 && self.plan_area_m2 <= 1.0e6;
        require(area_ok, "plan_area_m2", self.plan_area_m2, "above 0, up to 1000000")?;
        let share_ok = self.coefficient > 0.0 && self.coefficient <= 1.0;
        require(share_ok, "coefficient", self.coefficient, "above 0, up to 1")?;
        require(
            (0.0..=20.0).contains(&self.wetting_loss_mm),
            "wetting_loss_mm",
            self.wetting_loss_mm,
            "0 to 20",
        )?;
        require((0.0..=1.0).contains(&self.canopy_share), "canopy_share", self.canopy_share, "0 to 1")
    }
}
