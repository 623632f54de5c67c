//! The water seal of an overflow trap, which evaporates while the tank does not overflow.
//!
//! Question answered: how long after the last overflow or refill is the seal half gone, and when is it open to
//! insects and vermin? Depth falls by each month's evaporation per day; an overflow fills it again.
//!
//! Indoors 2.5 mm a week is the allowance of plumbing texts (from memory, and a trade page): 50 mm are dry after
//! twenty weeks. Outdoors it is faster, up to some ten times in dry heat (open water loses 2 to 8 mm a day, from
//! memory). The default here is three times the indoor figure at 20 degrees C, the middle of one and ten on a scale
//! of factors, and follows the saturation pressure of water vapour with the monthly mean temperature where that is
//! known (Tetens, as in FAO Irrigation and Drainage Paper 56: `0.6108 exp(17.27 T / (T + 237.3))` kPa). That default
//! is judgement throughout; the user's own twelve values are better.
//!
//! Known failures: rain blown into the pipe, draught, and a frozen seal, which loses next to nothing and may crack
//! its trap. Invariants: the seal stays within 0 and its depth; a deeper seal, a later overflow or less evaporation
//! never brings the dry day forward.

use crate::calendar::Day;
use crate::error::{EngineError, require};
use crate::heat::MonthlyClock;

/// Depth of a usual seal, mm; 50 to 75 in British practice, 51 to 102 in American.
pub const USUAL_DEPTH_MM: f64 = 50.0;

/// Evaporation indoors, mm per day: 2.5 mm a week.
pub const INDOOR_MM_PER_DAY: f64 = 2.5 / 7.0;

/// Overflow in litres from which a trap counts as full again. Judgement: what a trap of 100 mm bore holds.
pub const REFILL_L: f64 = 1.5;

/// How many times faster than indoors a seal outdoors loses water at 20 degrees C. Judgement.
const OUTDOORS: f64 = 3.0;

/// Evaporation by month as the user gives it, mm per day, January first, each 0 to 30.
pub fn evaporation(mm_per_day: [f64; 12]) -> Result<MonthlyClock, EngineError> {
    for mm in mm_per_day {
        require((0.0..=30.0).contains(&mm), "evaporation mm per day", mm, "0 to 30")?;
    }
    MonthlyClock::new("evaporation mm per day", mm_per_day)
}

/// Evaporation by month when the user gives none: from monthly mean temperatures in degrees C (January first, -60 to
/// 60), or as at 20 degrees C all year.
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

/// When a seal dries that was full at the end of a day. `None` stands for not within a century.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Drying {
    /// First day at whose end no more than half is left.
    pub half: Option<Day>,
    /// First day at whose end nothing is left.
    pub gone: Option<Day>,
}

/// The days on which a seal of `depth_mm` (above 0, up to 500), full at the end of `since`, is half and wholly gone.
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

/// A seal followed day by day along a record or a simulated path.
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

    /// Passes a day: an overflow of [`REFILL_L`] or more leaves the seal full, any other day takes its evaporation.
    ///
    /// `spill_l` and `evaporation_mm` 0 or more.
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

    /// Whether it is dry; the last 1e-9 mm are rounding.
    pub fn is_gone(&self) -> bool {
        self.held_mm <= 1e-9
    }
}
