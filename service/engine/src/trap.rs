//! The water seal of an overflow trap, which evaporates while the tank does not overflow.
//!
//! Question answered: how long after the last overflow or refill is the seal half gone, and when is it open to
//! insects and vermin? The depth falls by the month's evaporation each day. An overflow fills the seal again.
//!
//! Indoors the allowance of plumbing texts is 2.5 mm a week (from memory, and a trade page), so 50 mm are dry
//! after twenty weeks. Outdoors evaporation is up to some ten times faster in dry heat: open water loses 2 to 8 mm
//! a day (from memory). The default at 20 degrees C is three times the indoor figure, the geometric middle of one
//! and ten. At other monthly mean temperatures, where they are known, it follows the saturation pressure of water
//! vapour: `0.6108 exp(17.27 T / (T + 237.3))` kPa (Tetens, as in FAO Irrigation and Drainage Paper 56). That
//! default is judgement throughout. The user's own twelve values are better.
//!
//! Known failures: Rain blown into the pipe, draught, and a frozen seal, which loses next to nothing and may crack
//! its trap.
//! Invariants: The seal stays between 0 and its depth. A deeper seal, a later overflow or less evaporation never
//! brings the dry day forward.

use crate::calendar::Day;
use crate::error::{EngineError, require};
use crate::heat::MonthlyClock;

/// Depth of a usual seal, mm; 50 to 75 in British practice, 51 to 102 in American.
pub const USUAL_DEPTH_MM: f64 = 50.0;

/// Evaporation indoors, mm per day: 2.5 mm a week.
pub const INDOOR_MM_PER_DAY: f64 = 2.5 / 7.0;

/// Overflow in litres from which a trap counts as full again. Judgement: the content of a trap of 100 mm bore.
pub const REFILL_L: f64 = 1.5;

/// How many times faster a seal loses water outdoors than indoors, at 20 degrees C. Judgement.
const OUTDOORS: f64 = 3.0;

/// Evaporation by month from the user's figures, mm per day, January first, each 0 to 30.
pub fn evaporation(mm_per_day: [f64; 12]) -> Result<MonthlyClock, EngineError> {
    for mm in mm_per_day {
        require((0.0..=30.0).contains(&mm), "evaporation mm per day", mm, "0 to 30")?;
    }
    MonthlyClock::new("evaporation mm per day", mm_per_day)
}

/// Evaporation by month when the user gives none. It follows monthly mean temperatures in degrees C (January
/// first, -60 to 60). Without them it is that of 20 degrees C all year.
pub fn usual_evaporation(mean_c: Option<&[f64; 12]>) -> Result<MonthlyClock, EngineError> {
    let mean_c = mean_c.copied().unwrap_or([20.0; 12]);
    for mean in mean_c {
        require((-60.0..=60.0).contains(&mean), "mean temperature in C", mean, "-60 to 60")?;
    }
    let at_20 = saturation_kpa(20.0);
    evaporation(mean_c.map(|mean| OUTDOORS * INDOOR_MM_PER_DAY * saturation_kpa(mean) / at_20))
}

/// Saturation pressure of water vapour, kPa, at a temperature in degrees C.
fn saturation_kpa(temperature_c: f64) -> f64 {
    0.6108 * (17.27 * temperature_c / (temperature_c + 237.3)).exp()
}

/// When a seal that was full at the end of a day dries out. `None` means not within 100 years.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Drying {
    /// First day at whose end at most half is left.
    pub half: Option<Day>,
    /// First day at whose end nothing is left.
    pub gone: Option<Day>,
}

/// The days on which a seal of `depth_mm` (above 0, up to 500), full at the end of `since`, is half gone and gone.
pub fn drying(evaporation: &MonthlyClock, depth_mm: f64, since: Day) -> Result<Drying, EngineError> {
    check_depth(depth_mm)?;
    Ok(Drying {
        half: evaporation.reached(since, depth_mm / 2.0),
        gone: evaporation.reached(since, depth_mm),
    })
}

fn check_depth(depth_mm: f64) -> Result<(), EngineError> {
    require(depth_mm > 0.0 && depth_mm <= 500.0, "depth_mm", depth_mm, "above 0, up to 500")
}

/// A seal followed day by day, along a record or generated rain.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seal {
    depth_mm: f64,
    held_mm: f64,
}

impl Seal {
    /// A full seal of a depth above 0, up to 500 mm.
    pub fn full(depth_mm: f64) -> Result<Seal, EngineError> {
        check_depth(depth_mm)?;
        Ok(Seal { depth_mm, held_mm: depth_mm })
    }

    /// Passes a day. An overflow of [`REFILL_L`] or more leaves the seal full; any other day takes its
    /// evaporation.
    ///
    /// `spill_l` and `evaporation_mm` are 0 or more.
    #[inline]
    pub fn day(&mut self, spill_l: f64, evaporation_mm: f64) {
        let dried = (self.held_mm - evaporation_mm).max(0.0);
        self.held_mm = if spill_l >= REFILL_L { self.depth_mm } else { dried };
    }

    /// Fills it by hand.
    pub fn refill(&mut self) {
        self.held_mm = self.depth_mm;
    }

    /// Depth of water left, mm.
    pub fn held_mm(&self) -> f64 {
        self.held_mm
    }

    /// Whether the seal is dry. The last 1e-9 mm are rounding.
    pub fn is_gone(&self) -> bool {
        self.held_mm <= 1e-9
    }
}
