//! Components: the parts that want care.

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// What a component is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum ComponentKind {
    /// The roof covering.
    Roof,
    /// A gutter with its downpipes.
    Gutter,
    /// A screen that keeps debris out of the downpipe or the tank.
    DebrisScreen,
    /// A chamber that takes the first, dirtiest runoff.
    FirstFlushDiverter,
    /// A rubber coupling with its bands.
    Coupling,
    /// The tank.
    Tank,
    /// An intake that floats below the surface.
    FloatingIntake,
    /// A water seal in the overflow.
    OverflowTrap,
    /// A screened vent or opening.
    Vent,
    /// A ball or gate valve.
    Valve,
    /// A level gauge.
    LevelGauge,
    /// A pump.
    Pump,
    /// A pressure vessel.
    PressureVessel,
    /// A cartridge filter.
    CartridgeFilter,
    /// An ultraviolet disinfection lamp.
    DisinfectionLamp,
    /// Pipes, taps and chambers that frost can reach.
    ExposedPipework,
    /// A kind of a newer service; never accepted.
    #[serde(other)]
    Unknown,
}

/// What a coupling is made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum CouplingMaterial {
    /// EPDM rubber.
    Epdm,
    /// Neoprene (chloroprene) rubber.
    Neoprene,
    /// Natural rubber or styrene-butadiene rubber.
    NaturalOrSbr,
    /// Plasticised PVC.
    PlasticisedPvc,
    /// A word of a newer service; never accepted.
    #[cfg_attr(feature = "service", serde(skip_deserializing))]
    #[cfg_attr(not(feature = "service"), serde(other))]
    Unknown,
}

/// How a part faces the sun.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum Exposition {
    /// Around an upright pipe: the mean of all sides.
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
    /// A word of a newer service; never accepted.
    #[cfg_attr(feature = "service", serde(skip_deserializing))]
    #[cfg_attr(not(feature = "service"), serde(other))]
    Unknown,
}

/// How much of the sky's ultraviolet is kept off a part. The shares are judgement; give `shade_share` to override.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum Shade {
    /// Nothing keeps it off.
    #[default]
    FullSun,
    /// Shaded about half of the day.
    PartShade,
    /// Under the eaves or on the shaded side.
    UnderEaves,
    /// Painted or wrapped.
    Covered,
    /// A word of a newer service; never accepted.
    #[cfg_attr(feature = "service", serde(skip_deserializing))]
    #[cfg_attr(not(feature = "service"), serde(other))]
    Unknown,
}

/// How a first-flush diverter is emptied after rain.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(tag = "by", rename_all = "snake_case")]
#[cfg_attr(feature = "service", serde(deny_unknown_fields))]
pub enum Emptying {
    /// Somebody opens a valve or a cap.
    Hand {},
    /// A small hole at the foot.
    WeepHole {
        /// Diameter of the hole in mm.
        hole_mm: f64,
        /// Height of water above the hole when the chamber is full, in m.
        head_m: f64,
    },
    /// A metered drip.
    Drip {
        /// Flow in litres an hour.
        litres_per_hour: f64,
    },
    /// A way of a newer service; never accepted.
    #[cfg_attr(feature = "service", serde(skip_deserializing))]
    #[cfg_attr(not(feature = "service"), serde(other))]
    Unknown,
}

/// The two kinds of valve that are worked through their travel.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum ValveType {
    /// A quarter-turn ball valve.
    Ball,
    /// A gate valve.
    Gate,
    /// A word of a newer service; never accepted.
    #[cfg_attr(feature = "service", serde(skip_deserializing))]
    #[cfg_attr(not(feature = "service"), serde(other))]
    Unknown,
}

/// A day of the year.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "service", serde(deny_unknown_fields))]
pub struct MonthDay {
    /// Month, 1 to 12.
    pub month: u32,
    /// Day of the month; 29 February counts as 28 February in short years.
    pub day: u32,
}

