//! Components: the parts that need care.

pub mod parts;

use crate::setters::setters;
use crate::word::open_words;
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

open_words! {
    /// What a component is.
    ComponentKind, other: "A kind that this version does not know, with its word." {
        /// The roof covering.
        Roof "roof",
        /// A gutter with its downpipes.
        Gutter "gutter",
        /// A screen that keeps debris out of the downpipe or the tank.
        DebrisScreen "debris_screen",
        /// A chamber that takes the first, dirtiest runoff.
        FirstFlushDiverter "first_flush_diverter",
        /// A rubber coupling with its bands.
        Coupling "coupling",
        /// The tank.
        Tank "tank",
        /// An intake that floats below the surface.
        FloatingIntake "floating_intake",
        /// A trap in the overflow, closed by a water seal.
        OverflowTrap "overflow_trap",
        /// A screened vent or opening.
        Vent "vent",
        /// A ball or gate valve.
        Valve "valve",
        /// A level gauge.
        LevelGauge "level_gauge",
        /// A pump.
        Pump "pump",
        /// A pressure vessel.
        PressureVessel "pressure_vessel",
        /// A cartridge filter.
        CartridgeFilter "cartridge_filter",
        /// An ultraviolet disinfection lamp.
        DisinfectionLamp "disinfection_lamp",
        /// Pipes, taps and chambers that frost can reach.
        ExposedPipework "exposed_pipework",
    }
}

/// What a coupling is made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub enum CouplingMaterial {
    /// EPDM rubber.
    Epdm,
    /// Neoprene (chloroprene) rubber.
    Neoprene,
    /// Natural rubber or styrene-butadiene rubber.
    NaturalOrSbr,
    /// Plasticised PVC.
    PlasticisedPvc,
    /// A material of a newer service, which this version does not know. Requests with it are refused.
    #[cfg_attr(feature = "service", serde(skip_deserializing))]
    #[cfg_attr(not(feature = "service"), serde(other))]
    Unknown,
}

/// How a part faces the sun.
///
/// - `vertical_pipe` (the default): around an upright pipe, the mean of all sides.
/// - `horizontal`: lying flat.
/// - `facing_equator`, `facing_east_or_west`, `facing_pole`: upright, facing that way.
/// - `tilted_to_equator`: tilted by 45 degrees towards the equator.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub enum Exposition {
    /// Around an upright pipe: the mean of all sides. This is the default.
    #[default]
    VerticalPipe,
    /// Lying flat.
    Horizontal,
    /// Upright, facing the equator.
    FacingEquator,
    /// Upright, facing east or west.
    FacingEastOrWest,
    /// Upright, facing the pole.
    FacingPole,
    /// Tilted by 45 degrees towards the equator.
    TiltedToEquator,
    /// A direction of a newer service, which this version does not know. Requests with it are refused.
    #[cfg_attr(feature = "service", serde(skip_deserializing))]
    #[cfg_attr(not(feature = "service"), serde(other))]
    Unknown,
}

/// How much of the sky's ultraviolet is blocked before it reaches a part: `full_sun` 0 %, `part_shade` 50 %,
/// `under_eaves` 75 %, `covered` 95 %. These shares are judgement, no source. `shade_share` overrides them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub enum Shade {
    /// Nothing blocks it. This is the default.
    #[default]
    FullSun,
    /// Shaded about half of the day.
    PartShade,
    /// Under the eaves or on the shaded side.
    UnderEaves,
    /// Painted or wrapped.
    Covered,
    /// A shade of a newer service, which this version does not know. Requests with it are refused.
    #[cfg_attr(feature = "service", serde(skip_deserializing))]
    #[cfg_attr(not(feature = "service"), serde(other))]
    Unknown,
}

/// How a first-flush diverter is emptied after rain.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(tag = "by", rename_all = "snake_case")]
#[cfg_attr(feature = "service", serde(deny_unknown_fields))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub enum Emptying {
    /// By hand: a person opens a valve or a cap.
    #[cfg_attr(not(feature = "service"), non_exhaustive)]
    Hand {},
    /// Through a weep hole: a small hole at the foot.
    #[cfg_attr(not(feature = "service"), non_exhaustive)]
    WeepHole {
        /// Diameter of the hole in mm, 0.5 to 20.
        hole_mm: f64,
        /// Height of water above the hole in m when the chamber is full, 0.05 to 10.
        head_m: f64,
    },
    /// Through a slow-release (drip) outlet.
    #[cfg_attr(not(feature = "service"), non_exhaustive)]
    Drip {
        /// Flow in litres an hour, 0.05 to 100.
        litres_per_hour: f64,
    },
    /// A way of a newer service, which this version does not know. Requests with it are refused.
    #[cfg_attr(feature = "service", serde(skip_deserializing))]
    #[cfg_attr(not(feature = "service"), serde(other))]
    Unknown,
}

impl Emptying {
    /// By hand: a person opens a valve or a cap.
    pub const fn hand() -> Self {
        Self::Hand {}
    }

