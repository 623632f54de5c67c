//! `eavesward system`: one roof, one gauge and what is between them and the tap.

use crate::app::{App, PAGE};
use crate::failure::Failure;
use crate::table::Table;
use crate::{cmd::component, show};
use chrono::NaiveDate;
use clap::Subcommand;
use eavesward_client::contract::{self, SystemCreateRequest};
use eavesward_client::{SystemQuery, system_update_from};
use serde_json::{Value, json};
use std::io::Write;
use std::path::PathBuf;

/// What to do with systems.
#[derive(Subcommand)]
pub enum System {
    /// Register a system from a JSON file; `system example` prints one to start from
    Add {
        /// The file; - is standard input
        #[arg(long)]
        file: PathBuf,
        /// The property it stands at, if the file does not say or says otherwise
        #[arg(long, value_name = "PROPERTY")]
        property: Option<String>,
        /// The gauge whose rain falls on it, if the file does not say or says otherwise
        #[arg(long, value_name = "GAUGE")]
        gauge: Option<String>,
    },
    /// Print a file for `system add` to change to what is there
    Example,
    /// List systems
    List {
        /// Only at this property
        #[arg(long, value_name = "PROPERTY")]
        property: Option<String>,
        /// Only under this gauge
        #[arg(long, value_name = "GAUGE")]
        gauge: Option<String>,
    },
    /// Show a system with its components
    Show {
        /// The system
        system: String,
    },
    /// Take a system out of service; nothing falls due from then on
    Retire {
        /// The system
        system: String,
        /// The day it was taken out of service
        #[arg(long, value_name = "DATE")]
        on: NaiveDate,
    },
}

impl System {
    /// Does it.
    pub async fn run(self, app: &mut App<'_>) -> Result<(), Failure> {
        match self {
            Self::Add { file, property, gauge } => {
                let mut value: Value = app.read_json(&file)?;
                if !value.is_object() {
                    return Err(Failure::usage(format!("{} does not hold a JSON object", file.display())));
                }
                if let Some(property) = &property {
                    value["property_id"] = json!(app.property_id(property).await?);
                }
                if let Some(gauge) = &gauge {
                    value["gauge_id"] = json!(app.gauge_id(gauge).await?);
                }
                let request: SystemCreateRequest = serde_path_to_error::deserialize(value).map_err(|e| {
                    Failure::usage(format!("{} at `{}`: {}", file.display(), e.path(), e.inner()))
                })?;
                let system = app.client.systems().create(&request).await?;
                if app.json { app.print_json(&system) } else { print(app, &system) }
            }
            Self::Example => example(app.io.out),
            Self::List { property, gauge } => list(app, property.as_deref(), gauge.as_deref()).await,
            Self::Show { system } => {
                let id = app.system_id(&system).await?;
                let system = app.client.systems().get(id).await?;
                if app.json { app.print_json(&system) } else { print(app, &system) }
            }
            Self::Retire { system, on } => {
                let id = app.system_id(&system).await?;
                let known = app.client.systems().get(id).await?;
                let mut request = system_update_from(&known);
                request.retired_on = Some(on);
                let system = app.client.systems().update(id, known.version, &request).await?;
                app.say(&system, format!("{} is out of service from {on}.", system.name))
            }
        }
    }
}

async fn list(app: &mut App<'_>, property: Option<&str>, gauge: Option<&str>) -> Result<(), Failure> {
    let mut query = SystemQuery::builder().limit(PAGE).build();
    if let Some(property) = property {
        query.property_id = Some(app.property_id(property).await?);
    }
    if let Some(gauge) = gauge {
        query.gauge_id = Some(app.gauge_id(gauge).await?);
    }
    let systems = app.client.systems().list(&query).all().await?;
    if app.json {
        return app.print_json(&systems);
    }
    if systems.is_empty() {
        return app.line("No systems there. Register one with `eavesward system add --file FILE`.");
    }
    let mut table = Table::new(["system", "name", "roof", "surface", "components", "in service", "retired"]);
    for system in systems {
        table.row([
            system.id.to_string(),
            system.name,
            show::measure(system.roof.plan_area_m2, "m2", app.units),
            show::words(&system.roof.surface),
            system.components.len().to_string(),
            system.commissioned_on.to_string(),
            show::date(system.retired_on),
        ]);
    }
    Ok(table.write(app.io.out)?)
}

fn print(app: &mut App<'_>, system: &contract::System) -> Result<(), Failure> {
    let roof = &system.roof;
    app.line(format!("{}  {}", system.id, system.name))?;
    app.line(format!("Property {}, gauge {}", system.property_id, system.gauge_id))?;
    let retired = system.retired_on.map(|on| format!(", out of service from {on}")).unwrap_or_default();
    let demand = show::measure(system.demand_l_per_day, "L", app.units);
    app.line(format!("In service since {}{retired}; {demand} drawn a day", system.commissioned_on))?;
    app.line(format!(
        "Roof: {} of {}; {} % of the rain runs off after the first {}; canopy: {}, over {} % of it",
        show::measure(roof.plan_area_m2, "m2", app.units),
        show::words(&roof.surface),
        show::number(roof.runoff_coefficient * 100.0),
        show::measure(roof.wetting_loss_mm, "mm", app.units),
        show::words(&roof.canopy),
        show::number(roof.canopy_share * 100.0)
    ))?;
    if system.components.is_empty() {
        return app.line("No components yet. Add one with `eavesward component add`.");
    }
    app.line("")?;
    component::table(app, &system.components)
}

/// Prints a file for `system add`. It is made from typed values, so it cannot fall behind the contract.
pub fn example(out: &mut dyn Write) -> Result<(), Failure> {
    use contract::{ComponentRequest, Emptying, Part, RoofRequest, Surface};
    let day = NaiveDate::from_ymd_opt(2025, 4, 1).unwrap_or_default();
    let component = |name: &str, part: Part| ComponentRequest {
        name: name.to_owned(),
        part,
        installed_on: day,
        last_served_on: None,
    };
    let example = SystemCreateRequest {
        property_id: uuid::Uuid::nil(),
        gauge_id: uuid::Uuid::nil(),
        name: "orchard shed".to_owned(),
        roof: RoofRequest {
            plan_area_m2: 48.0,
            surface: Surface::Metal,
            runoff_coefficient: None,
            wetting_loss_mm: None,
            canopy: contract::Canopy::Deciduous,
            canopy_share: 0.25,
        },
        commissioned_on: day,
        demand_l_per_day: 60.0,
        components: vec![
            component("gutter", Part::Gutter { length_m: 16.0, guarded: false }),
            component("north screen", Part::DebrisScreen { area_m2: 0.04, mesh_mm: Some(1.0) }),
            component(
                "first flush",
                Part::FirstFlushDiverter {
                    chamber_volume_l: 24.0,
                    emptying: Emptying::WeepHole { hole_mm: 2.0, head_m: 1.2 },
                },
            ),
            component(
                "tank",
                Part::Tank {
                    capacity_l: 5000.0,
                    floor_area_m2: 2.5,
                    outlet_height_mm: 150.0,
                    calmed_inlet: true,
                    sediment_limit_mm: None,
                },
            ),
        ],
    };
    serde_json::to_writer_pretty(&mut *out, &example)?;
    Ok(writeln!(out)?)
}
