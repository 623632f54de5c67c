//! Duties: what each kind of component wants done, with the longest time to leave it.

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
        /// Check the floating intake.
        CheckIntake "check_intake",
        /// Check the overflow trap.
        CheckTrap "check_trap",
        /// Check the mesh.
        CheckMesh "check_mesh",
        /// Work the valve.
        WorkValve "work_valve",
        /// Compare the level gauge.
        CompareGauge "compare_gauge",
        /// Check the pump.
        CheckPump "check_pump",
        /// Check the vessel.
        CheckVessel "check_vessel",
        /// Change the cartridge.
        ChangeCartridge "change_cartridge",
        /// Change the lamp.
        ChangeLamp "change_lamp",
        /// Drain for frost.
        DrainForFrost "drain_for_frost",
        /// Restart after frost.
        RestartAfterFrost "restart_after_frost",
    }
}

words! {
    /// What decided a due date.
    DecidedBy {
        /// The tally is predicted to reach the mark.
        Prediction "prediction",
        /// The longest time to leave it.
        Ceiling "ceiling",
        /// The first look after installation.
        FirstLook "first_look",
        /// A day of the year.
        Season "season",
        /// A maker's rating.
        Rating "rating",
        /// Nothing: no date can be given.
        Nothing "nothing",
    }
}

/// The longest time to leave a duty.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ceiling {
    /// Months since it was last done.
    pub months: u32,
    /// Where the figure comes from.
    pub source: &'static str,
}

/// The chance of being past the mark at which a predicted duty falls due.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tolerance {
    /// The chance, 0 to 1.
    pub chance: f64,
    /// Why it is this one.
    pub why: &'static str,
}

