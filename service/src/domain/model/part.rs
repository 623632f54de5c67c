//! Parts: what a component is, with the figures its duties need.

use crate::domain::base::check::Check;
use crate::domain::base::words::words;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

words! {
    /// What a component is.
    Kind {
        /// The roof covering.
        Roof "roof",
        /// A gutter with its downpipes.
        Gutter "gutter",
        /// A debris screen.
        DebrisScreen "debris_screen",
        /// A first-flush diverter.
        FirstFlushDiverter "first_flush_diverter",
        /// A rubber coupling.
        Coupling "coupling",
        /// A tank.
        Tank "tank",
        /// A floating intake.
        FloatingIntake "floating_intake",
        /// An overflow trap.
        OverflowTrap "overflow_trap",
        /// A screened vent.
        Vent "vent",
        /// A valve.
        Valve "valve",
        /// A level gauge.
        LevelGauge "level_gauge",
        /// A pump.
        Pump "pump",
        /// A pressure vessel.
        PressureVessel "pressure_vessel",
        /// A cartridge filter.
        CartridgeFilter "cartridge_filter",
        /// A disinfection lamp.
        DisinfectionLamp "disinfection_lamp",
        /// Pipework that frost can reach.
        ExposedPipework "exposed_pipework",
    }
}

words! {
    /// What a coupling is made of.
    Material {
        /// EPDM.
        Epdm "epdm",
        /// Neoprene.
        Neoprene "neoprene",
        /// Natural rubber or SBR.
        NaturalOrSbr "natural_or_sbr",
        /// Plasticised PVC.
        PlasticisedPvc "plasticised_pvc",
    }
}

words! {
    /// How a part faces the sun.
    Exposition {
        /// Around an upright pipe.
        VerticalPipe "vertical_pipe",
        /// Lying flat.
        Horizontal "horizontal",
        /// Upright, facing the equator.
        FacingEquator "facing_equator",
        /// Upright, facing east or west.
        FacingEastOrWest "facing_east_or_west",
        /// Upright, facing the pole.
        FacingPole "facing_pole",
        /// Tilted by 45 degrees towards the equator.
        TiltedToEquator "tilted_to_equator",
    }
}

words! {
    /// How much of the sky's ultraviolet is kept off.
    Shade {
        /// Nothing.
        FullSun "full_sun",
        /// About half of the day.
        PartShade "part_shade",
        /// Under the eaves.
        UnderEaves "under_eaves",
        /// Painted or wrapped.
        Covered "covered",
    }
}

words! {
    /// Ball or gate.
    ValveType {
        /// A quarter-turn ball valve.
        Ball "ball",
        /// A gate valve.
        Gate "gate",
    }
}

impl Shade {
    /// Share of the ultraviolet kept off. Judgement, no source; the plausible ranges are .3-.7, .6-.9 and .9-1.
    pub const fn share(self) -> f64 {
        match self {
            Self::FullSun => 0.0,
            Self::PartShade => 0.5,
            Self::UnderEaves => 0.75,
            Self::Covered => 0.95,
        }
    }
}

/// How a diverter is emptied.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum Emptying {
    /// By somebody.
    Hand,
    /// By a hole of this many mm under this many m of water.
    WeepHole {
        /// Diameter in mm.
        hole_mm: f64,
        /// Head in m when the chamber is full.
        head_m: f64,
    },
    /// By a drip of this many litres an hour.
    Drip {
        /// Flow.
        litres_per_hour: f64,
    },
}

/// A day of the year.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct MonthDay {
    /// 1 to 12.
    pub month: u32,
    /// Day of the month.
    pub day: u32,
}

impl MonthDay {
    /// The day in a year; 29 February is the 28th in short years.
    pub fn in_year(self, year: i32) -> Option<NaiveDate> {
        NaiveDate::from_ymd_opt(year, self.month, self.day)
            .or_else(|| NaiveDate::from_ymd_opt(year, self.month, self.day.checked_sub(1)?))
    }
}

/// What a component is, with the figures its duties need. The wire's `Part` says what each figure means.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[expect(
    missing_docs,
    reason = "the fields are those of the wire's Part, where each is described with its unit"
)]
pub enum Part {
    Roof {
        fragile: bool,
    },
    Gutter {
        length_m: f64,
        guarded: bool,
    },
    DebrisScreen {
        area_m2: f64,
        mesh_mm: Option<f64>,
    },
    FirstFlushDiverter {
        chamber_volume_l: f64,
        emptying: Emptying,
    },
    Coupling {
        material: Material,
        exposition: Exposition,
        shade: Shade,
        shade_share: Option<f64>,
    },
    Tank {
        capacity_l: f64,
        floor_area_m2: f64,
        outlet_height_mm: f64,
        calmed_inlet: bool,
        sediment_limit_mm: Option<f64>,
    },
    FloatingIntake {
        mesh_mm: Option<f64>,
    },
    OverflowTrap {
        seal_depth_mm: f64,
    },
    Vent {
        mesh_mm: Option<f64>,
    },
    Valve {
        valve_type: ValveType,
    },
    LevelGauge,
    Pump {
        mains_powered: bool,
    },
    PressureVessel {
        volume_l: Option<f64>,
    },
    CartridgeFilter {
        rated_volume_l: Option<f64>,
    },
    DisinfectionLamp {
        rated_hours: Option<f64>,
        hours_per_day: f64,
    },
    ExposedPipework {
        first_frost: Option<MonthDay>,
        last_frost: Option<MonthDay>,
    },
}

