//! What accumulates for one duty: the exposure, the prior of its limit, and the unit.

use crate::domain::model::part::{Clock, Emptying, Part};
use crate::domain::rules::forecast::chamber::DiverterChamber;
use eavesward_engine as engine;
use engine::learning::DRIFT_PER_YEAR;
use engine::{Exposure, Prior, limit};

/// What accumulates for a duty.
pub struct Rule<'a> {
    /// What the part is exposed to.
    pub exposure: Exposure<'a>,
    /// The limit before any finding.
    pub prior: Prior,
    /// The unit that people read.
    pub unit: &'static str,
    /// How much the variance of the logarithm of its rate grows in a year.
    pub drift_per_year: f64,
    /// Whether it counts light or heat, for a coupling.
    pub clock: Option<Clock>,
}

impl<'a> Rule<'a> {
    /// A rule whose rate changes as trees grow and roofs age.
    pub fn filling(exposure: Exposure<'a>, prior: Prior, unit: &'static str) -> Self {
        Self { exposure, prior, unit, drift_per_year: DRIFT_PER_YEAR, clock: None }
    }

    /// A rule whose rate stays the same.
    pub fn steady(exposure: Exposure<'a>, prior: Prior, unit: &'static str) -> Self {
        Self { drift_per_year: 0.0, ..Self::filling(exposure, prior, unit) }
    }
}

/// What clogs a diverter that empties itself; absent for one that is emptied by hand.
pub fn clogging<'a>(part: &Part, chamber: &'a DiverterChamber) -> Option<Rule<'a>> {
    let Part::FirstFlushDiverter { emptying, .. } = part else { return None };
    match emptying {
        Emptying::WeepHole { .. } => Some(Rule::filling(
            Exposure::Grit { chamber: chamber.engine() },
            limit::weep_hole_chamber(),
            "g of solids in the chamber per m2 of roof",
        )),
        Emptying::Drip { .. } => Some(Rule::filling(
            Exposure::Fills { chamber: chamber.engine() },
            limit::drip_chamber(),
            "fills of the chamber",
        )),
        Emptying::Hand => None,
    }
}
