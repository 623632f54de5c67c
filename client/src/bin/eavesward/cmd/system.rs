//! `eavesward system`: one roof, one rain gauge and the parts between roof and tap.

use crate::app::{App, PAGE};
use crate::cmd::part::RoofFlags;
use crate::failure::Failure;
use crate::quantity::Typed;
use crate::table::Table;
use crate::{cmd::component, show};
use chrono::NaiveDate;
use clap::{Args, Subcommand};
use eavesward_client::contract::{self, SystemCreateRequest};
use eavesward_client::units::Volume;
use eavesward_client::{SystemQuery, build, system_update_from};
use serde_json::{Value, json};
use std::io::Write;
use std::path::{Path, PathBuf};

/// Subcommands for systems.
#[derive(Subcommand)]
pub enum System {
    /// Register a system by flags, or with its components from a JSON file; `system example` prints a file to start
    /// from
    Add(Box<Add>),
    /// Print an example file for `system add`; change it to describe your system
    Example,
    /// List systems
    List {
        /// Only at this property
        #[arg(long, value_name = "PROPERTY")]
        property: Option<String>,
        /// Only with this rain gauge
        #[arg(long, value_name = "GAUGE")]
        gauge: Option<String>,
    },
    /// Show a system with its components
    Show {
        /// The system
        system: String,
    },
    /// Retire a system; nothing falls due from then on
    Retire {
        /// The system
        system: String,
        /// The day it was taken out of service
        #[arg(long, value_name = "DATE")]
        on: NaiveDate,
    },
}

/// The data of a new system.
#[derive(Args)]
pub struct Add {
    /// The file; - is standard input
    #[arg(long, required_unless_present = "name", conflicts_with = "name")]
    file: Option<PathBuf>,
    /// The system's property; needed unless the file names it
    #[arg(long, value_name = "PROPERTY")]
    property: Option<String>,
    /// The rain gauge for the system; needed unless the file names it
    #[arg(long, value_name = "GAUGE")]
    gauge: Option<String>,
    /// What it is called
    #[arg(long, requires_all = ["property", "gauge", "roof", "surface", "commissioned"])]
    name: Option<String>,
    /// Its roof
    #[command(flatten)]
    roof: RoofFlags,
    /// The day it went into service
    #[arg(long, value_name = "DATE")]
    commissioned: Option<NaiveDate>,
    /// Water drawn per day, such as "30 gal" or "100 L"; a bare number is litres; 0 by default
    #[arg(long, value_name = "VOLUME")]
    demand: Option<Typed<Volume>>,
}

impl Add {
    async fn run(self, app: &mut App<'_>) -> Result<(), Failure> {
        let request = match &self.file {
            Some(file) => self.read(app, file).await?,
            None => self.put_together(app).await?,
        };
        let system = app.client.systems().create(&request).await?;
        if app.json { app.print_json(&system) } else { print(app, &system) }
    }

    async fn read(&self, app: &mut App<'_>, file: &Path) -> Result<SystemCreateRequest, Failure> {
        let mut value: Value = app.read_json(file)?;
        if !value.is_object() {
            return Err(Failure::usage(format!("{} does not hold a JSON object", file.display())));
        }
        if let Some(property) = &self.property {
            value["property_id"] = json!(app.property_id(property).await?);
        }
        if let Some(gauge) = &self.gauge {
            value["gauge_id"] = json!(app.gauge_id(gauge).await?);
        }
        serde_path_to_error::deserialize(value)
            .map_err(|e| Failure::usage(format!("{} at `{}`: {}", file.display(), e.path(), e.inner())))
    }

