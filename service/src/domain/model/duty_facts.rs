//! The facts of each duty, one row for each. A new duty must fill in every field.

use crate::domain::model::duty::{Ceiling, Decides, Duty, Season, Tolerance};
use crate::domain::model::hazard::Hazard;

/// What is known of a duty.
#[derive(Clone, Copy, Debug, PartialEq)]
#[expect(clippy::struct_excessive_bools, reason = "each is a separate fact, which a row names")]
pub struct DutyFacts {
    /// What has to be done, in words.
    pub title: &'static str,
    /// The longest interval; none where only the accumulated figure or the season decides.
    pub ceiling: Option<Ceiling>,
    /// What decides its date.
    pub decides: Decides,
    /// Minutes of work on one component, without the way there. They are used to combine tasks into rounds. All of
    /// them are judgement, for a small system that is easy to reach.
    pub minutes: u32,
    /// What to bring.
    pub bring: &'static [&'static str],
    /// What to be careful of, apart from local codes.
    pub hazards: &'static [Hazard],
    /// Whether something builds up towards a limit that findings can correct. Only then can a cleaning leave a part
    /// of it.
    pub builds_up: bool,
    /// Whether the accumulated figure follows the runoff from the roof.
    pub follows_runoff: bool,
    /// Whether it is part of the routine care that "last served" means. Work that is done once in years, or by the
    /// season, is not.
    pub is_routine: bool,
    /// Whether the part is replaced by a new one.
    pub is_replacement: bool,
    /// Whether a finding can be a depth in mm.
    pub measures_depth: bool,
}

/// For duties where a day late costs about as much as a day early.
const AS_OFTEN: Tolerance = Tolerance { chance: 0.5, why: "judgement: as often too early as too late" };
/// For duties that protect water quality.
const GUARDS_WATER: Tolerance = Tolerance {
    chance: 0.2,
    why: "judgement: it protects water quality, so too early is better than too late",
};
/// For the water seal that keeps insects and vermin out.
const KEEPS_INSECTS_OUT: Tolerance = Tolerance {
    chance: 0.2,
    why: "judgement: a dry trap lets insects and vermin in, so too early is better than too late",
};

/// A longest interval in months, with its source.
const fn every(months: u32, source: &'static str) -> Ceiling {
    Ceiling { months, source }
}

