//! `eavesward component`: the parts that need care.

use crate::app::App;
use crate::cmd::part::PartFlags;
use crate::failure::Failure;
use crate::table::Table;
use crate::{parse, show};
use chrono::NaiveDate;
use clap::Subcommand;
use eavesward_client::ComponentQuery;
use eavesward_client::contract::{self, ComponentRequest, MonthDay, Part, ReplaceRequest, RetireRequest};
use std::path::PathBuf;
use uuid::Uuid;

/// Subcommands for components.
#[derive(Subcommand)]
pub enum Component {
    /// Add a component to a system, by flags or from a JSON file with name, part and installed_on
    Add {
        /// The system
        system: String,
        /// The file; - is standard input
        #[arg(long, conflicts_with = "kind", required_unless_present = "kind")]
        file: Option<PathBuf>,
        /// The flags
        #[command(flatten)]
        part: Box<PartFlags>,
    },
    /// List the components of a system
    List {
        /// The system
        system: String,
        /// Include retired components
        #[arg(long)]
        include_retired: bool,
    },
    /// Set the frost season of exposed pipework
    Frost {
        /// The component's id
        component: Uuid,
        /// The day of the year from which frost is expected, such as 10-25
        #[arg(long, value_name = "MONTH-DAY", value_parser = parse::month_day, requires = "last",
            required_unless_present = "clear")]
        first: Option<MonthDay>,
        /// The last day of the year on which frost is expected, such as 04-20
        #[arg(long, value_name = "MONTH-DAY", value_parser = parse::month_day, requires = "first")]
        last: Option<MonthDay>,
        /// Delete these days
        #[arg(long, conflicts_with = "first")]
        clear: bool,
    },
    /// Replace an old component with a new one; the old one's history stays
    Replace {
        /// The old component's id
        component: Uuid,
        /// The day of the change
        #[arg(long, value_name = "DATE")]
        on: NaiveDate,
        /// The new component's name; the old name by default
        #[arg(long)]
        name: Option<String>,
        /// The new component's part as JSON; the old part by default
        #[arg(long, value_name = "FILE")]
        part_file: Option<PathBuf>,
    },
    /// Take a component out of service for good; its history stays
    Retire {
        /// The component's id
        component: Uuid,
        /// The day it was taken out
        #[arg(long, value_name = "DATE")]
        on: NaiveDate,
    },
}

impl Component {
    /// Runs the subcommand.
    pub async fn run(self, app: &mut App<'_>) -> Result<(), Failure> {
        match self {
            Self::Add { system, file, part } => {
                let request: ComponentRequest = match file {
                    Some(file) => app.read_json(&file)?,
                    None => part.request(app.units)?,
                };
                let id = app.system_id(&system).await?;
                let component = app.client.systems().add_component(id, &request).await?;
                let text = format!("{}  {}", component.id, component.name);
                app.say(&component, text)
            }
            Self::List { system, include_retired } => {
                let id = app.system_id(&system).await?;
                let query = ComponentQuery::builder().include_retired(include_retired).build();
                let components = app.client.systems().components(id, &query).all().await?;
                if app.json {
                    return app.print_json(&components);
                }
                if components.is_empty() {
                    return app.line("No components yet. Add one with `eavesward component add`.");
                }
                table(app, &components)
            }
            Self::Frost { component, first, last, clear: _ } => frost(app, component, first, last).await,
            Self::Replace { component, on, name, part_file } => {
                let part: Option<Part> = part_file.map(|file| app.read_json(&file)).transpose()?;
                let mut request = ReplaceRequest::new(on).part(part);
                request.name = name;
                let new = app.client.components().replace(component, &request).await?;
                app.say(&new, format!("{}  {} replaces {component}.", new.id, new.name))
            }
            Self::Retire { component, on } => {
                let retired = app.client.components().retire(component, &RetireRequest::new(on)).await?;
                app.say(&retired, format!("{} was retired on {on}.", retired.name))
            }
        }
    }
}

async fn frost(
    app: &mut App<'_>,
    id: Uuid,
    first: Option<MonthDay>,
    last: Option<MonthDay>,
) -> Result<(), Failure> {
    let known = app.client.components().get(id).await?;
    if !matches!(known.part, Part::ExposedPipework { .. }) {
        return Err(Failure::usage(format!("{} is not exposed pipework", known.name)));
    }
    let part = Part::exposed_pipework().first_frost(first).last_frost(last);
    let request = ComponentRequest::new(known.name, part, known.installed_on);
    let request = request.last_served_on(known.last_served_on);
    let component = app.client.components().update(id, known.version, &request).await?;
    let text = match (first, last) {
        (Some(first), Some(last)) => format!(
            "{}: frost from {:02}-{:02} to {:02}-{:02}.",
            component.name, first.month, first.day, last.month, last.day
        ),
        _ => format!("{}: no frost season is set.", component.name),
    };
    app.say(&component, text)
}

/// Prints the table of components.
pub fn table(app: &mut App<'_>, components: &[contract::Component]) -> Result<(), Failure> {
    let mut table = Table::new(["component", "name", "kind", "installed", "last served", "retired"]);
    for component in components {
        // The kind is the part's tag in JSON.
        let part = serde_json::to_value(&component.part)?;
        table.row([
            component.id.to_string(),
            component.name.clone(),
            show::words(&part["kind"]),
            component.installed_on.to_string(),
            show::date(component.last_served_on),
            show::date(component.retired_on),
        ]);
    }
    Ok(table.write(app.io.out)?)
}
