//! `eavesward due`: the weekly list.

use crate::app::{App, PAGE};
use crate::cmd::due_as_of;
use crate::failure::{Failure, LATE};
use crate::table::Table;
use crate::{parse, show};
use chrono::NaiveDate;
use clap::Args;
use eavesward_client::contract::{Caution, ComponentKind, DecidedBy, Duty, Mark, Tally, Task, TaskState};
use eavesward_client::{ListQuery, SystemQuery, TaskQuery};
use uuid::Uuid;

/// Which tasks. Without a window: within 7 days, along with what is due already.
#[derive(Args)]
pub struct Due {
    /// Due within so many days or already, such as 7d, 2w or P7D; 7d if no window is given
    #[arg(long, value_parser = parse::days, conflicts_with_all = ["from", "to", "all"])]
    pub within: Option<u32>,
    /// Due on this day or later
    #[arg(long, value_name = "DATE", conflicts_with = "all")]
    pub from: Option<NaiveDate>,
    /// Due on this day or earlier
    #[arg(long, value_name = "DATE", conflicts_with = "all")]
    pub to: Option<NaiveDate>,
    /// Everything, however far off, and what has no date
    #[arg(long)]
    pub all: bool,
    /// Only at this property
    #[arg(long, value_name = "PROPERTY")]
    pub property: Option<String>,
    /// Only of this system
    #[arg(long, value_name = "SYSTEM")]
    pub system: Option<String>,
    /// Only in these states: resting, near, due, late
    #[arg(long, value_delimiter = ',', value_parser = parse::word::<TaskState>)]
    pub state: Vec<TaskState>,
    /// Only components of this kind, such as debris-screen
    #[arg(long, value_parser = parse::word::<ComponentKind>)]
    pub kind: Option<ComponentKind>,
    /// The list as it would have stood on this day, from what is known by now of the days up to it.
    ///
    /// The service keeps the list of today alone, so this asks it for one forecast per system; narrow it down with
    /// --property or --system where there are many.
    #[arg(long, value_name = "DATE")]
    pub as_of: Option<NaiveDate>,
    /// Exit with 4 if anything listed is late
    #[arg(long)]
    fail_if_late: bool,
}

/// One row of the list: a task of today, or a duty of a forecast.
pub struct Row<'a> {
    /// The day it falls due.
    pub due_on: Option<NaiveDate>,
    /// How near it is.
    pub state: TaskState,
    /// The property's name.
    pub property: &'a str,
    /// The system.
    pub system_id: Uuid,
    /// The system's name.
    pub system: &'a str,
    /// The component's name.
    pub component: &'a str,
    /// What is to be done.
    pub duty: Duty,
    /// The same in words.
    pub title: &'a str,
    /// What decided the date.
    pub decided_by: DecidedBy,
    /// The tally, where one is kept.
    pub tally: Option<&'a Tally>,
    /// The mark, where there is one.
    pub mark: Option<&'a Mark>,
    /// What to bring.
    pub bring: &'a [String],
    /// What to be careful of.
    pub cautions: &'a [Caution],
}

impl<'a> From<&'a Task> for Row<'a> {
    fn from(task: &'a Task) -> Self {
        Self {
            due_on: task.due_on,
            state: task.state,
            property: &task.property_name,
            system_id: task.system_id,
            system: &task.system_name,
            component: &task.component_name,
            duty: task.duty,
            title: &task.title,
            decided_by: task.decided_by,
            tally: task.tally.as_ref(),
            mark: task.mark.as_ref(),
            bring: &task.bring,
            cautions: &task.cautions,
        }
    }
}

impl Due {
    /// Prints the list; gives the exit code.
    pub async fn run(self, app: &mut App<'_>) -> Result<u8, Failure> {
        let late = match self.as_of {
            None => self.today(app).await?,
            Some(day) => due_as_of::run(&self, day, app).await?,
        };
        Ok(if self.fail_if_late && late { LATE } else { 0 })
    }

    /// How many days on from today the list goes, if it ends that way.
    pub fn days_on(&self) -> Option<u32> {
        let other = self.all || self.from.is_some() || self.to.is_some();
        (!other).then(|| self.within.unwrap_or(7))
    }

    async fn today(&self, app: &mut App<'_>) -> Result<bool, Failure> {
        let mut query = TaskQuery::builder().state(self.state.clone()).limit(PAGE).build();
        if let Some(given) = &self.property {
            query.property_id = Some(app.property_id(given).await?);
        }
        if let Some(given) = &self.system {
            query.system_id = Some(app.system_id(given).await?);
        }
        query.component_kind = self.kind;
        (query.from, query.to) = (self.from, self.to);
        query.within_days = self.days_on();
        let tasks = app.client.tasks().list(&query).all().await?;
        if app.json {
            app.print_json(&tasks)?;
        } else {
            let rows: Vec<Row<'_>> = tasks.iter().map(Row::from).collect();
            self.print(app, &rows).await?;
            log_hint(app, &rows)?;
        }
        Ok(tasks.iter().any(|task| task.state == TaskState::Late))
    }

    /// Prints rows, what to bring and what to be careful of; or what to do if there are none.
    pub async fn print(&self, app: &mut App<'_>, rows: &[Row<'_>]) -> Result<(), Failure> {
        if rows.is_empty() {
            return self.nothing(app).await;
        }
        table(app, rows)?;
        bring(app, rows)?;
        cautions(app, rows)
    }

    /// Says what an empty list means and what to do next.
    async fn nothing(&self, app: &mut App<'_>) -> Result<(), Failure> {
        let one = ListQuery::builder().limit(1).build();
        let systems = app.client.systems().page(&SystemQuery::builder().limit(1).build()).await?;
        if !systems.items.is_empty() {
            return app.line(if self.all {
                "Nothing is listed. `eavesward system list` shows how many components each system has."
            } else {
                "Nothing is due. `eavesward due --all` shows what comes later."
            });
        }
        app.line("Nothing is registered yet.")?;
        app.line(if app.client.properties().page(&one).await?.items.is_empty() {
            "Begin with a place: `eavesward property add --help`."
        } else if app.client.gauges().page(&one).await?.items.is_empty() {
            "Next, where its rain is measured: `eavesward gauge add --help`."
        } else {
            "Next, a system: `eavesward system example` prints a file for `eavesward system add --file FILE`."
        })
    }
}

fn table(app: &mut App<'_>, rows: &[Row<'_>]) -> Result<(), Failure> {
    let heads =
        ["due", "state", "property", "system", "component", "what to do", "decided by", "tally / mark"];
    let mut table = Table::new(heads).colours(app.colours);
    for row in rows {
        table.row([
            show::date(row.due_on),
            show::words(&row.state),
            row.property.to_owned(),
            row.system.to_owned(),
            row.component.to_owned(),
            row.title.to_owned(),
            show::decided_by(row.decided_by),
            show::tally_over_mark(row.tally, row.mark, app.units),
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

fn log_hint(app: &mut App<'_>, rows: &[Row<'_>]) -> Result<(), Failure> {
    let Some(row) = rows.first() else { return Ok(()) };
    let duty = show::words(&row.duty).replace(' ', "-");
    app.line("")?;
    app.line("When it is done")?;
    let done = show::quoted(&format!("{}:{duty}", row.component));
    app.line(format!("  eavesward visit log {} --on YYYY-MM-DD --done {done}", row.system_id))
}
