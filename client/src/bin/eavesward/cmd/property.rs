//! `eavesward property`: the places where systems are.

use crate::app::{App, PAGE};
use crate::failure::Failure;
use crate::parse::TwelveMonths;
use crate::quantity::Typed;
use crate::show::Units;
use crate::table::Table;
use crate::{parse, show};
use clap::{Args, Subcommand};
use eavesward_client::contract::{self, PropertyRequest};
use eavesward_client::units::{self, Length};
use eavesward_client::{ListQuery, property_update_from};

/// Subcommands for properties.
#[derive(Subcommand)]
pub enum Property {
    /// Register a property
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
        /// Height above sea level, such as "52 m" or "170 ft"; a bare number is metres; sea level by default
        #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
        elevation: Option<Typed<Length>>,
        /// IANA time zone that decides when a day begins
        #[arg(long, value_name = "ZONE")]
        time_zone: String,
        /// Anything the next visitor should know
        #[arg(long, value_name = "TEXT")]
        notes: Option<String>,
        /// Its monthly climate
        #[command(flatten)]
        months: Months,
    },
    /// Set a property's monthly climate; figures that you do not give stay
    Climate {
        /// The property
        property: String,
        /// Its monthly climate
        #[command(flatten)]
        months: Months,
        /// Delete the figures that you do not give
        #[arg(long)]
        clear: bool,
    },
    /// List properties
    List,
    /// Show a property with its climate
    Show {
        /// The property
        property: String,
    },
    /// Remove a property that has no systems
    Remove {
        /// The property
        property: String,
    },
}

/// A property's monthly climate except rain. Each list has twelve numbers with commas, January first in both
/// hemispheres. The units are always degrees Celsius and millimetres.
#[derive(Args)]
pub struct Months {
    /// Mean air temperature of each month in degrees Celsius, twelve numbers with commas, January first
    #[arg(long, value_name = "TWELVE", value_parser = parse::twelve, allow_hyphen_values = true)]
    mean_c: Option<TwelveMonths>,
    /// Mean daily minimum of each month in degrees Celsius, at most the month's mean; twelve numbers with commas,
    /// January first
    #[arg(long, value_name = "TWELVE", value_parser = parse::twelve, allow_hyphen_values = true)]
    mean_minimum_c: Option<TwelveMonths>,
    /// Evaporation from a trap's water seal in mm per day, twelve numbers with commas, January first
    #[arg(long, value_name = "TWELVE", value_parser = parse::twelve)]
    evaporation: Option<TwelveMonths>,
}

impl Months {
    /// Replaces the figures that are given.
    fn put_on(&self, mut request: PropertyRequest) -> PropertyRequest {
        if let Some(mean) = &self.mean_c {
            request = request.mean_c(*mean.0);
        }
        if let Some(minimum) = &self.mean_minimum_c {
            request = request.mean_minimum_c(*minimum.0);
        }
        if let Some(evaporation) = &self.evaporation {
            request = request.evaporation_mm_per_day(*evaporation.0);
        }
        request
    }

    const fn is_empty(&self) -> bool {
        self.mean_c.is_none() && self.mean_minimum_c.is_none() && self.evaporation.is_none()
    }
}

impl Property {
    /// Runs the subcommand.
    pub async fn run(self, app: &mut App<'_>) -> Result<(), Failure> {
        match self {
            Self::Add { name, latitude, longitude, elevation, time_zone, notes, months } => {
                let elevation = match elevation {
                    Some(typed) => typed.get("--elevation", app.units, Length::metres, "\"170 ft\"")?,
                    None => Length::default(),
                };
                let mut request = PropertyRequest::new(name, latitude, longitude, time_zone)
                    .elevation_m(elevation.in_metres());
                request.notes = notes;
                let property = app.client.properties().create(&months.put_on(request)).await?;
                let text = format!("{}  {}", property.id, property.name);
                app.say(&property, text)
            }
            Self::Climate { property, months, clear } => climate(app, &property, &months, clear).await,
            Self::List => list(app).await,
            Self::Show { property } => {
                let id = app.property_id(&property).await?;
                let property = app.client.properties().get(id).await?;
                if app.json {
                    return app.print_json(&property);
                }
                print(app, &property)
            }
            Self::Remove { property } => {
                let id = app.property_id(&property).await?;
                let version = app.client.properties().get(id).await?.version;
                app.client.properties().delete(id, version).await?;
                app.done(format!("Property {id} is removed."))
            }
        }
    }
}

async fn climate(app: &mut App<'_>, given: &str, months: &Months, clear: bool) -> Result<(), Failure> {
    if months.is_empty() && !clear {
        return Err(Failure::usage("give --mean-c, --mean-minimum-c or --evaporation, or --clear"));
    }
    let id = app.property_id(given).await?;
    let known = app.client.properties().get(id).await?;
    let mut request = property_update_from(&known);
    if clear {
        (request.temperatures, request.evaporation_mm_per_day) = (None, None);
    }
    let request = months.put_on(request);
    let property = app.client.properties().update(id, known.version, &request).await?;
    if app.json { app.print_json(&property) } else { print(app, &property) }
}

fn print(app: &mut App<'_>, property: &contract::Property) -> Result<(), Failure> {
    let elevation = show::measure(property.elevation_m, "m", app.units);
    app.line(format!("{}  {}", property.id, property.name))?;
    app.line(format!(
        "Latitude {}, longitude {}, {elevation} above sea level, {}",
        property.latitude_deg, property.longitude_deg, property.time_zone
    ))?;
    property.notes.iter().try_for_each(|notes| app.line(notes))?;
    let temperatures = property.temperatures.clone().unwrap_or_default();
    let evaporation = property.evaporation_mm_per_day.as_deref();
    if temperatures == contract::MonthlyTemperatures::default() && evaporation.is_none() {
        return app.line("No monthly climate. Set it with `eavesward property climate PROPERTY`.");
    }
    let mut table = Table::new(["month", "mean", "mean minimum", "evaporation per day"]);
    let units = app.units;
    let degrees = move |celsius: f64| match units {
        Units::Us => format!("{} °F", show::number(units::celsius_to_fahrenheit(celsius))),
        Units::Si => format!("{} °C", show::number(celsius)),
    };
    let mm = move |mm: f64| show::measure(mm, "mm", units);
    let cell = |values: Option<&[f64]>, month: usize, text: &dyn Fn(f64) -> String| {
        values.and_then(|values| values.get(month)).map_or_else(|| "-".to_owned(), |value| text(*value))
    };
    for (month, name) in show::MONTHS.iter().enumerate() {
        table.row([
            (*name).to_owned(),
            cell(temperatures.mean_c.as_deref(), month, &degrees),
            cell(temperatures.mean_minimum_c.as_deref(), month, &degrees),
            cell(evaporation, month, &mm),
        ]);
    }
    Ok(table.write(app.io.out)?)
}

async fn list(app: &mut App<'_>) -> Result<(), Failure> {
    let query = ListQuery::builder().limit(PAGE).build();
    let properties = app.client.properties().list(&query).all().await?;
    if app.json {
        return app.print_json(&properties);
    }
    if properties.is_empty() {
        return app.line("No properties yet. Register one with `eavesward property add`.");
    }
    let mut table = Table::new(["property", "name", "latitude", "longitude", "time zone"]);
    for property in properties {
        table.row([
            property.id.to_string(),
            property.name,
            property.latitude_deg.to_string(),
            property.longitude_deg.to_string(),
            property.time_zone,
        ]);
    }
    Ok(table.write(app.io.out)?)
}