impl Duty {
    /// What is to be done, in words.
    pub const fn title(self) -> &'static str {
        match self {
            Self::ClearRoof => "clear leaves and moss off the roof",
            Self::ClearGutter => "clear the gutter and downpipes",
            Self::CleanScreen => "clean the debris screen",
            Self::DrainDiverter => "drain and rinse the first-flush diverter",
            Self::ClearWeepHole => "clear the diverter's hole and rinse its chamber",
            Self::ReplaceCoupling => "replace the coupling",
            Self::CheckBands => "check the coupling's bands and look over its rubber",
            Self::RemoveSediment => "remove the sediment from the tank floor, from outside",
            Self::MeasureSediment => "measure the depth of the sediment",
            Self::LookOverTank => "look over tank, lid and labels",
            Self::CheckIntake => "check the floating intake's float, hose and screen",
            Self::CheckTrap => "check the overflow trap's seal and end screen",
            Self::CheckMesh => "check the vent's mesh",
            Self::WorkValve => "work the valve through its full travel",
            Self::CompareGauge => "compare the level gauge with a dip",
            Self::CheckPump => "check the pump",
            Self::CheckVessel => "check the pressure vessel's charge",
            Self::ChangeCartridge => "change the filter cartridge",
            Self::ChangeLamp => "change the disinfection lamp",
            Self::DrainForFrost => "drain exposed pipework before frost",
            Self::RestartAfterFrost => "restart after frost",
        }
    }

    /// The longest time to leave it; none where only the tally or the season decides.
    pub const fn ceiling(self) -> Option<Ceiling> {
        let (months, source) = match self {
            Self::ClearRoof | Self::ClearGutter => (6, "enHealth 2010 s. 6"),
            Self::CleanScreen => (
                3,
                "judgement within the published 1 to 6 months (Puget Sound LID manual \
                                      4.9.7 monthly, enHealth 2010 s. 6 half-yearly)",
            ),
            Self::ClearWeepHole => (3, "judgement; published advice runs from after each storm to 6 months"),
            Self::CheckBands => (12, "common practice, no source"),
            Self::MeasureSediment => (12, "yearly measurement, Toronto and Region Conservation Authority"),
            Self::LookOverTank => (12, "Niagara Region on cisterns; enHealth 2010 has 6"),
            Self::CheckIntake => (12, "judgement, with the yearly look at the tank"),
            Self::CheckTrap => (12, "South African Water Research Commission manual"),
            Self::CheckMesh => (12, "City of Annapolis fact sheet, Niagara Region"),
            Self::WorkValve => (12, "Southwest Environmental Finance Center has 1 to 2 years"),
            Self::CompareGauge => (12, "BS 8515:2009 table 4 (from memory)"),
            Self::CheckPump | Self::CheckVessel => (12, "DIN 1989-1 as published by fbr"),
            Self::ChangeCartridge => (6, "Puget Sound LID manual 4.9.7"),
            Self::ChangeLamp => (12, "common practice, no source; the maker's hours come first"),
            Self::DrainDiverter
            | Self::ReplaceCoupling
            | Self::RemoveSediment
            | Self::DrainForFrost
            | Self::RestartAfterFrost => return None,
        };
        Some(Ceiling { months, source })
    }

    /// The chance of being past the mark at which it falls due, where its date is predicted from a mark: one half, and
    /// one fifth for duties that guard the water's quality or people. None where a season, a maker's rating or the
    /// ceiling alone decides. All of it is judgement.
    pub const fn tolerance(self) -> Option<Tolerance> {
        let (chance, why) = match self {
            Self::DrainDiverter | Self::ClearWeepHole | Self::RemoveSediment => {
                (0.2, "judgement: it guards the water's quality, so it comes rather too early than too late")
            }
            Self::CheckTrap => (
                0.2,
                "judgement: a dry trap lets insects and vermin at the water, so it comes rather too early than too \
                 late",
            ),
            Self::ClearRoof
            | Self::ClearGutter
            | Self::CleanScreen
            | Self::ReplaceCoupling
            | Self::ChangeCartridge => (0.5, "judgement: as often too early as too late"),
            _ => return None,
        };
        Some(Tolerance { chance, why })
    }

    /// Whether something builds up towards a mark that findings can teach, so that a cleaning can leave a part of it.
    pub const fn builds_up(self) -> bool {
        matches!(
            self,
            Self::CleanScreen
                | Self::ClearWeepHole
                | Self::RemoveSediment
                | Self::ClearGutter
                | Self::ClearRoof
        )
    }

    /// Whether what it sees to follows the water off the roof.
    pub const fn follows_runoff(self) -> bool {
        self.builds_up() || matches!(self, Self::DrainDiverter)
    }

    /// Whether it belongs to the routine care that "last served" stands for; work that is done once in years, or by the
    /// season, does not.
    pub const fn is_routine(self) -> bool {
        !matches!(
            self,
            Self::ReplaceCoupling | Self::RemoveSediment | Self::DrainForFrost | Self::RestartAfterFrost
        )
    }

    /// Whether it is done by putting a new part in the place of the old one.
    pub const fn is_replacement(self) -> bool {
        matches!(self, Self::ReplaceCoupling | Self::ChangeCartridge | Self::ChangeLamp)
    }

    /// Minutes of work on the spot for one component, without the way there: for putting tasks together into rounds. All
    /// of it is judgement, for a small system that is easy to reach.
    pub const fn minutes(self) -> u32 {
        match self {
            Self::RemoveSediment => 120,
            Self::ClearRoof => 60,
            Self::ClearGutter | Self::ReplaceCoupling => 45,
            Self::DrainForFrost | Self::RestartAfterFrost => 30,
            Self::ClearWeepHole | Self::CheckIntake | Self::CheckPump | Self::ChangeLamp => 20,
            Self::CleanScreen
            | Self::DrainDiverter
            | Self::LookOverTank
            | Self::MeasureSediment
            | Self::CheckVessel
            | Self::ChangeCartridge => 15,
            Self::CheckBands | Self::CheckTrap | Self::CheckMesh | Self::WorkValve | Self::CompareGauge => 10,
        }
    }

    /// What to bring.
    pub const fn bring(self) -> &'static [&'static str] {
        match self {
            Self::ClearRoof => &["roof brush on a long pole", "bucket"],
            Self::ClearGutter => &["ladder", "gutter scoop", "bucket", "gloves"],
            Self::CleanScreen => &["soft brush", "bucket", "gloves"],
            Self::DrainDiverter => &["bucket", "bottle brush", "gloves"],
            Self::ClearWeepHole => {
                &["wire of the hole's size", "bottle brush", "spare orifice or dripper", "gloves"]
            }
            Self::ReplaceCoupling => {
                &["coupling of the same size", "two stainless bands", "nut driver", "knife"]
            }
            Self::CheckBands => &["nut driver", "spare band"],
            Self::RemoveSediment => &[
                "wand and pump for sediment",
                "settling container",
                "torch",
                "gloves",
                "sign for the outlets",
            ],
            Self::MeasureSediment => &["clear tube or dip stick", "torch", "gloves"],
            Self::LookOverTank => &["torch", "spare lid lock", "spare labels"],
            Self::CheckIntake => &["hook on a line", "spare hose band", "soft brush"],
            Self::CheckTrap => &["two litres of water", "torch", "mesh of 1 mm or less", "spare band"],
            Self::CheckMesh => &["mesh of 1 mm or less", "spare band", "ladder"],
            Self::WorkValve => &["silicone grease for drinking-water parts", "valve key"],
            Self::CompareGauge => &["dip tape"],
            Self::CheckPump => &["pump log", "strainer seal"],
            Self::CheckVessel => &["pressure gauge", "hand pump"],
            Self::ChangeCartridge => {
                &["cartridge of the right size", "housing key", "housing seal", "bucket"]
            }
            Self::ChangeLamp => &["lamp of the right type", "sleeve seal", "clean gloves"],
            Self::DrainForFrost => &["hose", "valve key", "frost labels for the taps"],
            Self::RestartAfterFrost => &["valve key", "seal tape", "torch"],
        }
    }
}

