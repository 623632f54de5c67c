//! `eavesward gauge`: where rain is measured.

use crate::app::{App, PAGE};
use crate::failure::Failure;
use crate::quantity::Typed;
use crate::table::Table;
use crate::{parse, show};
use clap::{Args, Subcommand};
use eavesward_client::ListQuery;
use eavesward_client::contract::{self, GaugeRequest, MonthlyNormals};
use eavesward_client::units::Length;
use std::path::PathBuf;

/// Subcommands for rain gauges.
#[derive(Subcommand)]
pub enum Gauge {
    /// Register a rain gauge
    Add {
        /// What it is called
        #[arg(long)]
        name: String,
        /// Degrees north of the equator; negative is south
        #[arg(long, value_name = "DEGREES", allow_negative_numbers = true)]
        latitude: f64,
        /// Degrees east of Greenwich; negative is west
        #[arg(long, value_name = "DEGREES", allow_negative_numbers = true)]
        longitude: f64,
    },
    /// List rain gauges
    List,
    /// Show a rain gauge with its normals
    Show {
        /// The gauge
        gauge: String,
    },
    /// Set a rain gauge's monthly normals, in addition to daily rain or instead of it
    Normals {
        /// The gauge
        gauge: String,
        /// The normals
        #[command(flatten)]
        normals: NormalsSource,
    },
    /// Remove a rain gauge that no system uses, and its readings
    Remove {
        /// The gauge
        gauge: String,
    },
}

/// The source of the normals.
#[derive(Args)]
pub struct NormalsSource {
    /// Twelve lines, January first, each with rain in mm and the number of wet days; - is standard input
    #[arg(required_unless_present_any = ["rain_mm", "clear"], conflicts_with_all = ["rain_mm", "wet_days", "clear"])]
    file: Option<PathBuf>,
    /// Rain of each month in mm, twelve numbers with commas, January first
    #[arg(long, value_delimiter = ',', value_name = "MM", requires = "wet_days", conflicts_with = "clear")]
    rain_mm: Vec<f64>,
    /// Wet days of each month, twelve numbers with commas, January first
    #[arg(long, value_delimiter = ',', value_name = "DAYS", requires = "rain_mm")]
    wet_days: Vec<f64>,
    /// The least rain of a wet day, such as "1 mm" or "0.04 in"; a bare number is mm; 1 mm by default
    #[arg(long, value_name = "LENGTH")]
    wet_day_threshold: Option<Typed<Length>>,
    /// Years of record behind the normals
    #[arg(long, default_value_t = 30.0)]
    years: f64,
    /// Delete the normals
    #[arg(long)]
    clear: bool,
}

impl Gauge {
    /// Runs the subcommand.
    pub async fn run(self, app: &mut App<'_>) -> Result<(), Failure> {
        match self {
            Self::Add { name, latitude, longitude } => {
                let request = GaugeRequest::new(name, latitude, longitude);
                let gauge = app.client.gauges().create(&request).await?;
                let text = format!("{}  {}", gauge.id, gauge.name);
                app.say(&gauge, text)
            }
            Self::List => list(app).await,
            Self::Show { gauge } => {
                let id = app.gauge_id(&gauge).await?;
                let gauge = app.client.gauges().get(id).await?;
                if app.json { app.print_json(&gauge) } else { print(app, &gauge) }
            }
            Self::Normals { gauge, normals } => {
                let normals = normals.read(app)?;
                let id = app.gauge_id(&gauge).await?;
                let known = app.client.gauges().get(id).await?;
                let request = GaugeRequest::new(known.name, known.latitude_deg, known.longitude_deg);
                let request = request.normals(normals);
                let gauge = app.client.gauges().update(id, known.version, &request).await?;
                if app.json { app.print_json(&gauge) } else { print(app, &gauge) }
            }
            Self::Remove { gauge } => {
                let id = app.gauge_id(&gauge).await?;
                let version = app.client.gauges().get(id).await?.version;
                app.client.gauges().delete(id, version).await?;
                app.done(format!("Gauge {id} is removed."))
            }
        }
    }
}

impl NormalsSource {
    fn read(self, app: &mut App<'_>) -> Result<Option<MonthlyNormals>, Failure> {
        if self.clear {
            return Ok(None);
        }
        let threshold = match self.wet_day_threshold {
            Some(typed) => typed.get("--wet-day-threshold", app.units, Length::millimetres, "\"0.04 in\"")?,
            None => Length::millimetres(1.0),
        };
        if let Some(file) = &self.file {
            let text = app.read_text(file)?;
            let read = parse::normals(&text, threshold.in_millimetres(), self.years);
            return read.map(Some).map_err(|told| Failure::usage(format!("{}: {told}", file.display())));
        }
        if self.rain_mm.len() != 12 || self.wet_days.len() != 12 {
            let (rain, wet) = (self.rain_mm.len(), self.wet_days.len());
            return Err(Failure::usage(format!(
                "--rain-mm and --wet-days need twelve numbers each, January first, but have {rain} and {wet}"
            )));
        }
        let normals = MonthlyNormals::new(self.rain_mm, self.wet_days).years(self.years);
        Ok(Some(normals.wet_day_threshold_mm(threshold.in_millimetres())))
    }
}

async fn list(app: &mut App<'_>) -> Result<(), Failure> {
    let gauges = app.client.gauges().list(&ListQuery::builder().limit(PAGE).build()).all().await?;
    if app.json {
        return app.print_json(&gauges);
    }
    if gauges.is_empty() {
        return app.line("No rain gauges yet. Register one with `eavesward gauge add`.");
    }
    let mut table = Table::new(["gauge", "name", "from", "through", "days", "normals"]);
    for gauge in gauges {
        table.row([
            gauge.id.to_string(),
            gauge.name,
            show::date(gauge.rain_from),
            show::date(gauge.rain_through),
            gauge.rain_days.to_string(),
            if gauge.normals.is_some() { "yes" } else { "no" }.to_owned(),
        ]);
    }
    Ok(table.write(app.io.out)?)
}

fn print(app: &mut App<'_>, gauge: &contract::Gauge) -> Result<(), Failure> {
    app.line(format!("{}  {}", gauge.id, gauge.name))?;
    app.line(format!("Latitude {}, longitude {}", gauge.latitude_deg, gauge.longitude_deg))?;
    match (gauge.rain_from, gauge.rain_through) {
        (Some(from), Some(through)) => {
            let days = show::counted(gauge.rain_days.unsigned_abs(), "day", "days");
            app.line(format!("{days} with a reading, {from} to {through}"))?;
        }
        _ => app.line("No readings yet. Send some with `eavesward rain import GAUGE FILE`.")?,
    }
    let Some(normals) = &gauge.normals else {
        return app.line("No normals. Set them with `eavesward gauge normals GAUGE FILE`.");
    };
    let threshold = show::measure(normals.wet_day_threshold_mm, "mm", app.units);
    app.line(format!("Normals (years of record: {}); a wet day has {threshold} or more", normals.years))?;
    let mut table = Table::new(["month", "rain", "wet days"]);
    for (month, (rain, wet)) in show::MONTHS.iter().zip(normals.rain_mm.iter().zip(&normals.wet_days)) {
        table.row([(*month).to_owned(), show::measure(*rain, "mm", app.units), show::number(*wet)]);
    }
    Ok(table.write(app.io.out)?)
}
