//! Systems: one roof, one gauge, and the components between them and the tap.

use crate::{Component, ComponentRequest};
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// What the roof is covered with; sets the default runoff coefficient and wetting loss.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum Surface {
    /// Profiled or sheet metal.
    Metal,
    /// Clay, concrete or slate tile.
    Tile,
    /// Fibre-cement sheet.
    FibreCement,
    /// Asphalt shingle.
    AsphaltShingle,
    /// Flat, bare membrane or concrete.
    FlatSmooth,
    /// Flat with gravel.
    FlatGravel,
    /// Planted.
    Green,
    /// A word of a newer service; never accepted.
    #[cfg_attr(feature = "service", serde(skip_deserializing))]
    #[cfg_attr(not(feature = "service"), serde(other))]
    Unknown,
}

/// The trees that shed onto the roof.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum Canopy {
    /// No trees near: wind-blown litter only.
    #[default]
    None,
    /// Broad leaves shed in autumn.
    Deciduous,
    /// Needles, shed all year.
    Conifer,
    /// Evergreen broad leaves, eucalypts among them.
    EvergreenBroadleaf,
    /// A word of a newer service; never accepted.
    #[cfg_attr(feature = "service", serde(skip_deserializing))]
    #[cfg_attr(not(feature = "service"), serde(other))]
    Unknown,
}

/// The roof of a system, as it is sent.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct RoofRequest {
    /// Horizontal plan area in m2 including overhangs, never the sloping area.
    pub plan_area_m2: f64,
    /// What it is covered with.
    pub surface: Surface,
    /// Share of the rain, after wetting, that reaches the downpipe; the surface's default when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub runoff_coefficient: Option<f64>,
    /// Rain in mm that a dry roof holds back; the surface's default when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wetting_loss_mm: Option<f64>,
    /// The trees that shed onto it.
    #[serde(default)]
    pub canopy: Canopy,
    /// Share of the roof under the canopy; 0 when absent.
    #[serde(default)]
    pub canopy_share: f64,
}

impl RoofRequest {
    /// A roof with the figures of its surface and no trees near. The area is that on the ground, never the sloping one.
    pub const fn new(plan_area_m2: f64, surface: Surface) -> Self {
        Self {
            plan_area_m2,
            surface,
            runoff_coefficient: None,
            wetting_loss_mm: None,
            canopy: Canopy::None,
            canopy_share: 0.0,
        }
    }
}

/// Where a runoff coefficient or wetting loss came from.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct CoefficientSource {
    /// Whether the account gave the value; otherwise it is the surface's default.
    pub given: bool,
    /// Source of the default, or that it is the account's own value.
    pub source: String,
}

/// The roof of a system, with every value that is used.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Roof {
    /// Id of the roof, to which the `roof_ids` of components refer; absent in the forecast of an unregistered system.
    pub id: Option<Uuid>,
    /// What it is called.
    pub name: String,
    /// Horizontal plan area in m2.
    pub plan_area_m2: f64,
    /// What it is covered with.
    pub surface: Surface,
    /// Share of the rain, after wetting, that reaches the downpipe.
    pub runoff_coefficient: f64,
    /// Where the coefficient came from.
    pub runoff_coefficient_source: CoefficientSource,
    /// Rain in mm that a dry roof holds back.
    pub wetting_loss_mm: f64,
    /// Where the wetting loss came from.
    pub wetting_loss_source: CoefficientSource,
    /// The trees that shed onto it.
    pub canopy: Canopy,
    /// Share of the roof under the canopy.
    pub canopy_share: f64,
}

/// A request to register a system, with its components if they are known.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct SystemCreateRequest {
    /// The property it stands at.
    pub property_id: Uuid,
    /// The gauge whose rain falls on its roof.
    pub gauge_id: Uuid,
    /// What the system is called.
    pub name: String,
    /// Its roof.
    pub roof: RoofRequest,
    /// The day it went into service.
    pub commissioned_on: NaiveDate,
    /// Water drawn, in litres a day; 0 when absent.
    #[serde(default)]
    pub demand_l_per_day: f64,
    /// Its components; more can be added later. At most 200.
    #[serde(default)]
    pub components: Vec<ComponentRequest>,
}

/// A request to replace what is known of a system; its components have routes of their own.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct SystemUpdateRequest {
    /// The property it stands at.
    pub property_id: Uuid,
    /// The gauge whose rain falls on its roof.
    pub gauge_id: Uuid,
    /// What the system is called.
    pub name: String,
    /// Its roof.
    pub roof: RoofRequest,
    /// The day it went into service.
    pub commissioned_on: NaiveDate,
    /// Water drawn, in litres a day; 0 when absent.
    #[serde(default)]
    pub demand_l_per_day: f64,
    /// The day it was taken out of service; nothing falls due from then on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub retired_on: Option<NaiveDate>,
}

/// A registered system.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct System {
    /// Id of the system.
    pub id: Uuid,
    /// The property it stands at.
    pub property_id: Uuid,
    /// The gauge whose rain falls on its roof.
    pub gauge_id: Uuid,
    /// What it is called.
    pub name: String,
    /// Its roofs; today each system has one.
    pub roofs: Vec<Roof>,
    /// The day it went into service.
    pub commissioned_on: NaiveDate,
    /// Water drawn, in litres a day.
    pub demand_l_per_day: f64,
    /// The day it was taken out of service.
    pub retired_on: Option<NaiveDate>,
    /// Its components in service; those removed are listed by the components' own route.
    pub components: Vec<Component>,
    /// Version for `If-Match`; components have versions of their own.
    pub version: i64,
    /// When it was registered.
    pub created_at: DateTime<Utc>,
    /// When it was last changed.
    pub updated_at: DateTime<Utc>,
}
