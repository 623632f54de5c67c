//! Properties, gauges, systems with their roofs, components with their parts.

use super::super::make::{self, day};
use super::{Case, Form, Rig};
use eavesward_service::domain::base::error::Stored;
use eavesward_service::domain::base::ids::{ComponentId, GaugeId, PropertyId, SystemId};
use eavesward_service::domain::model::component::Component;
use eavesward_service::domain::model::gauge::{Gauge, RainSpan};
use eavesward_service::domain::model::part::{
    Emptying, Exposition, Material, MonthDay, Part, Shade, ValveType,
};
use eavesward_service::domain::model::property::{Months, Property, Temperatures};
use eavesward_service::domain::model::roof::{Canopy, Roof, Surface};
use eavesward_service::domain::model::system::System;
use eavesward_service::domain::ports::store::gauges::GaugeStore as _;
use eavesward_service::domain::ports::store::properties::PropertyStore as _;
use eavesward_service::domain::ports::store::systems::SystemStore as _;
use uuid::Uuid;

pub(super) struct Properties;

impl Form for Properties {
    const FILE: &'static str = "properties";
    type Value = Property;

    fn cases() -> Vec<Case<Property>> {
        let place = |name: &str, months: fn(&mut Months), notes: bool| {
            Case::of(name, |home| {
                let mut place = home.property.clone();
                place.id = PropertyId(Uuid::new_v5(&home.property.id.0, b"another"));
                months(&mut place.facts.months);
                place.facts.notes = place.facts.notes.filter(|_| notes);
                place
            })
        };
        vec![
            place("every month", |_| {}, true),
            place("means alone", |months| months.temperatures.mean_minimum_c = None, true),
            place("minima and evaporation", |months| months.temperatures.mean_c = None, true),
            place("evaporation alone", |months| months.temperatures = Temperatures::default(), false),
            place("no months", |months| *months = Months::default(), false),
        ]
    }

    fn rows(case: &Case<Property>) -> Vec<(&'static str, Uuid)> {
        vec![("properties", case.value.id.0)]
    }

    async fn write(rig: &Rig, case: &Case<Property>) {
        rig.database.insert_property(&case.value).await.unwrap();
    }

    async fn read(rig: &Rig, case: &Case<Property>) -> Stored<Property> {
        let found = rig.database.property(case.home.account, case.value.id).await?;
        Ok(found.expect("a property of this id"))
    }
}

pub(super) struct Gauges;

impl Form for Gauges {
    const FILE: &'static str = "gauges";
    type Value = Gauge;

    fn cases() -> Vec<Case<Gauge>> {
        let gauge = |name: &str| {
            Case::of(name, |home| {
                let id = GaugeId(Uuid::new_v5(&home.gauge.id.0, b"another"));
                let span = RainSpan { from: Some(day(-700)), through: Some(day(-1)), days: 650 };
                Gauge { id, span, ..home.gauge.clone() }
            })
        };
        let mut bare = gauge("neither normals nor readings");
        bare.value.facts.normals = None;
        bare.value.span = RainSpan::default();
        vec![gauge("normals and readings"), bare]
    }

    fn rows(case: &Case<Gauge>) -> Vec<(&'static str, Uuid)> {
        vec![("gauges", case.value.id.0)]
    }

    async fn write(rig: &Rig, case: &Case<Gauge>) {
        rig.database.insert_gauge(&case.value).await.unwrap();
    }

    async fn read(rig: &Rig, case: &Case<Gauge>) -> Stored<Gauge> {
        let found = rig.database.gauge(case.home.account, case.value.id).await?;
        Ok(found.expect("a gauge of this id"))
    }
}

pub(super) struct Systems;

fn system(name: String, roof: Roof, retired: bool) -> Case<System> {
    Case::of(name, |home| {
        let mut system = home.system.clone();
        system.id = SystemId(Uuid::new_v5(&home.system.id.0, b"another"));
        system.facts.roof = roof;
        system.facts.retired_on = retired.then(|| day(30));
        system
    })
}

impl Form for Systems {
    const FILE: &'static str = "systems";
    type Value = System;

    fn cases() -> Vec<Case<System>> {
        let bare = |surface, canopy| Roof::new(120.0, surface).under(canopy, 0.0);
        let surfaces = Surface::ALL
            .iter()
            .map(|&one| system(format!("a roof of {}", one.code()), bare(one, Canopy::None), false));
        let canopies = Canopy::ALL
            .iter()
            .map(|&one| system(format!("a canopy of {}", one.code()), bare(Surface::Metal, one), false));
        let full = Roof {
            runoff_coefficient: Some(0.1 + 0.2),
            wetting_loss_mm: Some(1.25),
            canopy_share: 0.75,
            ..bare(Surface::Tile, Canopy::Conifer)
        };
        let full = system("every figure of a roof, retired".to_owned(), full, true);
        surfaces.chain(canopies).chain([full]).collect()
    }

    fn rows(case: &Case<System>) -> Vec<(&'static str, Uuid)> {
        vec![("systems", case.value.id.0)]
    }

    async fn write(rig: &Rig, case: &Case<System>) {
        rig.database.insert_system(&case.value, &[]).await.unwrap();
    }

    async fn read(rig: &Rig, case: &Case<System>) -> Stored<System> {
        let found = rig.database.system(case.home.account, case.value.id).await?;
        Ok(found.expect("a system of this id"))
    }
}

