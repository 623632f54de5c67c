//! What one duty counts: its exposure, the prior of its limit, and the unit.

use crate::domain::model::part::{Clock, Emptying, Part};
use crate::domain::rules::forecast::chamber::DiverterChamber;
use eavesward_engine as engine;
use engine::learning::DRIFT_PER_YEAR;
use engine::{Exposure, Prior, limit};

/// What a duty's accumulated amount counts.
pub struct Rule<'a> {
    /// The exposure.
    pub exposure: Exposure<'a>,
    /// Where it wants care.
    pub prior: Prior,
    /// The unit, for people.
    pub unit: &'static str,
    /// Variance that the logarithm of its rate gains in a year.
    pub drift_per_year: f64,
    /// Which of a coupling's two clocks it is.
    pub clock: Option<Clock>,
}

impl<'a> Rule<'a> {
    /// What changes its rate as trees grow and roofs age.
    pub fn filling(exposure: Exposure<'a>, prior: Prior, unit: &'static str) -> Self {
        Self { exposure, prior, unit, drift_per_year: DRIFT_PER_YEAR, clock: None }
    }

    /// What does not change its rate as trees grow and roofs age.
    pub fn steady(exposure: Exposure<'a>, prior: Prior, unit: &'static str) -> Self {
        Self { drift_per_year: 0.0, ..Self::filling(exposure, prior, unit) }
    }
}

/// What clogs a diverter that empties itself.
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
