//! What accumulates for one duty: the exposure, the prior of its limit, and the unit.

use crate::domain::base::error::Result;
use crate::domain::model::measure::Measure;
use crate::domain::model::part::{Clock, Emptying, Part};
use crate::domain::rules::forecast::chamber::{DiverterChamber, MOST_FLUSH_MM};
use eavesward_engine as engine;
use engine::learning::DRIFT_PER_YEAR;
use engine::{Chamber, Exposure, Prior, limit};

/// What accumulates for a duty.
pub struct Rule<'a> {
    /// What the part is exposed to.
    pub exposure: Exposure<'a>,
    /// The limit before any finding.
    pub prior: Prior,
    /// What it counts, and the unit that people read.
    pub unit: Measure,
    /// How much the variance of the logarithm of its rate grows in a year.
    pub drift_per_year: f64,
    /// Whether it counts light or heat, for a coupling.
    pub clock: Option<Clock>,
}

impl<'a> Rule<'a> {
    /// A rule whose rate changes as trees grow and roofs age.
    pub fn filling(exposure: Exposure<'a>, prior: Prior, unit: Measure) -> Self {
        Self { exposure, prior, unit, drift_per_year: DRIFT_PER_YEAR, clock: None }
    }

    /// A rule whose rate stays the same.
    pub fn steady(exposure: Exposure<'a>, prior: Prior, unit: Measure) -> Self {
        Self { drift_per_year: 0.0, ..Self::filling(exposure, prior, unit) }
    }
}

/// What clogs a diverter that empties itself; absent for one that is emptied by hand.
pub fn clogging<'a>(
    part: &Part,
    chamber: &'a DiverterChamber,
    plan_area_m2: f64,
) -> Result<Option<Rule<'a>>> {
    let Part::FirstFlushDiverter { chamber_volume_l, emptying } = part else { return Ok(None) };
    Ok(match emptying {
        // Grit counts as if the whole chamber were empty before each rain. A fine hole that empties it slowly would
        // collect a little less, but a finer hole must never seem to last longer.
        Emptying::WeepHole { hole_mm, head_m } => {
            let volume_mm = (chamber_volume_l / plan_area_m2).min(MOST_FLUSH_MM);
            Some(Rule::filling(
                Exposure::Grit { chamber: Chamber::emptied(volume_mm) },
                limit::weep_hole_chamber(chamber_volume_l / 1000.0 / head_m, *hole_mm)?,
                Measure::Grit,
            ))
        }
        Emptying::Drip { .. } => Some(Rule::filling(
            Exposure::Fills { chamber: chamber.engine() },
            limit::drip_chamber(),
            Measure::Fills,
        )),
        Emptying::Hand => None,
    })
}
