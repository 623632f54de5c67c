//! `eavesward property`: the places that systems stand at.

use crate::app::{App, PAGE};
use crate::failure::Failure;
use crate::show;
use crate::table::Table;
use clap::Subcommand;
use eavesward_client::ListQuery;
use eavesward_client::contract::PropertyRequest;

/// What to do with properties.
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
        /// Metres above sea level
        #[arg(long, value_name = "METRES", default_value_t = 0.0, allow_negative_numbers = true)]
        elevation: f64,
        /// IANA time zone, in which days are counted
        #[arg(long, value_name = "ZONE")]
        time_zone: String,
        /// Anything the next visitor should know
        #[arg(long, value_name = "TEXT")]
        notes: Option<String>,
    },
    /// List properties
    List,
    /// Show a property
    Show {
        /// The property
        property: String,
    },
    /// Remove a property that no system stands at
    Remove {
        /// The property
        property: String,
    },
}

impl Property {
    /// Does it.
    pub async fn run(self, app: &mut App<'_>) -> Result<(), Failure> {
        match self {
            Self::Add { name, latitude, longitude, elevation, time_zone, notes } => {
                let request = PropertyRequest {
                    name,
                    latitude_deg: latitude,
                    longitude_deg: longitude,
                    elevation_m: elevation,
                    time_zone,
                    notes,
                };
                let property = app.client.properties().create(&request).await?;
                let text = format!("{}  {}", property.id, property.name);
                app.say(&property, text)
            }
            Self::List => list(app).await,
            Self::Show { property } => {
                let id = app.property_id(&property).await?;
                let property = app.client.properties().get(id).await?;
                if app.json {
                    return app.print_json(&property);
                }
                let elevation = show::measure(property.elevation_m, "m", app.units);
                app.line(format!("{}  {}", property.id, property.name))?;
                app.line(format!(
                    "Latitude {}, longitude {}, {elevation} above sea level, {}",
                    property.latitude_deg, property.longitude_deg, property.time_zone
                ))?;
                property.notes.iter().try_for_each(|notes| app.line(notes))
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
