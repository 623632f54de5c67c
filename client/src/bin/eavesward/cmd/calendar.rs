//! `eavesward calendar`: calendar feeds.

use crate::app::{App, PAGE};
use crate::failure::Failure;
use crate::table::Table;
use chrono::{DateTime, Utc};
use clap::Subcommand;
use eavesward_client::ListQuery;
use eavesward_client::contract::CalendarRequest;
use uuid::Uuid;

/// Subcommands for calendar feeds.
#[derive(Subcommand)]
pub enum Calendar {
    /// Make a feed; its address is shown only once, and everyone who has it can read the feed
    Add {
        /// The feed's name, here and in the calendar
        #[arg(long)]
        name: String,
        /// Only this property; the whole account by default
        #[arg(long, value_name = "PROPERTY")]
        property: Option<String>,
        /// How many days ahead the feed covers, 1 to 3653; 400 by default
        #[arg(long, value_name = "DAYS")]
        horizon_days: Option<u32>,
    },
    /// List feeds, without their addresses
    List,
    /// Revoke a feed; its address stops working at once
    Revoke {
        /// The feed's id
        id: Uuid,
    },
}

impl Calendar {
    /// Runs the subcommand.
    pub async fn run(self, app: &mut App<'_>) -> Result<(), Failure> {
        match self {
            Self::Add { name, property, horizon_days } => {
                let property_id = match &property {
                    Some(given) => Some(app.property_id(given).await?),
                    None => None,
                };
                let request = CalendarRequest::new(name).property_id(property_id).horizon_days(horizon_days);
                let created = app.client.calendars().create(&request).await?;
                if app.json {
                    return app.print_json(&created);
                }
                let url = app.client.calendars().url(&created)?;
                app.line(format!("{}  {}", created.calendar.id, created.calendar.name))?;
                app.line(format!("Address, shown only once: {url}"))?;
                app.line("Subscribe to it in a calendar. Everyone who has the address can read it; `eavesward calendar revoke` stops that.")
            }
            Self::List => list(app).await,
            Self::Revoke { id } => {
                app.client.calendars().revoke(id).await?;
                app.done(format!("Calendar {id} is revoked."))
            }
        }
    }
}

async fn list(app: &mut App<'_>) -> Result<(), Failure> {
    let calendars = app.client.calendars().list(&ListQuery::builder().limit(PAGE).build()).all().await?;
    if app.json {
        return app.print_json(&calendars);
    }
    if calendars.is_empty() {
        return app.line("No calendars. Make one with `eavesward calendar add`.");
    }
    let mut table =
        Table::new(["calendar", "name", "property", "days ahead", "begins with", "last read", "revoked"]);
    for calendar in calendars {
        let instant = |at: Option<DateTime<Utc>>| at.map_or_else(|| "-".to_owned(), |at| at.to_rfc3339());
        table.row([
            calendar.id.to_string(),
            calendar.name,
            calendar.property_id.map_or_else(|| "all".to_owned(), |id| id.to_string()),
            calendar.horizon_days.to_string(),
            calendar.hint,
            instant(calendar.last_read_at),
            instant(calendar.revoked_at),
        ]);
    }
    Ok(table.write(app.io.out)?)
}