    async fn put_together(self, app: &mut App<'_>) -> Result<SystemCreateRequest, Failure> {
        let told = || {
            Failure::usage(
                "give --file, or --name, --property, --gauge, --roof, --surface and --commissioned",
            )
        };
        let roof = self.roof.roof(app.units)?.ok_or_else(told)?;
        let demand = match self.demand {
            Some(typed) => typed.get("--demand", app.units, Volume::litres, "\"30 gal\"")?,
            None => Volume::default(),
        };
        let (Some(name), Some(property), Some(gauge), Some(on)) =
            (self.name, self.property, self.gauge, self.commissioned)
        else {
            return Err(told());
        };
        let (property, gauge) = (app.property_id(&property).await?, app.gauge_id(&gauge).await?);
        Ok(build::with_demand(build::system(property, gauge, name, roof, on), demand))
    }
}

impl System {
    /// Runs the subcommand.
    pub async fn run(self, app: &mut App<'_>) -> Result<(), Failure> {
        match self {
            Self::Add(add) => add.run(app).await,
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
                let several = || Failure::usage("this command changes systems with one roof only");
                let mut request = system_update_from(&known).ok_or_else(several)?;
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
        return app.line("No systems found. Register one with `eavesward system add --file FILE`.");
    }
    let mut table = Table::new(["system", "name", "roof", "surface", "components", "in service", "retired"]);
    for system in systems {
        table.row([
            system.id.to_string(),
            system.name,
            show::measure(system.roofs.iter().map(|roof| roof.plan_area_m2).sum(), "m2", app.units),
            show::list(system.roofs.iter().map(|roof| show::words(&roof.surface))),
            system.components.len().to_string(),
            system.commissioned_on.to_string(),
            show::date(system.retired_on),
        ]);
    }
    Ok(table.write(app.io.out)?)
}

fn print(app: &mut App<'_>, system: &contract::System) -> Result<(), Failure> {
    app.line(format!("{}  {}", system.id, system.name))?;
    app.line(format!("Property {}, gauge {}", system.property_id, system.gauge_id))?;
    let retired = system.retired_on.map(|on| format!(", out of service from {on}")).unwrap_or_default();
    let demand = show::measure(system.demand_l_per_day, "L", app.units);
    app.line(format!("In service since {}{retired}; {demand} drawn per day", system.commissioned_on))?;
    for roof in &system.roofs {
        app.line(format!(
            "{}: {} of {}; {} % of the rain runs off after the first {}; canopy: {}, over {} % of the roof",
            roof.name,
            show::measure(roof.plan_area_m2, "m2", app.units),
            show::words(&roof.surface),
            show::number(roof.runoff_coefficient * 100.0),
            show::measure(roof.wetting_loss_mm, "mm", app.units),
            show::words(&roof.canopy),
            show::number(roof.canopy_share * 100.0)
        ))?;
    }
    if system.components.is_empty() {
        return app.line("No components yet. Add one with `eavesward component add`.");
    }
    app.line("")?;
    component::table(app, &system.components)
}

/// Prints a file for `system add`. It is made from the contract's types, so it always fits the contract.
pub fn example(out: &mut dyn Write) -> Result<(), Failure> {
    use contract::{ComponentRequest, Emptying, Part, RoofRequest, Surface};
    let day = NaiveDate::from_ymd_opt(2025, 4, 1).unwrap_or_default();
    let component = |name: &str, part: Part| ComponentRequest::new(name, part, day);
    let roof = RoofRequest::new(48.0, Surface::Metal).canopy(contract::Canopy::Deciduous).canopy_share(0.25);
    let nobody = uuid::Uuid::nil();
    let example = SystemCreateRequest::new(nobody, nobody, "orchard shed", roof, day).demand_l_per_day(60.0);
    let example = example.components([
        component("gutter", Part::gutter(16.0).into()),
        component("north screen", Part::debris_screen(0.04).mesh_mm(1.0).into()),
        component("first flush", Part::first_flush_diverter(24.0, Emptying::weep_hole(2.0, 1.2))),
        component("tank", Part::tank(5000.0, 2.5, 150.0).calmed_inlet(true).into()),
    ]);
    serde_json::to_writer_pretty(&mut *out, &example)?;
    Ok(writeln!(out)?)
}