/// What a component is, with the figures its duties need.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(tag = "kind", rename_all = "snake_case")]
#[cfg_attr(feature = "service", serde(deny_unknown_fields))]
pub enum Part {
    /// The roof covering.
    Roof {
        /// Whether it may break underfoot (old fibre-cement, glass, plastic sheet); adds a caution.
        #[serde(default)]
        fragile: bool,
    },
    /// A gutter with its downpipes.
    Gutter {
        /// Length in m.
        length_m: f64,
        /// Whether a guard covers it.
        #[serde(default)]
        guarded: bool,
    },
    /// A debris screen.
    DebrisScreen {
        /// Area of the mesh in m2.
        area_m2: f64,
        /// Opening of the mesh in mm.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        mesh_mm: Option<f64>,
    },
    /// A first-flush diverter.
    FirstFlushDiverter {
        /// Volume of the chamber in litres.
        chamber_volume_l: f64,
        /// How it is emptied.
        emptying: Emptying,
    },
    /// A rubber coupling.
    Coupling {
        /// What it is made of.
        material: CouplingMaterial,
        /// How it faces the sun.
        #[serde(default)]
        exposition: Exposition,
        /// How it is shaded.
        #[serde(default)]
        shade: Shade,
        /// Share of the ultraviolet kept off, 0 to 1; overrides `shade`. 1 means that no sunlight reaches it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        shade_share: Option<f64>,
    },
    /// A tank.
    Tank {
        /// Capacity in litres up to the overflow.
        capacity_l: f64,
        /// Area of the floor in m2.
        floor_area_m2: f64,
        /// Height of the outlet or lowest intake above the floor, in mm.
        outlet_height_mm: f64,
        /// Whether the inlet is calmed, so that falling water does not stir the floor.
        #[serde(default)]
        calmed_inlet: bool,
        /// Depth of sediment in mm at which it is to be removed, 50 when absent. What the outlet's height leaves room for
        /// counts where that is less.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        sediment_limit_mm: Option<f64>,
    },
    /// A floating intake.
    FloatingIntake {
        /// Opening of its screen in mm.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        mesh_mm: Option<f64>,
    },
    /// An overflow trap.
    OverflowTrap {
        /// Depth of its water seal in mm.
        seal_depth_mm: f64,
    },
    /// A screened vent or opening.
    Vent {
        /// Opening of its mesh in mm; 1 mm or less keeps mosquitoes out.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        mesh_mm: Option<f64>,
    },
    /// A valve.
    Valve {
        /// Ball or gate.
        valve_type: ValveType,
    },
    /// A level gauge.
    LevelGauge {},
    /// A pump.
    Pump {
        /// Whether it runs on mains electricity; adds a caution.
        #[serde(default = "yes")]
        mains_powered: bool,
    },
    /// A pressure vessel.
    PressureVessel {
        /// Volume in litres.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        volume_l: Option<f64>,
    },
    /// A cartridge filter.
    CartridgeFilter {
        /// Litres the maker rates a cartridge for; brings the change forward when the demand reaches it sooner.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        rated_volume_l: Option<f64>,
    },
    /// A disinfection lamp.
    DisinfectionLamp {
        /// Hours the maker rates a lamp for; brings the change forward.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        rated_hours: Option<f64>,
        /// Hours it burns a day; 24 when absent.
        #[serde(default = "all_day")]
        hours_per_day: f64,
    },
    /// Pipes, taps and chambers that frost can reach.
    ExposedPipework {
        /// The day of the year by which frost is first to be expected. Give both days or neither: without them they
        /// come from the property's monthly mean minima.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        first_frost: Option<MonthDay>,
        /// The day of the year after which frost is no longer to be expected.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        last_frost: Option<MonthDay>,
    },
    /// A kind of a newer service; never accepted.
    #[cfg_attr(feature = "service", serde(skip_deserializing))]
    #[cfg_attr(not(feature = "service"), serde(other))]
    Unknown,
}

impl Part {
    /// A tank whose sediment is removed at the usual depth. The height is that of its outlet, or of its lowest intake.
    pub const fn tank(
        capacity_l: f64,
        floor_area_m2: f64,
        outlet_height_mm: f64,
        calmed_inlet: bool,
    ) -> Self {
        Self::Tank { capacity_l, floor_area_m2, outlet_height_mm, calmed_inlet, sediment_limit_mm: None }
    }
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
pub struct ComponentRequest {
    /// What people call it, such as `north screen`.
    pub name: String,
    /// What it is.
    pub part: Part,
    /// The day it was put in.
    pub installed_on: NaiveDate,
    /// The day of its last routine care before the service knew of it; the installed date counts when absent. It says
    /// nothing of work done once in years (replacing a coupling, removing sediment) or by the season: log a visit on its
    /// day for those.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub last_served_on: Option<NaiveDate>,
}

/// A component.
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
    /// What people call it.
    pub name: String,
    /// What it is.
    pub part: Part,
    /// The day it was put in.
    pub installed_on: NaiveDate,
    /// The day of its last routine care before the service knew of it.
    pub last_served_on: Option<NaiveDate>,
    /// The day it was taken out, if it was.
    pub removed_on: Option<NaiveDate>,
    /// The component whose place it took.
    pub replaces: Option<Uuid>,
    /// Version for `If-Match`.
    pub version: i64,
    /// When it was registered.
    pub created_at: DateTime<Utc>,
    /// When it was last changed.
    pub updated_at: DateTime<Utc>,
}

/// A request to put a new component in the place of an old one. The old one and its history stay.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct ReplaceRequest {
    /// The day of the change.
    pub on: NaiveDate,
    /// What the new one is; like the old one when absent. It must be of the same kind.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub part: Option<Part>,
    /// What the new one is called; like the old one when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
}

/// A request to take a component out for good. Its history stays.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct RetireRequest {
    /// The day it was taken out.
    pub on: NaiveDate,
}
