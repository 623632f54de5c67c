//! Components and their parts.

use super::{known, mirror_open};
use crate::domain::base::error;
use crate::domain::base::ids::RoofId;
use crate::domain::model::component;
use crate::domain::model::part::{self, Emptying, Part};
use eavesward_contract as wire;

mirror_open!(ComponentKind: part::Kind {
    Roof, Gutter, DebrisScreen, FirstFlushDiverter, Coupling, Tank, FloatingIntake, OverflowTrap, Vent, Valve,
    LevelGauge, Pump, PressureVessel, CartridgeFilter, DisinfectionLamp, ExposedPipework,
} or wire::ComponentKind::Other(_));
mirror_open!(CouplingMaterial: part::Material { Epdm, Neoprene, NaturalOrSbr, PlasticisedPvc });
mirror_open!(Exposition: part::Exposition {
    VerticalPipe, Horizontal, FacingEquator, FacingEastOrWest, FacingPole, TiltedToEquator,
});
mirror_open!(Shade: part::Shade { FullSun, PartShade, UnderEaves, Covered });
mirror_open!(ValveType: part::ValveType { Ball, Gate });

impl TryFrom<wire::Emptying> for Emptying {
    type Error = ();
    fn try_from(emptying: wire::Emptying) -> Result<Self, ()> {
        Ok(match emptying {
            wire::Emptying::Hand {} => Self::Hand,
            wire::Emptying::WeepHole { hole_mm, head_m } => Self::WeepHole { hole_mm, head_m },
            wire::Emptying::Drip { litres_per_hour } => Self::Drip { litres_per_hour },
            wire::Emptying::Unknown => return Err(()),
        })
    }
}

impl From<Emptying> for wire::Emptying {
    fn from(emptying: Emptying) -> Self {
        match emptying {
            Emptying::Hand => Self::Hand {},
            Emptying::WeepHole { hole_mm, head_m } => Self::WeepHole { hole_mm, head_m },
            Emptying::Drip { litres_per_hour } => Self::Drip { litres_per_hour },
        }
    }
}

impl From<wire::MonthDay> for part::MonthDay {
    fn from(day: wire::MonthDay) -> Self {
        Self { month: day.month, day: day.day }
    }
}

impl From<part::MonthDay> for wire::MonthDay {
    fn from(day: part::MonthDay) -> Self {
        Self { month: day.month, day: day.day }
    }
}

impl TryFrom<wire::Part> for Part {
    type Error = error::Error;
    fn try_from(part: wire::Part) -> error::Result<Self> {
        use wire::Part as W;
        Ok(match part {
            W::Roof { fragile } => Self::Roof { fragile },
            W::Gutter { length_m, guarded } => Self::Gutter { length_m, guarded },
            W::DebrisScreen { area_m2, mesh_mm } => Self::DebrisScreen { area_m2, mesh_mm },
            W::FirstFlushDiverter { chamber_volume_l, emptying } => {
                Self::FirstFlushDiverter { chamber_volume_l, emptying: known(emptying, "part.emptying.by")? }
            }
            W::Coupling { material, exposition, shade, shade_share } => Self::Coupling {
                material: known(material, "part.material")?,
                exposition: known(exposition, "part.exposition")?,
                shade: known(shade, "part.shade")?,
                shade_share,
            },
            W::Tank { capacity_l, floor_area_m2, outlet_height_mm, calmed_inlet, sediment_limit_mm } => {
                Self::Tank { capacity_l, floor_area_m2, outlet_height_mm, calmed_inlet, sediment_limit_mm }
            }
            W::FloatingIntake { mesh_mm } => Self::FloatingIntake { mesh_mm },
            W::OverflowTrap { seal_depth_mm } => Self::OverflowTrap { seal_depth_mm },
            W::Vent { mesh_mm } => Self::Vent { mesh_mm },
            W::Valve { valve_type } => Self::Valve { valve_type: known(valve_type, "part.valve_type")? },
            W::LevelGauge {} => Self::LevelGauge,
            W::Pump { mains_powered } => Self::Pump { mains_powered },
            W::PressureVessel { volume_l } => Self::PressureVessel { volume_l },
            W::CartridgeFilter { rated_volume_l } => Self::CartridgeFilter { rated_volume_l },
            W::DisinfectionLamp { rated_hours, hours_per_day } => {
                Self::DisinfectionLamp { rated_hours, hours_per_day }
            }
            W::ExposedPipework { first_frost, last_frost } => Self::ExposedPipework {
                first_frost: first_frost.map(Into::into),
                last_frost: last_frost.map(Into::into),
            },
            W::Unknown => return Err(unknown_kind()),
        })
    }
}

