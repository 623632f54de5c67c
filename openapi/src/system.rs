//! Systems: one roof, one rain gauge, and the components between the roof and the tap.

use crate::setters::setters;
use crate::{Component, ComponentRequest};
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// What the roof is covered with. It sets the default runoff coefficient and wetting loss.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
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
    /// Planted with vegetation.
    Green,
    /// A surface of a newer service, which this version does not know. Requests with it are refused.
    #[cfg_attr(feature = "service", serde(skip_deserializing))]
    #[cfg_attr(not(feature = "service"), serde(other))]
    Unknown,
}

/// The trees that drop leaves or needles on a roof.
///
/// - `none` (the default): no trees near, so that only the wind brings litter.
/// - `deciduous`: broad leaves shed in autumn.
/// - `conifer`: needles, shed all year.
/// - `evergreen_broadleaf`: evergreen broad leaves, such as eucalyptus.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub enum Canopy {
    /// No trees near, so that only the wind brings litter. This is the default.
    #[default]
    None,
    /// Broad leaves shed in autumn.
    Deciduous,
    /// Needles, shed all year.
    Conifer,
    /// Evergreen broad leaves, such as eucalyptus.
    EvergreenBroadleaf,
    /// A canopy of a newer service, which this version does not know. Requests with it are refused.
    #[cfg_attr(feature = "service", serde(skip_deserializing))]
    #[cfg_attr(not(feature = "service"), serde(other))]
    Unknown,
}

/// A roof in a request.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct RoofRequest {
    /// Horizontal plan area in m2, including overhangs, 0.001 to 100,000. It is not the sloping area.
    pub plan_area_m2: f64,
    /// What the roof is covered with.
    pub surface: Surface,
    /// Share of the rain, after wetting, that reaches the downpipe, 0.001 to 1; the default of the surface when
    /// absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub runoff_coefficient: Option<f64>,
    /// Rain that wets a dry roof and does not run off, in mm, 0 to 20; the default of the surface when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wetting_loss_mm: Option<f64>,
    /// The trees that drop leaves or needles on it; `none` when absent.
    #[serde(default)]
    pub canopy: Canopy,
    /// Share of the roof under the canopy, 0 to 1; 0 when absent.
    #[serde(default)]
    pub canopy_share: f64,
}

impl RoofRequest {
    /// A roof with the default figures of its surface and no trees near. The area is the horizontal plan area in
    /// m2, not the sloping area.
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

setters! { RoofRequest {
    runoff_coefficient: Option<f64>,
    wetting_loss_mm: Option<f64>,
    canopy: Canopy,
    canopy_share: f64,
} }

/// Where a runoff coefficient or wetting loss comes from.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct CoefficientSource {
    /// Whether the account gave the value. Otherwise it is the default of the surface.
    pub given: bool,
    /// Source of the default, or a note that the account gave the value.
    pub source: String,
}

/// A roof, with every value that is used.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Roof {
    /// Id of the roof, which components have in `roof_ids`; null in the forecast of an unregistered system.
    pub id: Option<Uuid>,
    /// Name of the roof.
    pub name: String,
    /// Horizontal plan area in m2, including overhangs.
    pub plan_area_m2: f64,
    /// What the roof is covered with.
    pub surface: Surface,
    /// Share of the rain, after wetting, that reaches the downpipe, 0 to 1.
    pub runoff_coefficient: f64,
    /// Where the runoff coefficient comes from.
    pub runoff_coefficient_source: CoefficientSource,
    /// Rain that wets a dry roof and does not run off, in mm.
    pub wetting_loss_mm: f64,
    /// Where the wetting loss comes from.
    pub wetting_loss_source: CoefficientSource,
    /// The trees that drop leaves or needles on it.
    pub canopy: Canopy,
    /// Share of the roof under the canopy, 0 to 1.
    pub canopy_share: f64,
}

/// A request to register a system, with its components if they are known.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct SystemCreateRequest {
    /// The property where it is.
    pub property_id: Uuid,
    /// The rain gauge that stands for the rain on its roof.
    pub gauge_id: Uuid,
    /// Name of the system, 1 to 200 characters.
    pub name: String,
    /// Its roof.
    pub roof: RoofRequest,
    /// The day it went into service.
    pub commissioned_on: NaiveDate,
    /// Water drawn, in litres a day, 0 to 1,000,000; 0 when absent.
    #[serde(default)]
    pub demand_l_per_day: f64,
    /// Its components, at most 200. More can be added later.
    #[serde(default)]
    pub components: Vec<ComponentRequest>,
}

impl SystemCreateRequest {
    /// A system without components and without water demand.
    pub fn new(
        property_id: Uuid,
        gauge_id: Uuid,
        name: impl Into<String>,
        roof: RoofRequest,
        commissioned_on: NaiveDate,
    ) -> Self {
        let name = name.into();
        Self {
            property_id,
            gauge_id,
            name,
            roof,
            commissioned_on,
            demand_l_per_day: 0.0,
            components: Vec::new(),
        }
    }
}

setters! { SystemCreateRequest { demand_l_per_day: f64, components: Vec<ComponentRequest> } }

/// A request to replace the facts of a system. Its components have their own routes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct SystemUpdateRequest {
    /// The property where it is.
    pub property_id: Uuid,
    /// The rain gauge that stands for the rain on its roof.
    pub gauge_id: Uuid,
    /// Name of the system, 1 to 200 characters.
    pub name: String,
    /// Its roof.
    pub roof: RoofRequest,
    /// The day it went into service.
    pub commissioned_on: NaiveDate,
    /// Water drawn, in litres a day, 0 to 1,000,000; 0 when absent.
    #[serde(default)]
    pub demand_l_per_day: f64,
    /// The day it was taken out of service; absent while it is in service. Nothing falls due from that day on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub retired_on: Option<NaiveDate>,
}

impl SystemUpdateRequest {
    /// A system in service without water demand.
    pub fn new(
        property_id: Uuid,
        gauge_id: Uuid,
        name: impl Into<String>,
        roof: RoofRequest,
        commissioned_on: NaiveDate,
    ) -> Self {
        let name = name.into();
        Self { property_id, gauge_id, name, roof, commissioned_on, demand_l_per_day: 0.0, retired_on: None }
    }
}

setters! { SystemUpdateRequest { demand_l_per_day: f64, retired_on: Option<NaiveDate> } }

/// A registered system. Its plain fields are the facts as registered, which hold from its first day on. Later changes
/// will be listed beside them.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema), schema(as = RainwaterSystem))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct System {
    /// Id of the system.
    pub id: Uuid,
    /// The property where it is.
    pub property_id: Uuid,
    /// The rain gauge that stands for the rain on its roof.
    pub gauge_id: Uuid,
    /// Name of the system.
    pub name: String,
    /// Its roofs. At present each system has one.
    pub roofs: Vec<Roof>,
    /// The day it went into service.
    pub commissioned_on: NaiveDate,
    /// Water drawn, in litres a day.
    pub demand_l_per_day: f64,
    /// The day it was taken out of service; null while it is in service.
    pub retired_on: Option<NaiveDate>,
    /// Its components in service. The route of the components lists the others, too, if asked.
    pub components: Vec<Component>,
    /// Version, to be sent in `If-Match` with a change. Components have their own versions.
    pub version: i64,
    /// When it was registered.
    pub created_at: DateTime<Utc>,
    /// When it was last changed.
    pub updated_at: DateTime<Utc>,
}
