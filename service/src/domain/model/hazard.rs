//! What to be careful of, one text for each hazard, in our own words.
//!
//! Each text ends where licensed work begins. No text and no duty asks a person to enter a tank.

use crate::domain::base::words::words;
use crate::domain::model::duty::Duty;
use crate::domain::model::part::Part;
use std::collections::BTreeSet;

words! {
    /// A way in which the work can hurt a person.
    Hazard {
        /// Falling.
        Fall "fall",
        /// Bad air.
        ConfinedSpace "confined_space",
        /// Drowning.
        Drowning "drowning",
        /// Electric shock.
        Electricity "electricity",
        /// Chlorine and other chemicals.
        Chemicals "chemicals",
        /// Contaminated sludge.
        ContaminatedSludge "contaminated_sludge",
        /// Mosquitoes breeding.
        Mosquitoes "mosquitoes",
        /// Rain water in the drinking-water pipes.
        CrossConnection "cross_connection",
        /// Freezing.
        Freezing "freezing",
        /// Pressure.
        Pressure "pressure",
        /// Breaking local rules unknowingly.
        LocalCodes "local_codes",
    }
}

impl Hazard {
    /// What to do about it.
    ///
    /// Sources: ladder slope (4 up, 1 out) and reach, UK Health and Safety Executive on ladders, from memory; tanks as
    /// confined spaces and would-be rescuers, enHealth 2010 s. 5.9 and NIOSH Alert 86-110; lids, enHealth s. 4.7; sludge, enHealth s. 4.5
    /// and 5.8; chlorine, enHealth s. 5.2; electrics and pressure, common practice, no source.
    pub const fn text(self) -> &'static str {
        match self {
            Self::Fall => {
                "Work from the ground with a long tool where you can. Set the ladder on firm ground, 1 m out for \
                 every 4 m up, and tie it. It must reach 1 m above the edge and never lean on a gutter. Stay \
                 off wet, brittle or unknown roof sheets. Have a second person with you."
            }
            Self::ConfinedSpace => {
                "A tank is a confined space: the air inside can kill without warning. Do all of this from \
                 outside and never enter. Never go in after another person: call for help. What cannot be \
                 done from outside is work for a licensed crew."
            }
            Self::Drowning => {
                "Keep children away while the lid is open, never leave it open, and lock it again."
            }
            Self::Electricity => {
                "Switch off, unplug or lock off, and check that there is no voltage before you touch it. \
                 Fixed wiring is for a licensed electrician."
            }
            Self::Chemicals => {
                "Wear gloves and eye protection, work in moving air, and never mix chlorine with acids, ammonia or \
                 another kind of chlorine. Follow the label."
            }
            Self::ContaminatedSludge => {
                "Sediment can hold lead and germs: wear gloves, wash afterwards, keep it off food beds and out of \
                 drains, and ask the local authority where it may go."
            }
            Self::Mosquitoes => {
                "Leave no standing water open and no gap wider than 1 mm in a screen. Put no oil or fuel into water \
                 that people use."
            }
            Self::CrossConnection => {
                "Rain water and the public supply must never share a pipe. Look for the air gap or tested device; \
                 changes there are for a licensed plumber."
            }
            Self::Freezing => {
                "Ice bursts pipes and makes ground and ladders slippery. Drain before it freezes, not after."
            }
            Self::Pressure => {
                "Let the pressure off and close the valves on both sides before you open anything."
            }
            Self::LocalCodes => "Local codes and licensed practice come first.",
        }
    }
}

/// The hazards of a duty on a part. The last one, on every duty, is that local codes may say otherwise.
pub fn hazards(part: &Part, duty: Duty) -> Vec<Hazard> {
    let powered = matches!(part, Part::Pump { mains_powered: true }).then_some(Hazard::Electricity);
    powered.into_iter().chain(duty.facts().hazards.iter().copied()).chain([Hazard::LocalCodes]).collect()
}

/// The hazards of several tasks, each once, with local codes last.
pub fn each_once<'a>(all: impl IntoIterator<Item = &'a Hazard>) -> Vec<Hazard> {
    let found: BTreeSet<Hazard> = all.into_iter().copied().collect();
    found.into_iter().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn work_on_an_open_tank_is_never_without_its_warning() {
        let tank = Part::tank(3000.0, 1.5, 100.0, true);
        for duty in [Duty::RemoveSediment, Duty::MeasureSediment, Duty::LookOverTank] {
            let found = hazards(&tank, duty);
            assert!(found.contains(&Hazard::ConfinedSpace) && found.contains(&Hazard::Drowning), "{duty:?}");
        }
        assert!(Hazard::ConfinedSpace.text().contains("never enter"));
    }

    #[test]
    fn a_ladder_stands_steep() {
        // Four up to one out; a slope of one in four would lie down.
        assert!(Hazard::Fall.text().contains("1 m out for every 4 m up"));
    }
}
