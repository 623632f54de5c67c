//! Parts: what a component is, with the figures that its duties need.

use crate::domain::base::bounds::{Bounds, SHARE};
use crate::domain::base::check::Check;
use crate::domain::base::words::words;
use crate::domain::model::tank;
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
    /// How much of the sky's ultraviolet is blocked.
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
    /// Share of the ultraviolet that is blocked. Judgement, no source. Plausible ranges are 0.3 to 0.7, 0.6 to 0.9
    /// and 0.9 to 1.
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
    /// By hand.
    Hand,
    /// By a weep hole.
    WeepHole {
        /// Diameter in mm.
        hole_mm: f64,
        /// Depth of water above the hole in m when the chamber is full.
        head_m: f64,
    },
    /// By a slow-release (drip) outlet.
    Drip {
        /// Flow in litres an hour.
        litres_per_hour: f64,
    },
}

words! {
    /// What ages a coupling.
    Clock {
        /// Ultraviolet light.
        Light "light",
        /// Heat.
        Heat "heat",
    }
}

/// A day that comes every year.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct MonthDay {
    /// 1 to 12.
    pub month: u32,
    /// Day of the month.
    pub day: u32,
}

impl MonthDay {
    /// The day in a year. 29 February becomes 28 February in other than leap years.
    pub fn in_year(self, year: i32) -> Option<NaiveDate> {
        NaiveDate::from_ymd_opt(year, self.month, self.day)
            .or_else(|| NaiveDate::from_ymd_opt(year, self.month, self.day.checked_sub(1)?))
    }
}

/// Length of a gutter, m. Judgement: ten kilometres are more than any roof has.
pub const LENGTH_M: Bounds = Bounds::above_nothing(10_000.0);

/// Area of a screen's mesh, m2. Judgement: a screen as large as a hall is a wrong unit.
pub const AREA_M2: Bounds = Bounds::above_nothing(100.0);

/// Openings of a mesh, mm. Judgement: a coarser mesh stops no leaves.
pub const MESH_MM: Bounds = Bounds::above_nothing(50.0);

/// Volume of a diverter's chamber, litres. Judgement: it holds one millimetre of runoff from the largest roof.
pub const CHAMBER_VOLUME_L: Bounds = Bounds::above_nothing(100_000.0);

/// Diameter of a weep hole, mm. Judgement: a finer hole clogs at once, a wider one is a drain.
pub const HOLE_MM: Bounds = Bounds::of(0.5, 20.0);

/// Depth of water above a weep hole, m. Judgement: from a low box to a standpipe three storeys high.
pub const HEAD_M: Bounds = Bounds::of(0.05, 10.0);

/// Flow of a slow-release (drip) outlet, litres an hour. Judgement: from one drop every four seconds to a thin
/// stream.
pub const LITRES_PER_HOUR: Bounds = Bounds::of(0.05, 100.0);

/// Share of the ultraviolet that is kept from a coupling.
pub const SHADE_SHARE: Bounds = SHARE;

/// Depth of a trap's water seal, mm. Judgement: a shallower seal dries in days, a deeper one is a wrong unit.
pub const SEAL_DEPTH_MM: Bounds = Bounds::of(10.0, 1000.0);

/// Volume of a pressure vessel, litres. Judgement: the largest have some ten cubic metres.
pub const VOLUME_L: Bounds = Bounds::above_nothing(100_000.0);

/// Volume for which a cartridge is rated, litres. Judgement: as much as the largest tank holds.
pub const RATED_VOLUME_L: Bounds = Bounds::above_nothing(100_000_000.0);

/// Hours for which a lamp is rated. Judgement: the most is over twenty years without a pause.
pub const RATED_HOURS: Bounds = Bounds::above_nothing(200_000.0);

/// Hours a day for which a lamp is on.
pub const HOURS_PER_DAY: Bounds = Bounds::above_nothing(24.0);

/// What a component is, with the figures that its duties need. The API's `Part` says what each figure means.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[expect(
    missing_docs,
    reason = "the fields are those of the API's Part, where each is described with its unit"
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
    /// A tank whose sediment is removed at the default depth.
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

    /// Checks every figure. To be called under the path of the part.
    pub fn check(&self, check: &mut Check) {
        match self {
            Self::Roof { .. } | Self::Valve { .. } | Self::LevelGauge | Self::Pump { .. } => {}
            Self::Gutter { length_m, .. } => check.between("length_m", *length_m, LENGTH_M),
            Self::DebrisScreen { area_m2, mesh_mm } => {
                check.between("area_m2", *area_m2, AREA_M2);
                check.between_if_given("mesh_mm", *mesh_mm, MESH_MM);
            }
            Self::FirstFlushDiverter { chamber_volume_l, emptying } => {
                check.between("chamber_volume_l", *chamber_volume_l, CHAMBER_VOLUME_L);
                check.within("emptying", |check| match emptying {
                    Emptying::Hand => {}
                    Emptying::WeepHole { hole_mm, head_m } => {
                        check.between("hole_mm", *hole_mm, HOLE_MM);
                        check.between("head_m", *head_m, HEAD_M);
                    }
                    Emptying::Drip { litres_per_hour } => {
                        check.between("litres_per_hour", *litres_per_hour, LITRES_PER_HOUR);
                    }
                });
            }
            Self::Coupling { shade_share, .. } => {
                check.between_if_given("shade_share", *shade_share, SHADE_SHARE);
            }
            Self::Tank { capacity_l, floor_area_m2, outlet_height_mm, sediment_limit_mm, .. } => {
                tank::check(check, *capacity_l, *floor_area_m2, *outlet_height_mm, *sediment_limit_mm);
            }
            Self::FloatingIntake { mesh_mm } | Self::Vent { mesh_mm } => {
                check.between_if_given("mesh_mm", *mesh_mm, MESH_MM);
            }
            Self::OverflowTrap { seal_depth_mm } => {
                check.between("seal_depth_mm", *seal_depth_mm, SEAL_DEPTH_MM);
            }
            Self::PressureVessel { volume_l } => check.between_if_given("volume_l", *volume_l, VOLUME_L),
            Self::CartridgeFilter { rated_volume_l } => {
                check.between_if_given("rated_volume_l", *rated_volume_l, RATED_VOLUME_L);
            }
            Self::DisinfectionLamp { rated_hours, hours_per_day } => {
                check.between_if_given("rated_hours", *rated_hours, RATED_HOURS);
                check.between("hours_per_day", *hours_per_day, HOURS_PER_DAY);
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
            // 2024 is a leap year, so 29 February is allowed.
            Some(day) if NaiveDate::from_ymd_opt(2024, day.month, day.day).is_none() => {
                check.refuse(field, format!("month {} has no day {}", day.month, day.day));
            }
            None if other_day.is_some() => {
                check.refuse(field, format!("{other} is given without it; give both days or neither"));
            }
            _ => {}
        }
    }
}