/// The facts of a duty.
#[expect(clippy::too_many_lines, reason = "it is a table with one row for each duty")]
const fn facts(duty: Duty) -> DutyFacts {
    match duty {
        Duty::ClearRoof => DutyFacts {
            title: "clear leaves and moss off the roof",
            ceiling: Some(every(6, "enHealth 2010 s. 6")),
            decides: Decides::Prediction(AS_OFTEN),
            minutes: 60,
            bring: &["roof brush on a long pole", "bucket"],
            hazards: &[Hazard::Fall],
            builds_up: true,
            follows_runoff: true,
            is_routine: true,
            is_replacement: false,
            measures_depth: false,
        },
        Duty::ClearGutter => DutyFacts {
            title: "clear the gutter and downpipes",
            ceiling: Some(every(6, "enHealth 2010 s. 6")),
            decides: Decides::Prediction(AS_OFTEN),
            minutes: 45,
            bring: &["ladder", "gutter scoop", "bucket", "gloves"],
            hazards: &[Hazard::Fall],
            builds_up: true,
            follows_runoff: true,
            is_routine: true,
            is_replacement: false,
            measures_depth: false,
        },
        Duty::CleanScreen => DutyFacts {
            title: "clean the debris screen",
            ceiling: Some(every(
                3,
                "judgement within the published 1 to 6 months (Puget Sound LID manual \
                                      4.9.7 monthly, enHealth 2010 s. 6 half-yearly)",
            )),
            decides: Decides::Prediction(AS_OFTEN),
            minutes: 15,
            bring: &["soft brush", "bucket", "gloves"],
            hazards: &[Hazard::Fall],
            builds_up: true,
            follows_runoff: true,
            is_routine: true,
            is_replacement: false,
            measures_depth: false,
        },
        Duty::DrainDiverter => DutyFacts {
            title: "drain and rinse the first-flush diverter",
            ceiling: None,
            decides: Decides::Prediction(GUARDS_WATER),
            minutes: 15,
            bring: &["bucket", "bottle brush", "gloves"],
            hazards: &[Hazard::ContaminatedSludge, Hazard::Mosquitoes],
            builds_up: false,
            follows_runoff: true,
            is_routine: true,
            is_replacement: false,
            measures_depth: false,
        },
        Duty::ClearWeepHole => DutyFacts {
            title: "clear the diverter's hole and rinse its chamber",
            ceiling: Some(every(3, "judgement; published advice runs from after each storm to 6 months")),
            decides: Decides::Prediction(GUARDS_WATER),
            minutes: 20,
            bring: &["wire of the hole's size", "bottle brush", "spare orifice or dripper", "gloves"],
            hazards: &[Hazard::ContaminatedSludge, Hazard::Mosquitoes],
            builds_up: true,
            follows_runoff: true,
            is_routine: true,
            is_replacement: false,
            measures_depth: false,
        },
        Duty::ReplaceCoupling => DutyFacts {
            title: "replace the coupling",
            ceiling: None,
            decides: Decides::Prediction(AS_OFTEN),
            minutes: 45,
            bring: &["coupling of the same size", "two stainless bands", "nut driver", "knife"],
            hazards: &[Hazard::Fall, Hazard::Pressure],
            builds_up: false,
            follows_runoff: false,
            is_routine: false,
            is_replacement: true,
            measures_depth: false,
        },
        Duty::CheckBands => DutyFacts {
            title: "check the coupling's bands and inspect its rubber",
            ceiling: Some(every(12, "common practice, no source")),
            decides: Decides::Ceiling,
            minutes: 10,
            bring: &["nut driver", "spare band"],
            hazards: &[Hazard::Fall, Hazard::Pressure],
            builds_up: false,
            follows_runoff: false,
            is_routine: true,
            is_replacement: false,
            measures_depth: false,
        },
        Duty::RemoveSediment => DutyFacts {
            title: "remove the sediment from the tank floor, from outside",
            ceiling: None,
            decides: Decides::Prediction(GUARDS_WATER),
            minutes: 120,
            bring: &[
                "wand and pump for sediment",
                "settling container",
                "torch",
                "gloves",
                "sign for the outlets",
            ],
            hazards: &[
                Hazard::ConfinedSpace,
                Hazard::Drowning,
                Hazard::ContaminatedSludge,
                Hazard::Electricity,
            ],
            builds_up: true,
            follows_runoff: true,
            is_routine: false,
            is_replacement: false,
            measures_depth: true,
        },
        Duty::MeasureSediment => DutyFacts {
            title: "measure the depth of the sediment",
            ceiling: Some(every(12, "yearly measurement, Toronto and Region Conservation Authority")),
            decides: Decides::Ceiling,
            minutes: 15,
            bring: &["clear tube or dip stick", "torch", "gloves"],
            hazards: &[Hazard::ConfinedSpace, Hazard::Drowning],
            builds_up: false,
            follows_runoff: false,
            is_routine: true,
            is_replacement: false,
            measures_depth: true,
        },
        Duty::LookOverTank => DutyFacts {
            title: "inspect tank, lid and labels",
            ceiling: Some(every(12, "Niagara Region on cisterns; enHealth 2010 says 6 months")),
            decides: Decides::Ceiling,
            minutes: 15,
            bring: &["torch", "spare lid lock", "spare labels"],
            hazards: &[Hazard::ConfinedSpace, Hazard::Drowning, Hazard::Mosquitoes, Hazard::CrossConnection],
            builds_up: false,
            follows_runoff: false,
            is_routine: true,
            is_replacement: false,
            measures_depth: false,
        },
        Duty::CheckIntake => DutyFacts {
            title: "check the floating intake's float, hose and screen",
            ceiling: Some(every(12, "judgement: done with the yearly inspection of the tank")),
            decides: Decides::Ceiling,
            minutes: 20,
            bring: &["hook on a line", "spare hose band", "soft brush"],
            hazards: &[Hazard::ConfinedSpace, Hazard::Drowning],
            builds_up: false,
            follows_runoff: false,
            is_routine: true,
            is_replacement: false,
            measures_depth: false,
        },
        Duty::CheckTrap => DutyFacts {
            title: "check the overflow trap's seal and end screen",
            ceiling: Some(every(12, "South African Water Research Commission manual")),
            decides: Decides::Prediction(KEEPS_INSECTS_OUT),
            minutes: 10,
            bring: &["two litres of water", "torch", "mesh of 1 mm or less", "spare band"],
            hazards: &[Hazard::Mosquitoes, Hazard::Fall],
            builds_up: false,
            follows_runoff: false,
            is_routine: true,
            is_replacement: false,
            measures_depth: false,
        },
        Duty::CheckMesh => DutyFacts {
            title: "check the vent's mesh",
            ceiling: Some(every(12, "City of Annapolis fact sheet, Niagara Region")),
            decides: Decides::Ceiling,
            minutes: 10,
            bring: &["mesh of 1 mm or less", "spare band", "ladder"],
            hazards: &[Hazard::Mosquitoes, Hazard::Fall],
            builds_up: false,
            follows_runoff: false,
            is_routine: true,
            is_replacement: false,
            measures_depth: false,
        },
        Duty::WorkValve => DutyFacts {
            title: "exercise the valve through its full travel",
            ceiling: Some(every(12, "Southwest Environmental Finance Center says 1 to 2 years")),
            decides: Decides::Ceiling,
            minutes: 10,
            bring: &["silicone grease for drinking-water parts", "valve key"],
            hazards: &[Hazard::Pressure, Hazard::CrossConnection],
            builds_up: false,
            follows_runoff: false,
            is_routine: true,
            is_replacement: false,
            measures_depth: false,
        },
        Duty::CompareLevelGauge => DutyFacts {
            title: "compare the level gauge with a measured depth",
            ceiling: Some(every(12, "BS 8515:2009 table 4 (from memory)")),
            decides: Decides::Ceiling,
            minutes: 10,
            bring: &["dip tape"],
            hazards: &[Hazard::ConfinedSpace, Hazard::Drowning],
            builds_up: false,
            follows_runoff: false,
            is_routine: true,
            is_replacement: false,
            measures_depth: false,
        },
        Duty::CheckPump => DutyFacts {
            title: "check the pump",
            ceiling: Some(every(12, "DIN 1989-1 as published by fbr")),
            decides: Decides::Ceiling,
            minutes: 20,
            bring: &["pump log", "strainer seal"],
            hazards: &[Hazard::Pressure, Hazard::CrossConnection],
            builds_up: false,
            follows_runoff: false,
            is_routine: true,
            is_replacement: false,
            measures_depth: false,
        },
        Duty::CheckVessel => DutyFacts {
            title: "check the pressure vessel's charge",
            ceiling: Some(every(12, "DIN 1989-1 as published by fbr")),
            decides: Decides::Ceiling,
            minutes: 15,
            bring: &["pressure gauge", "hand pump"],
            hazards: &[Hazard::Pressure, Hazard::Electricity],
            builds_up: false,
            follows_runoff: false,
            is_routine: true,
            is_replacement: false,
            measures_depth: false,
        },
        Duty::ChangeCartridge => DutyFacts {
            title: "change the filter cartridge",
            ceiling: Some(every(6, "Puget Sound LID manual 4.9.7")),
            decides: Decides::Prediction(AS_OFTEN),
            minutes: 15,
            bring: &["cartridge of the right size", "housing key", "housing seal", "bucket"],
            hazards: &[Hazard::Pressure],
            builds_up: false,
            follows_runoff: false,
            is_routine: true,
            is_replacement: true,
            measures_depth: false,
        },
        Duty::ChangeLamp => DutyFacts {
            title: "change the disinfection lamp",
            ceiling: Some(every(12, "common practice, no source; the maker's hours come first")),
            decides: Decides::RatingOrCeiling,
            minutes: 20,
            bring: &["lamp of the right type", "sleeve seal", "clean gloves"],
            hazards: &[Hazard::Electricity, Hazard::Pressure],
            builds_up: false,
            follows_runoff: false,
            is_routine: true,
            is_replacement: true,
            measures_depth: false,
        },
        Duty::DrainForFrost => DutyFacts {
            title: "drain exposed pipework before frost",
            ceiling: None,
            decides: Decides::Season(Season::BeforeFrost),
            minutes: 30,
            bring: &["hose", "valve key", "frost labels for the taps"],
            hazards: &[Hazard::Freezing, Hazard::Electricity],
            builds_up: false,
            follows_runoff: false,
            is_routine: false,
            is_replacement: false,
            measures_depth: false,
        },
        Duty::RestartAfterFrost => DutyFacts {
            title: "restart after frost",
            ceiling: None,
            decides: Decides::Season(Season::AfterFrost),
            minutes: 30,
            bring: &["valve key", "seal tape", "torch"],
            hazards: &[Hazard::Freezing, Hazard::CrossConnection],
            builds_up: false,
            follows_runoff: false,
            is_routine: false,
            is_replacement: false,
            measures_depth: false,
        },
    }
}

impl Duty {
    /// What is known of it.
    pub const fn facts(self) -> DutyFacts {
        facts(self)
    }

    /// What has to be done, in words.
    pub const fn title(self) -> &'static str {
        self.facts().title
    }

    /// The longest interval; none where only the accumulated figure or the season decides.
    pub const fn ceiling(self) -> Option<Ceiling> {
        self.facts().ceiling
    }

    /// The chance of being past the limit at which it falls due. None if its date is not predicted from a limit.
    pub const fn tolerance(self) -> Option<Tolerance> {
        match self.facts().decides {
            Decides::Prediction(tolerance) => Some(tolerance),
            Decides::Ceiling | Decides::Season(_) | Decides::RatingOrCeiling => None,
        }
    }

    /// Minutes of work on one component, without the way there.
    pub const fn minutes(self) -> u32 {
        self.facts().minutes
    }
}