fn unknown_kind() -> error::Error {
    error::Error::field("part.kind", "this version of the service does not know this kind of part")
}

impl From<Part> for wire::Part {
    fn from(part: Part) -> Self {
        match part {
            Part::Roof { fragile } => Self::Roof { fragile },
            Part::Gutter { length_m, guarded } => Self::Gutter { length_m, guarded },
            Part::DebrisScreen { area_m2, mesh_mm } => Self::DebrisScreen { area_m2, mesh_mm },
            Part::FirstFlushDiverter { chamber_volume_l, emptying } => {
                Self::FirstFlushDiverter { chamber_volume_l, emptying: emptying.into() }
            }
            Part::Coupling { material, exposition, shade, shade_share } => Self::Coupling {
                material: material.into(),
                exposition: exposition.into(),
                shade: shade.into(),
                shade_share,
            },
            Part::Tank { capacity_l, floor_area_m2, outlet_height_mm, calmed_inlet, sediment_limit_mm } => {
                Self::Tank { capacity_l, floor_area_m2, outlet_height_mm, calmed_inlet, sediment_limit_mm }
            }
            Part::FloatingIntake { mesh_mm } => Self::FloatingIntake { mesh_mm },
            Part::OverflowTrap { seal_depth_mm } => Self::OverflowTrap { seal_depth_mm },
            Part::Vent { mesh_mm } => Self::Vent { mesh_mm },
            Part::Valve { valve_type } => Self::Valve { valve_type: valve_type.into() },
            Part::LevelGauge => Self::LevelGauge {},
            Part::Pump { mains_powered } => Self::Pump { mains_powered },
            Part::PressureVessel { volume_l } => Self::PressureVessel { volume_l },
            Part::CartridgeFilter { rated_volume_l } => Self::CartridgeFilter { rated_volume_l },
            Part::DisinfectionLamp { rated_hours, hours_per_day } => {
                Self::DisinfectionLamp { rated_hours, hours_per_day }
            }
            Part::ExposedPipework { first_frost, last_frost } => Self::ExposedPipework {
                first_frost: first_frost.map(Into::into),
                last_frost: last_frost.map(Into::into),
            },
        }
    }
}

impl TryFrom<wire::ComponentRequest> for component::ComponentFacts {
    type Error = error::Error;
    fn try_from(request: wire::ComponentRequest) -> error::Result<Self> {
        Ok(Self {
            name: request.name,
            part: request.part.try_into()?,
            installed_on: request.installed_on,
            last_served_on: request.last_served_on,
        })
    }
}

impl From<component::Component> for wire::Component {
    fn from(component: component::Component) -> Self {
        let facts = component.facts;
        Self {
            id: component.id.0,
            system_id: component.system_id.0,
            roof_ids: vec![RoofId::of(component.system_id).0],
            name: facts.name,
            part: facts.part.into(),
            installed_on: facts.installed_on,
            last_served_on: facts.last_served_on,
            retired_on: component.removed_on,
            replaces_id: component.replaces.map(|id| id.0),
            version: component.version,
            created_at: component.created_at,
            updated_at: component.updated_at,
        }
    }
}

impl TryFrom<wire::ReplaceRequest> for component::Replacement {
    type Error = error::Error;
    fn try_from(request: wire::ReplaceRequest) -> error::Result<Self> {
        let part = request.part.map(TryInto::try_into).transpose()?;
        Ok(Self { on: request.on, part, name: request.name })
    }
}
