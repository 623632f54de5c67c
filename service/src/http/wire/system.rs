//! Systems and their roofs.

use super::{known, mirror_open};
use crate::domain::base::error;
use crate::domain::base::ids::{GaugeId, PropertyId, RoofId, SystemId};
use crate::domain::model::{component, roof, system};
use eavesward_contract as wire;

mirror_open!(Surface: roof::Surface { Metal, Tile, FibreCement, AsphaltShingle, FlatSmooth, FlatGravel, Green });
mirror_open!(Canopy: roof::Canopy { None, Deciduous, Conifer, EvergreenBroadleaf });

impl TryFrom<wire::RoofRequest> for roof::Roof {
    type Error = error::Error;
    fn try_from(request: wire::RoofRequest) -> error::Result<Self> {
        Ok(Self {
            plan_area_m2: request.plan_area_m2,
            surface: known(request.surface, "roof.surface")?,
            runoff_coefficient: request.runoff_coefficient,
            wetting_loss_mm: request.wetting_loss_mm,
            canopy: known(request.canopy, "roof.canopy")?,
            canopy_share: request.canopy_share,
        })
    }
}

/// What the one roof of a system is called.
const ROOF_NAME: &str = "roof";

/// The roofs of a system: the one that it is stored with. A sketch has no id.
pub(super) fn roofs(roof: &roof::Roof, system: Option<SystemId>) -> Vec<wire::Roof> {
    let source = |figure: roof::RoofFigure| wire::CoefficientSource {
        given: figure.given,
        source: figure.source.to_owned(),
    };
    let (coefficient, loss) = (roof.coefficient(), roof.loss());
    vec![wire::Roof {
        id: system.map(|system| RoofId::of(system).0),
        name: ROOF_NAME.to_owned(),
        plan_area_m2: roof.plan_area_m2,
        surface: roof.surface.into(),
        runoff_coefficient: coefficient.value,
        runoff_coefficient_source: source(coefficient),
        wetting_loss_mm: loss.value,
        wetting_loss_source: source(loss),
        canopy: roof.canopy.into(),
        canopy_share: roof.canopy_share,
    }]
}

/// A registration taken apart into facts and components.
pub fn registration(
    request: wire::SystemCreateRequest,
) -> error::Result<(system::SystemFacts, Vec<component::ComponentFacts>)> {
    let facts = system::SystemFacts {
        property_id: PropertyId(request.property_id),
        gauge_id: GaugeId(request.gauge_id),
        name: request.name,
        roof: request.roof.try_into()?,
        commissioned_on: request.commissioned_on,
        demand_l_per_day: request.demand_l_per_day,
        retired_on: None,
    };
    let components = request.components.into_iter().map(TryInto::try_into).collect::<error::Result<_>>()?;
    Ok((facts, components))
}

impl TryFrom<wire::SystemUpdateRequest> for system::SystemFacts {
    type Error = error::Error;
    fn try_from(request: wire::SystemUpdateRequest) -> error::Result<Self> {
        Ok(Self {
            property_id: PropertyId(request.property_id),
            gauge_id: GaugeId(request.gauge_id),
            name: request.name,
            roof: request.roof.try_into()?,
            commissioned_on: request.commissioned_on,
            demand_l_per_day: request.demand_l_per_day,
            retired_on: request.retired_on,
        })
    }
}

impl From<system::Assembled> for wire::System {
    fn from(assembled: system::Assembled) -> Self {
        let system::Assembled { system, components } = assembled;
        let facts = system.facts;
        Self {
            id: system.id.0,
            property_id: facts.property_id.0,
            gauge_id: facts.gauge_id.0,
            name: facts.name,
            roofs: roofs(&facts.roof, Some(system.id)),
            commissioned_on: facts.commissioned_on,
            demand_l_per_day: facts.demand_l_per_day,
            retired_on: facts.retired_on,
            components: components.into_iter().map(Into::into).collect(),
            version: system.version,
            created_at: system.created_at,
            updated_at: system.updated_at,
        }
    }
}