    /// Through a weep hole: its diameter in mm, and the height of water above it in m when the chamber is full.
    pub const fn weep_hole(hole_mm: f64, head_m: f64) -> Self {
        Self::WeepHole { hole_mm, head_m }
    }

    /// Through a slow-release (drip) outlet: its flow in litres an hour.
    pub const fn drip(litres_per_hour: f64) -> Self {
        Self::Drip { litres_per_hour }
    }
}

/// The kinds of valve that are exercised through their full travel.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub enum ValveType {
    /// A quarter-turn ball valve.
    Ball,
    /// A gate valve.
    Gate,
    /// A kind of a newer service, which this version does not know. Requests with it are refused.
    #[cfg_attr(feature = "service", serde(skip_deserializing))]
    #[cfg_attr(not(feature = "service"), serde(other))]
    Unknown,
}

/// A day that comes every year.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "service", serde(deny_unknown_fields))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct MonthDay {
    /// Month, 1 to 12.
    pub month: u32,
    /// Day of the month, 1 to 31. 29 February counts as 28 February in years without it.
    pub day: u32,
}

impl MonthDay {
    /// A month, 1 to 12, and a day of it, 1 to 31.
    pub const fn new(month: u32, day: u32) -> Self {
        Self { month, day }
    }
}

/// What a component is, with the figures that its duties need.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(tag = "kind", rename_all = "snake_case")]
#[cfg_attr(feature = "service", serde(deny_unknown_fields))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub enum Part {
    /// The roof covering.
    #[cfg_attr(not(feature = "service"), non_exhaustive)]
    Roof {
        /// Whether it may break underfoot (old fibre-cement, glass, plastic sheet), which adds a caution; `false`
        /// when absent.
        #[serde(default)]
        fragile: bool,
    },
    /// A gutter with its downpipes.
    #[cfg_attr(not(feature = "service"), non_exhaustive)]
    Gutter {
        /// Length in m, 0.001 to 10,000.
        length_m: f64,
        /// Whether a guard covers it; `false` when absent.
        #[serde(default)]
        guarded: bool,
    },
    /// A debris screen.
    #[cfg_attr(not(feature = "service"), non_exhaustive)]
    DebrisScreen {
        /// Area of the mesh in m2, 0.001 to 100.
        area_m2: f64,
        /// Opening of the mesh in mm, 0.001 to 50; absent when not known.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        mesh_mm: Option<f64>,
    },
    /// A first-flush diverter.
    #[cfg_attr(not(feature = "service"), non_exhaustive)]
    FirstFlushDiverter {
        /// Volume of the chamber in litres, 0.001 to 100,000.
        chamber_volume_l: f64,
        /// How the chamber is emptied.
        emptying: Emptying,
    },
    /// A rubber coupling.
    #[cfg_attr(not(feature = "service"), non_exhaustive)]
    Coupling {
        /// What it is made of.
        material: CouplingMaterial,
        /// How it faces the sun; `vertical_pipe` when absent.
        #[serde(default)]
        exposition: Exposition,
        /// How it is shaded; `full_sun` when absent.
        #[serde(default)]
        shade: Shade,
        /// Share of the ultraviolet that is blocked, 0 to 1; overrides `shade`. With 1 no sunlight reaches the
        /// coupling.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        shade_share: Option<f64>,
    },
    /// A tank. Its figures go together. The capacity over the floor area is the depth of the full tank, 50 mm to 30 m;
    /// outlet and limit of the sediment lie below that depth.
    #[cfg_attr(not(feature = "service"), non_exhaustive)]
    Tank {
        /// Capacity in litres up to the overflow, 1 to 100,000,000.
        capacity_l: f64,
        /// Area of the floor in m2, 0.001 to 100,000.
        floor_area_m2: f64,
        /// Height of the outlet or lowest intake above the floor in mm, 0 to 20,000.
        outlet_height_mm: f64,
        /// Whether the inlet is calmed, so that falling water does not stir up the floor; `false` when absent.
        #[serde(default)]
        calmed_inlet: bool,
        /// Depth of sediment in mm at which it must be removed, 10 to 2,000; 50 when absent. It is limited to 50 mm
        /// below the outlet, but never to less than 10 mm.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        sediment_limit_mm: Option<f64>,
    },
    /// A floating intake.
    #[cfg_attr(not(feature = "service"), non_exhaustive)]
    FloatingIntake {
        /// Opening of its screen in mm, 0.001 to 50; absent when not known.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        mesh_mm: Option<f64>,
    },
    /// An overflow trap.
    #[cfg_attr(not(feature = "service"), non_exhaustive)]
    OverflowTrap {
        /// Depth of its water seal in mm, 10 to 1,000.
        seal_depth_mm: f64,
    },
    /// A screened vent or opening.
    #[cfg_attr(not(feature = "service"), non_exhaustive)]
    Vent {
        /// Opening of its mesh in mm, 0.001 to 50; absent when not known. 1 mm or less keeps mosquitoes out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        mesh_mm: Option<f64>,
    },
    /// A valve.
    #[cfg_attr(not(feature = "service"), non_exhaustive)]
    Valve {
        /// Ball or gate.
        valve_type: ValveType,
    },
    /// A level gauge.
    #[cfg_attr(not(feature = "service"), non_exhaustive)]
    LevelGauge {},
    /// A pump.
    #[cfg_attr(not(feature = "service"), non_exhaustive)]
    Pump {
        /// Whether it runs on mains electricity, which adds a caution; `true` when absent.
        #[serde(default = "yes")]
        mains_powered: bool,
    },
    /// A pressure vessel.
    #[cfg_attr(not(feature = "service"), non_exhaustive)]
    PressureVessel {
        /// Volume in litres, 0.001 to 100,000; absent when not known.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        volume_l: Option<f64>,
    },
    /// A cartridge filter.
    #[cfg_attr(not(feature = "service"), non_exhaustive)]
    CartridgeFilter {
        /// Litres for which the maker rates a cartridge, 0.001 to 100,000,000. The change falls due earlier if the
        /// demand reaches them sooner.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        rated_volume_l: Option<f64>,
    },
    /// A disinfection lamp.
    #[cfg_attr(not(feature = "service"), non_exhaustive)]
    DisinfectionLamp {
        /// Hours for which the maker rates a lamp, 0.001 to 200,000. The change falls due earlier if the lamp
        /// reaches them sooner.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        rated_hours: Option<f64>,
        /// Hours a day for which the lamp is on, 0.001 to 24; 24 when absent.
        #[serde(default = "all_day")]
        hours_per_day: f64,
    },
    /// Pipes, taps and chambers that frost can reach.
    #[cfg_attr(not(feature = "service"), non_exhaustive)]
    ExposedPipework {
        /// The first day of the year on which frost is expected. Give both days or neither: without them they
        /// follow from the property's monthly mean minima.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        first_frost: Option<MonthDay>,
        /// The day of the year after which no frost is expected.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        last_frost: Option<MonthDay>,
    },
    /// A kind of a newer service, which this version does not know. Requests with it are refused.
    #[cfg_attr(feature = "service", serde(skip_deserializing))]
    #[cfg_attr(not(feature = "service"), serde(other))]
    Unknown,
}

