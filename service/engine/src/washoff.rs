//! Solids on a roof: they build up day by day, and runoff washes them off.
//!
//! Question answered: how much is on the roof, how much does a day's runoff wash off, and where does that end up?
//!
//! Each day first adds `(Bmax - B)(1 - e^-b)` to B, so n days leave `Bmax - (Bmax - B) e^(-b n)`. Its runoff of r mm
//! then washes off `B (1 - e^(-k r))`. B and Bmax are in g per m2 of roof, b is per day, k per mm. [`washed_share_at`]
//! is the general form of wash-off, with the rate `C1 q^C2 B` per hour at q mm/h.
//!
//! These are the exponential laws of EPA SWMM, which agrees within 0.1 % for one storm and 0.25 % over a year. That
//! program builds up only on days with less runoff than [`SWMM_DRY_BELOW_MM`]
//! ([`WashoffLaw::building_up_below`]). A roof here builds up on every day, because dust, pollen and droppings come
//! down on wet days as well. Without that, what is on a roof would jump at the threshold, and a roof under 3000 mm of
//! rain a year would carry 5 mg/L. A drizzle that only wets the roof has no runoff and washes nothing off.
//!
//! Defaults: k = ln 2 per mm, the halving rule (see [`crate::first_flush`]). Build-up that saturates within days to
//! weeks is Egodawatta, Thomas & Goonetilleke 2009, Science of the Total Environment 407:1834 (roofs). From memory
//! they found 0.43 g/m2 after a day, 0.72 after a week and 0.97 after three. [`MOST_G_M2`] is three fifths of the last,
//! because a storm moves only a part of what sticks to a roof. [`MOST_G_M2`] and [`BUILD_UP_PER_DAY`] are judgement:
//! they are set on generated rain of fourteen climates, so that temperate ones carry about the event mean of
//! [`crate::exposure::ROOF_SOLIDS_MG_L`] and all lie within 10 to 60 mg/L. They bring down 7 g/m2 a year in a desert
//! and 32 in a rainforest, 20 to 90 mg a day, and dust-fall in towns is 30 to 100 (from memory). The event mean itself is from memory, so the pair is no better than it is.
//!
//! Event means that follow: 22 to 39 mg/L in six temperate climates, 29 on average, 18 under a monsoon, 34 with dry
//! summers, 54 in a desert, 18 to 50 where it drizzles daily, 11 where 3500 mm fall. The spread is real in sign, if not
//! in size: nearly as much comes down where it rains little. Measured roofs differ by as much at one place.
//!
//! Known failures: Drought dust beyond Bmax, pollen and droppings in season, lichen, and storms that find nothing
//! left to wash off. A gauge's day may hold two storms.
//! Invariants: 0 <= B <= Bmax. What came down = left on the roof + diverted + trapped + passed through. More runoff on
//! any day never lowers the solids washed off since.

use crate::error::{EngineError, require};
use crate::first_flush::{WASH_OFF_PER_MM, washed_share};

/// Most solids on a roof that rain can move, g/m2. Judgement: three fifths of what was measured after three dry weeks.
pub const MOST_G_M2: f64 = 0.6;

/// Build-up rate, per day. Judgement: nine tenths of what is missing to the most come back in thirteen days.
pub const BUILD_UP_PER_DAY: f64 = 0.18;

/// Runoff of a day under which EPA SWMM 5 counts it as dry for build-up, mm: 0.001 in/h.
pub const SWMM_DRY_BELOW_MM: f64 = 0.6096;

/// Share of the solids that a steady flow of `intensity_mm_h` washes off in `hours`, by the rate `C1 q^C2 B` per
/// hour.
///
/// All arguments are 0 or more. With an exponent of 1 only the depth counts, and `coefficient` is the k per mm.
pub fn washed_share_at(coefficient: f64, exponent: f64, intensity_mm_h: f64, hours: f64) -> f64 {
    // The share washed off by a "depth" of q^C2 t.
    washed_share(coefficient, intensity_mm_h.powf(exponent) * hours)
}

/// How solids build up on one roof and wash off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WashoffLaw {
    most: f64,
    per_day: f64,
    wash_per_mm: f64,
    /// `1 - e^-b`, worked out once.
    gain: f64,
    /// A day with less runoff than this builds up, mm.
    below_mm: f64,
}