/// The duties of a part.
pub fn of(part: &Part) -> &'static [Duty] {
    match part {
        Part::Roof { .. } => &[Duty::ClearRoof],
        Part::Gutter { .. } => &[Duty::ClearGutter],
        Part::DebrisScreen { .. } => &[Duty::CleanScreen],
        Part::FirstFlushDiverter { emptying: Emptying::Hand, .. } => &[Duty::DrainDiverter],
        Part::FirstFlushDiverter { .. } => &[Duty::ClearWeepHole],
        Part::Coupling { .. } => &[Duty::ReplaceCoupling, Duty::CheckBands],
        Part::Tank { .. } => &[Duty::RemoveSediment, Duty::MeasureSediment, Duty::LookOverTank],
        Part::FloatingIntake { .. } => &[Duty::CheckIntake],
        Part::OverflowTrap { .. } => &[Duty::CheckTrap],
        Part::Vent { .. } => &[Duty::CheckMesh],
        Part::Valve { .. } => &[Duty::WorkValve],
        Part::LevelGauge => &[Duty::CompareGauge],
        Part::Pump { .. } => &[Duty::CheckPump],
        Part::PressureVessel { .. } => &[Duty::CheckVessel],
        Part::CartridgeFilter { .. } => &[Duty::ChangeCartridge],
        Part::DisinfectionLamp { .. } => &[Duty::ChangeLamp],
        Part::ExposedPipework { .. } => &[Duty::DrainForFrost, Duty::RestartAfterFrost],
    }
}

/// What to bring for several duties, each thing once, in the order of the duties.
pub fn bring(duties: impl IntoIterator<Item = Duty>) -> Vec<&'static str> {
    let (mut things, mut seen) = (Vec::new(), BTreeSet::new());
    for duty in duties.into_iter().filter(|duty| seen.insert(*duty)) {
        for thing in duty.bring() {
            if !things.contains(thing) {
                things.push(*thing);
            }
        }
    }
    things
}
