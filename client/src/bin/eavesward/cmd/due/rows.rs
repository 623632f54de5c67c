//! Prints the list: its rows, what to bring, what to be careful of.

use super::args::Due;
use crate::app::App;
use crate::failure::Failure;
use crate::show;
use crate::table::Table;
use chrono::NaiveDate;
use eavesward_client::contract::{Accumulated, Caution, DecidedBy, Duty, Limit, TaskState};
use eavesward_client::{ListQuery, SystemQuery};
use uuid::Uuid;

/// One row of the list: a task of today, or a duty of a forecast.
pub struct Row<'a> {
    /// The day it falls due.
    pub due_on: Option<NaiveDate>,
    /// How near it is.
    pub state: TaskState,
    /// The property's name.
    pub property: &'a str,
    /// The system, if it is a task of one.
    pub system_id: Option<Uuid>,
    /// The system's name.
    pub system: &'a str,
    /// The component's name, if it is a task of one.
    pub component: Option<&'a str>,
    /// What is to be done.
    pub duty: &'a Duty,
    /// The duty in words.
    pub title: &'a str,
    /// What decided the date.
    pub decided_by: DecidedBy,
    /// The accumulated figure, if any.
    pub accumulated: Option<&'a Accumulated>,
    /// The limit, if any.
    pub limit: Option<&'a Limit>,
    /// What to bring.
    pub bring: &'a [String],
    /// What to be careful of.
    pub cautions: &'a [Caution],
}

/// Prints rows, what to bring and what to be careful of. Without rows it says what to do next.
pub async fn print(due: &Due, app: &mut App<'_>, rows: &[Row<'_>]) -> Result<(), Failure> {
    if rows.is_empty() {
        return nothing(due, app).await;
    }
    table(app, rows)?;
    bring(app, rows)?;
    cautions(app, rows)
}

/// Says what an empty list means and what to do next.
async fn nothing(due: &Due, app: &mut App<'_>) -> Result<(), Failure> {
    let one = ListQuery::builder().limit(1).build();
    let systems = app.client.systems().page(&SystemQuery::builder().limit(1).build()).await?;
    if !systems.items.is_empty() {
        return app.line(if due.all {
            "Nothing is listed. `eavesward system list` shows the number of components of each system."
        } else {
            "Nothing is due. `eavesward due --all` shows what comes later."
        });
    }
    app.line("Nothing is registered yet.")?;
    app.line(if app.client.properties().page(&one).await?.items.is_empty() {
        "First, add a property: `eavesward property add --help`."
    } else if app.client.gauges().page(&one).await?.items.is_empty() {
        "Next, add a rain gauge: `eavesward gauge add --help`."
    } else {
        "Next, add a system: `eavesward system example` prints a file for `eavesward system add --file FILE`."
    })
}

fn table(app: &mut App<'_>, rows: &[Row<'_>]) -> Result<(), Failure> {
    let heads = [
        "due",
        "state",
        "property",
        "system",
        "component",
        "what to do",
        "decided by",
        "accumulated / limit",
    ];
    let mut table = Table::new(heads).colours(app.colours);
    for row in rows {
        table.row([
            show::date(row.due_on),
            show::words(&row.state),
            row.property.to_owned(),
            row.system.to_owned(),
            row.component.unwrap_or("-").to_owned(),
            row.title.to_owned(),
            show::decided_by(row.decided_by),
            show::accumulated_over_limit(row.accumulated, row.limit, app.units),
        ]);
    }
    Ok(table.write(app.io.out)?)
}

fn bring(app: &mut App<'_>, rows: &[Row<'_>]) -> Result<(), Failure> {
    let mut things: Vec<&str> = Vec::new();
    for thing in rows.iter().flat_map(|row| row.bring) {
        if !things.contains(&thing.as_str()) {
            things.push(thing);
        }
    }
    if things.is_empty() {
        return Ok(());
    }
    app.line("")?;
    app.line("Bring")?;
    things.iter().try_for_each(|thing| app.line(format!("  - {thing}")))
}

fn cautions(app: &mut App<'_>, rows: &[Row<'_>]) -> Result<(), Failure> {
    let hazards = show::by_hazard(rows.iter().flat_map(|row| row.cautions));
    if hazards.is_empty() {
        return Ok(());
    }
    app.line("")?;
    app.line("Be careful")?;
    for (hazard, texts) in hazards {
        app.line(format!("  - {}: {}", show::words(&hazard), texts.join(" ")))?;
    }
    Ok(())
}