impl WashoffLaw {
    /// A law from three figures: most solids, build-up and wash-off. Every day builds up.
    ///
    /// `most` is above 0, in g/m2 or any other unit. `per_day` is 0 to 5, `wash_per_mm` 0 to 10.
    pub fn new(most: f64, per_day: f64, wash_per_mm: f64) -> Result<WashoffLaw, EngineError> {
        require(most > 0.0 && most.is_finite(), "most solids", most, "above 0")?;
        require((0.0..=5.0).contains(&per_day), "build-up per day", per_day, "0 to 5")?;
        require((0.0..=10.0).contains(&wash_per_mm), "wash-off per mm", wash_per_mm, "0 to 10")?;
        Ok(WashoffLaw { most, per_day, wash_per_mm, gain: -(-per_day).exp_m1(), below_mm: f64::INFINITY })
    }

    /// The law of a usual roof, in g/m2.
    pub fn roof() -> WashoffLaw {
        WashoffLaw {
            most: MOST_G_M2,
            per_day: BUILD_UP_PER_DAY,
            wash_per_mm: WASH_OFF_PER_MM,
            gain: -(-BUILD_UP_PER_DAY).exp_m1(),
            below_mm: f64::INFINITY,
        }
    }

    /// The same law, but only days with less runoff than `mm` build up. 0 or more.
    pub fn building_up_below(self, mm: f64) -> Result<WashoffLaw, EngineError> {
        require(mm >= 0.0, "runoff of a dry day mm", mm, "0 or more")?;
        Ok(WashoffLaw { below_mm: mm, ..self })
    }

    /// The most solids on the roof.
    pub fn most(&self) -> f64 {
        self.most
    }
}

/// The solids on a roof at the end of a day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BuildUp {
    law: WashoffLaw,
    held: f64,
}

impl BuildUp {
    /// A clean roof.
    pub fn clean(law: WashoffLaw) -> BuildUp {
        BuildUp { law, held: 0.0 }
    }

    /// A roof with solids on it, 0 to the most.
    pub fn holding(law: WashoffLaw, held: f64) -> Result<BuildUp, EngineError> {
        require((0.0..=law.most).contains(&held), "solids on the roof", held, "0 to the most")?;
        Ok(BuildUp { law, held })
    }

    /// Lets a day's solids come down and returns them.
    #[inline]
    pub fn lay(&mut self) -> f64 {
        let laid = (self.law.most - self.held) * self.law.gain;
        self.held += laid;
        laid
    }

    /// Lets the solids of several days come down at once and returns them. `days` 0 or more.
    pub fn lay_for(&mut self, days: f64) -> f64 {
        let laid = (self.law.most - self.held) * washed_share(self.law.per_day, days);
        self.held += laid;
        laid
    }

    /// Washes with `runoff_mm` (0 or more) and returns the solids washed off.
    #[inline]
    pub fn wash(&mut self, runoff_mm: f64) -> f64 {
        let washed = self.held * washed_share(self.law.wash_per_mm, runoff_mm);
        self.held -= washed;
        washed
    }

    /// The solids on the roof.
    pub fn held(&self) -> f64 {
        self.held
    }
}

/// Where the solids of a roof went, in the unit of its law.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Ledger {
    /// Came down on the roof.
    pub laid: f64,
    /// Left it with runoff.
    pub washed: f64,
    /// Kept back by the first-flush diverter.
    pub diverted: f64,
    /// Settled in the tank.
    pub trapped: f64,
    /// Went through the tank.
    pub passed: f64,
}

impl Ledger {
    /// Records one day of a roof and returns the solids that settled in the tank.
    ///
    /// What comes down that day is on the roof when its runoff washes. `diverted_share` is the share of the day's wash-off
    /// that the diverter keeps. `trap_efficiency` is the share of the rest that settles. Both are 0 to 1.
    #[inline]
    pub fn day(
        &mut self,
        roof: &mut BuildUp,
        runoff_mm: f64,
        diverted_share: f64,
        trap_efficiency: f64,
    ) -> f64 {
        if !(runoff_mm >= roof.law.below_mm) {
            self.laid += roof.lay();
        }
        if !(runoff_mm > 0.0) {
            return 0.0;
        }
        let washed = roof.wash(runoff_mm);
        let diverted = washed * diverted_share;
        let past = washed - diverted;
        let trapped = past * trap_efficiency;
        self.washed += washed;
        self.diverted += diverted;
        self.trapped += trapped;
        self.passed += past - trapped;
        trapped
    }

    /// What is missing from the balance of a roof that began with `at_first` and holds `left`: 0 except for rounding.
    pub fn imbalance(&self, at_first: f64, left: f64) -> f64 {
        at_first + self.laid - left - self.diverted - self.trapped - self.passed
    }
}