impl Part {
    /// A tank whose sediment is removed at the usual depth.
    pub const fn tank(
        capacity_l: f64,
        floor_area_m2: f64,
        outlet_height_mm: f64,
        calmed_inlet: bool,
    ) -> Self {
        Self::Tank { capacity_l, floor_area_m2, outlet_height_mm, calmed_inlet, sediment_limit_mm: None }
    }

    /// What it is.
    pub const fn kind(&self) -> Kind {
        match self {
            Self::Roof { .. } => Kind::Roof,
            Self::Gutter { .. } => Kind::Gutter,
            Self::DebrisScreen { .. } => Kind::DebrisScreen,
            Self::FirstFlushDiverter { .. } => Kind::FirstFlushDiverter,
            Self::Coupling { .. } => Kind::Coupling,
            Self::Tank { .. } => Kind::Tank,
            Self::FloatingIntake { .. } => Kind::FloatingIntake,
            Self::OverflowTrap { .. } => Kind::OverflowTrap,
            Self::Vent { .. } => Kind::Vent,
            Self::Valve { .. } => Kind::Valve,
            Self::LevelGauge => Kind::LevelGauge,
            Self::Pump { .. } => Kind::Pump,
            Self::PressureVessel { .. } => Kind::PressureVessel,
            Self::CartridgeFilter { .. } => Kind::CartridgeFilter,
            Self::DisinfectionLamp { .. } => Kind::DisinfectionLamp,
            Self::ExposedPipework { .. } => Kind::ExposedPipework,
        }
    }

    /// Checks every figure; to be called under the path of the part.
    pub fn check(&self, check: &mut Check) {
        match self {
            Self::Roof { .. } | Self::Valve { .. } | Self::LevelGauge | Self::Pump { .. } => {}
            Self::Gutter { length_m, .. } => check.positive("length_m", *length_m, 10_000.0),
            Self::DebrisScreen { area_m2, mesh_mm } => {
                check.positive("area_m2", *area_m2, 100.0);
                check.positive_if_given("mesh_mm", *mesh_mm, 50.0);
            }
            Self::FirstFlushDiverter { chamber_volume_l, emptying } => {
                check.positive("chamber_volume_l", *chamber_volume_l, 100_000.0);
                check.within("emptying", |check| match emptying {
                    Emptying::Hand => {}
                    Emptying::WeepHole { hole_mm, head_m } => {
                        check.between("hole_mm", *hole_mm, 0.5, 20.0);
                        check.between("head_m", *head_m, 0.05, 10.0);
                    }
                    Emptying::Drip { litres_per_hour } => {
                        check.between("litres_per_hour", *litres_per_hour, 0.05, 100.0);
                    }
                });
            }
            Self::Coupling { shade_share, .. } => {
                if let Some(share) = shade_share {
                    check.between("shade_share", *share, 0.0, 1.0);
                }
            }
            Self::Tank { capacity_l, floor_area_m2, outlet_height_mm, sediment_limit_mm, .. } => {
                check.positive("capacity_l", *capacity_l, 100_000_000.0);
                check.positive("floor_area_m2", *floor_area_m2, 100_000.0);
                check.between("outlet_height_mm", *outlet_height_mm, 0.0, 20_000.0);
                if let Some(limit) = sediment_limit_mm {
                    check.between("sediment_limit_mm", *limit, 10.0, 2000.0);
                }
            }
            Self::FloatingIntake { mesh_mm } | Self::Vent { mesh_mm } => {
                check.positive_if_given("mesh_mm", *mesh_mm, 50.0);
            }
            Self::OverflowTrap { seal_depth_mm } => {
                check.between("seal_depth_mm", *seal_depth_mm, 10.0, 1000.0);
            }
            Self::PressureVessel { volume_l } => check.positive_if_given("volume_l", *volume_l, 100_000.0),
            Self::CartridgeFilter { rated_volume_l } => {
                check.positive_if_given("rated_volume_l", *rated_volume_l, 100_000_000.0);
            }
            Self::DisinfectionLamp { rated_hours, hours_per_day } => {
                check.positive_if_given("rated_hours", *rated_hours, 200_000.0);
                check.positive("hours_per_day", *hours_per_day, 24.0);
            }
            Self::ExposedPipework { first_frost, last_frost } => {
                check_frost(check, *first_frost, *last_frost);
            }
        }
    }
}

fn check_frost(check: &mut Check, first: Option<MonthDay>, last: Option<MonthDay>) {
    for (field, other, day, other_day) in
        [("first_frost", "last_frost", first, last), ("last_frost", "first_frost", last, first)]
    {
        match day {
            // 2024 has a 29 February.
            Some(day) if NaiveDate::from_ymd_opt(2024, day.month, day.day).is_none() => {
                check.refuse(field, format!("month {} has no day {}", day.month, day.day));
            }
            None if other_day.is_some() => {
                check.refuse(field, format!("it is missing beside {other}; give both days or neither"));
            }
            _ => {}
        }
    }
}