/// Every way to empty a diverter. A new one does not compile here until it has its case.
fn emptyings() -> Vec<(&'static str, Emptying)> {
    let all = vec![
        ("by hand", Emptying::Hand),
        ("by a hole", Emptying::WeepHole { hole_mm: 2.5, head_m: 1.25 }),
        ("by a drip", Emptying::Drip { litres_per_hour: 0.1 + 0.2 }),
    ];
    let number = |one: &Emptying| match one {
        Emptying::Hand => 0,
        Emptying::WeepHole { .. } => 1,
        Emptying::Drip { .. } => 2,
    };
    assert!(all.iter().map(|(_, one)| number(one)).eq(0..3));
    all
}

fn couplings() -> Vec<(String, Part)> {
    let part =
        |material, exposition, shade| Part::Coupling { material, exposition, shade, shade_share: None };
    let (epdm, pipe, sun) = (Material::Epdm, Exposition::VerticalPipe, Shade::FullSun);
    let named = |code: &str, part| (format!("a coupling, {code}"), part);
    let materials = Material::ALL.iter().map(|&one| named(one.code(), part(one, pipe, sun)));
    let expositions = Exposition::ALL.iter().map(|&one| named(one.code(), part(epdm, one, sun)));
    let shades = Shade::ALL.iter().map(|&one| named(one.code(), part(epdm, pipe, one)));
    let measured = Part::Coupling {
        material: Material::Neoprene,
        exposition: Exposition::FacingPole,
        shade: Shade::UnderEaves,
        shade_share: Some(0.625),
    };
    let measured = ("a coupling with its share of shade".to_owned(), measured);
    materials.chain(expositions).chain(shades).chain([measured]).collect()
}

/// Parts with every optional figure.
pub(super) fn full_parts() -> Vec<Part> {
    let [_, tank, _] = make::parts();
    vec![
        Part::Roof { fragile: true },
        Part::Gutter { length_m: 24.5, guarded: true },
        Part::DebrisScreen { area_m2: 0.5, mesh_mm: Some(1.5) },
        Part::FirstFlushDiverter { chamber_volume_l: 60.5, emptying: Emptying::Hand },
        Part::Coupling {
            material: Material::NaturalOrSbr,
            exposition: Exposition::TiltedToEquator,
            shade: Shade::Covered,
            shade_share: Some(0.875),
        },
        tank,
        Part::FloatingIntake { mesh_mm: Some(1.25) },
        Part::OverflowTrap { seal_depth_mm: 75.0 },
        Part::Vent { mesh_mm: Some(0.75) },
        Part::Valve { valve_type: ValveType::Ball },
        Part::LevelGauge,
        Part::Pump { mains_powered: true },
        Part::PressureVessel { volume_l: Some(24.0) },
        Part::CartridgeFilter { rated_volume_l: Some(30_000.0) },
        Part::DisinfectionLamp { rated_hours: Some(9000.0), hours_per_day: 24.0 },
        Part::ExposedPipework {
            first_frost: Some(MonthDay { month: 11, day: 5 }),
            last_frost: Some(MonthDay { month: 2, day: 29 }),
        },
    ]
}

/// Parts without the figures that may be absent, and with their flags down.
fn bare_parts() -> Vec<Part> {
    vec![
        Part::Roof { fragile: false },
        Part::Gutter { length_m: 24.5, guarded: false },
        Part::DebrisScreen { area_m2: 0.5, mesh_mm: None },
        Part::tank(5000.0, 3.5, 0.0, false),
        Part::FloatingIntake { mesh_mm: None },
        Part::Vent { mesh_mm: None },
        Part::Pump { mains_powered: false },
        Part::PressureVessel { volume_l: None },
        Part::CartridgeFilter { rated_volume_l: None },
        Part::DisinfectionLamp { rated_hours: None, hours_per_day: 8.5 },
        Part::ExposedPipework { first_frost: None, last_frost: None },
    ]
}

pub(super) struct Components;

fn component(name: String, part: Part) -> Case<Component> {
    Case::of(name, |home| Component {
        id: ComponentId(Uuid::new_v5(&home.system.id.0, b"another component")),
        ..make::new_component(home.system.id, 12, part)
    })
}

impl Form for Components {
    const FILE: &'static str = "components";
    type Value = Component;

    fn cases() -> Vec<Case<Component>> {
        let full = full_parts().into_iter().map(|part| (format!("full: {}", part.kind().code()), part));
        let bare = bare_parts().into_iter().map(|part| (format!("bare: {}", part.kind().code()), part));
        let diverters = emptyings().into_iter().map(|(how, emptying)| {
            let part = Part::FirstFlushDiverter { chamber_volume_l: 60.5, emptying };
            (format!("a diverter emptied {how}"), part)
        });
        let valves = ValveType::ALL
            .iter()
            .map(|&valve_type| (format!("a valve, {}", valve_type.code()), Part::Valve { valve_type }));
        let all = full.chain(bare).chain(diverters).chain(couplings()).chain(valves);
        let mut cases: Vec<Case<Component>> = all.map(|(name, part)| component(name, part)).collect();
        let mut last = component("in the place of another, taken out".to_owned(), Part::LevelGauge);
        last.value.replaces = Some(last.home.components[2].id);
        last.value.removed_on = Some(day(40));
        last.value.facts.last_served_on = None;
        cases.push(last);
        cases
    }

    fn rows(case: &Case<Component>) -> Vec<(&'static str, Uuid)> {
        vec![("components", case.value.id.0)]
    }

    async fn write(rig: &Rig, case: &Case<Component>) {
        rig.database.insert_component(case.home.account, &case.value).await.unwrap();
    }

    async fn read(rig: &Rig, case: &Case<Component>) -> Stored<Component> {
        let found = rig.database.component(case.home.account, case.value.id).await?;
        Ok(found.expect("a component of this id"))
    }
}
