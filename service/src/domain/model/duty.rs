//! Duties: the care that each kind of component needs, with the longest interval between two times.

use crate::domain::base::words::words;
use crate::domain::model::part::{Emptying, Part};
use std::collections::BTreeSet;

words! {
    /// Something that has to be done to a component from time to time.
    Duty {
        /// Clear the roof.
        ClearRoof "clear_roof",
        /// Clear the gutter.
        ClearGutter "clear_gutter",
        /// Clean the screen.
        CleanScreen "clean_screen",
        /// Drain and rinse the diverter.
        DrainDiverter "drain_diverter",
        /// Clear the hole, rinse the chamber.
        ClearWeepHole "clear_weep_hole",
        /// Replace the coupling.
        ReplaceCoupling "replace_coupling",
        /// Check the bands.
        CheckBands "check_bands",
        /// Remove the sediment.
        RemoveSediment "remove_sediment",
        /// Measure the sediment.
        MeasureSediment "measure_sediment",
        /// Look over tank, lid and labels.
        LookOverTank "look_over_tank",
        /// Check the float, hose and screen of the intake.
        CheckIntake "check_intake",
        /// Check the overflow trap.
        CheckTrap "check_trap",
        /// Check the mesh.
        CheckMesh "check_mesh",
        /// Exercise the valve.
        WorkValve "work_valve",
        /// Compare the level gauge.
        CompareLevelGauge "compare_gauge",
        /// Check the pump.
        CheckPump "check_pump",
        /// Check the vessel.
        CheckVessel "check_vessel",
        /// Change the cartridge.
        ChangeCartridge "change_cartridge",
        /// Change the lamp.
        ChangeLamp "change_lamp",
        /// Drain before frost.
        DrainForFrost "drain_for_frost",
        /// Restart after frost.
        RestartAfterFrost "restart_after_frost",
    }
}

words! {
    /// What decided a due date.
    DecidedBy {
        /// The accumulated figure is predicted to reach the limit.
        Prediction "prediction",
        /// The longest interval.
        LongestInterval "ceiling",
        /// The first inspection after installation.
        FirstLook "first_look",
        /// A day of the year.
        Season "season",
        /// A maker's rating.
        Rating "rating",
        /// Nothing: no date can be given.
        Nothing "nothing",
    }
}

impl Duty {
    /// The word that readers get. The stored word of one duty is an older one.
    pub const fn word(self) -> &'static str {
        match self {
            Self::CompareLevelGauge => "compare_level_gauge",
            other => other.code(),
        }
    }

    /// The duty of a word that readers get.
    pub fn of_word(word: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|duty| duty.word() == word)
    }
}

impl DecidedBy {
    /// The word that readers get. The stored word is an older one.
    pub const fn word(self) -> &'static str {
        match self {
            Self::LongestInterval => "longest_interval",
            other => other.code(),
        }
    }
}

/// The longest interval between two times of a duty.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ceiling {
    /// Months since it was last done.
    pub months: u32,
    /// Where the figure comes from.
    pub source: &'static str,
}

/// The chance of being past the limit at which a predicted duty falls due.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tolerance {
    /// The chance, 0 to 1.
    pub chance: f64,
    /// Why the chance has this value.
    pub why: &'static str,
}

/// The season that makes a duty due.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Season {
    /// Before frost comes.
    BeforeFrost,
    /// When the frost has gone.
    AfterFrost,
}

/// What decides when a duty falls due, apart from its longest interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Decides {
    /// The accumulated figure is predicted to reach a limit with this chance. All of these chances are judgement:
    /// one half, and one fifth for duties that protect water quality or people.
    Prediction(Tolerance),
    /// The longest interval alone.
    Ceiling,
    /// A day of the year.
    Season(Season),
    /// The maker's rating if it is known, and the longest interval.
    RatingOrCeiling,
}

/// The duties of a part.
pub fn of(part: &Part) -> &'static [Duty] {
    match part {
        Part::Roof { .. } => &[Duty::ClearRoof],
        Part::Gutter { .. } => &[Duty::ClearGutter],
        Part::DebrisScreen { .. } => &[Duty::CleanScreen],
        Part::FirstFlushDiverter { emptying: Emptying::Hand, .. } => &[Duty::DrainDiverter],
        Part::FirstFlushDiverter { emptying: Emptying::WeepHole { .. } | Emptying::Drip { .. }, .. } => {
            &[Duty::ClearWeepHole]
        }
        Part::Coupling { .. } => &[Duty::ReplaceCoupling, Duty::CheckBands],
        Part::Tank { .. } => &[Duty::RemoveSediment, Duty::MeasureSediment, Duty::LookOverTank],
        Part::FloatingIntake { .. } => &[Duty::CheckIntake],
        Part::OverflowTrap { .. } => &[Duty::CheckTrap],
        Part::Vent { .. } => &[Duty::CheckMesh],
        Part::Valve { .. } => &[Duty::WorkValve],
        Part::LevelGauge => &[Duty::CompareLevelGauge],
        Part::Pump { .. } => &[Duty::CheckPump],
        Part::PressureVessel { .. } => &[Duty::CheckVessel],
        Part::CartridgeFilter { .. } => &[Duty::ChangeCartridge],
        Part::DisinfectionLamp { .. } => &[Duty::ChangeLamp],
        Part::ExposedPipework { .. } => &[Duty::DrainForFrost, Duty::RestartAfterFrost],
    }
}

/// What to bring for several duties. Each item is listed once, in the order of the duties.
pub fn bring(duties: impl IntoIterator<Item = Duty>) -> Vec<&'static str> {
    let (mut things, mut seen) = (Vec::new(), BTreeSet::new());
    for duty in duties.into_iter().filter(|duty| seen.insert(*duty)) {
        for thing in duty.facts().bring {
            if !things.contains(thing) {
                things.push(*thing);
            }
        }
    }
    things
}