fn yes() -> bool {
    true
}

fn all_day() -> f64 {
    24.0
}

/// A request to add a component, or to correct what is known of one.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct ComponentRequest {
    /// Name that people use, such as `north screen`; 1 to 200 characters.
    pub name: String,
    /// What it is, with its figures.
    pub part: Part,
    /// The day it was installed.
    pub installed_on: NaiveDate,
    /// The day of its last routine care before it was registered; the day of installation when absent. It does not
    /// stand for work done once in years (replacing a coupling, removing sediment) or by the season. For such work,
    /// log a visit on its day.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub last_served_on: Option<NaiveDate>,
}

impl ComponentRequest {
    /// A component of which no earlier care is known. [`Part`] has a constructor for every kind.
    pub fn new(name: impl Into<String>, part: impl Into<Part>, installed_on: NaiveDate) -> Self {
        Self { name: name.into(), part: part.into(), installed_on, last_served_on: None }
    }
}

setters! { ComponentRequest { last_served_on: Option<NaiveDate> } }

/// A component. Its plain fields are the facts as registered, which hold from its first day on. Later changes will be
/// listed beside them.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Component {
    /// Id of the component.
    pub id: Uuid,
    /// The system it belongs to.
    pub system_id: Uuid,
    /// The roofs whose water reaches it.
    pub roof_ids: Vec<Uuid>,
    /// Name that people use.
    pub name: String,
    /// What it is, with its figures.
    pub part: Part,
    /// The day it was installed.
    pub installed_on: NaiveDate,
    /// The day of its last routine care before it was registered.
    pub last_served_on: Option<NaiveDate>,
    /// The day it was taken out; null while it is in service.
    pub retired_on: Option<NaiveDate>,
    /// The component that it replaced.
    pub replaces_id: Option<Uuid>,
    /// Version, to be sent in `If-Match` with a change.
    pub version: i64,
    /// When it was registered.
    pub created_at: DateTime<Utc>,
    /// When it was last changed.
    pub updated_at: DateTime<Utc>,
}

/// A request to replace a component by a new one. The old one and its history are kept.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct ReplaceRequest {
    /// The day of the replacement.
    pub on: NaiveDate,
    /// What the new one is; the same as the old one when absent. It must be of the same kind.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub part: Option<Part>,
    /// Name of the new one, 1 to 200 characters; the same as the old one when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
}

impl ReplaceRequest {
    /// A new component like the old one, with its name.
    pub fn new(on: NaiveDate) -> Self {
        Self { on, part: None, name: None }
    }
}

setters! { ReplaceRequest { part: Option<Part> } texts { name } }

/// A request to take a component out of service for good. Its history is kept.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct RetireRequest {
    /// The day it was taken out.
    pub on: NaiveDate,
}

impl RetireRequest {
    /// It was taken out on this day.
    pub fn new(on: NaiveDate) -> Self {
        Self { on }
    }
}
