//! `eavesward due`: the weekly list.

use crate::app::{App, PAGE};
use crate::failure::{Failure, LATE};
use crate::table::Table;
use crate::{parse, show};
use chrono::NaiveDate;
use clap::Args;
use eavesward_client::TaskQuery;
use eavesward_client::contract::{ComponentKind, Task, TaskState};

/// Which tasks. Without a window: within 7 days, along with what is due already.
#[derive(Args)]
pub struct Due {
    /// Due within so many days or already, such as 7d, 2w or P7D; 7d if no window is given
    #[arg(long, value_parser = parse::days, conflicts_with_all = ["from", "to", "all"])]
    within: Option<u32>,
    /// Due on this day or later
    #[arg(long, value_name = "DATE", conflicts_with = "all")]
    from: Option<NaiveDate>,
    /// Due on this day or earlier
    #[arg(long, value_name = "DATE", conflicts_with = "all")]
    to: Option<NaiveDate>,
    /// Everything, however far off, and what has no date
    #[arg(long)]
    all: bool,
    /// Only at this property
    #[arg(long, value_name = "PROPERTY")]
    property: Option<String>,
    /// Only of this system
    #[arg(long, value_name = "SYSTEM")]
    system: Option<String>,
    /// Only in these states: resting, near, due, late
    #[arg(long, value_delimiter = ',', value_parser = parse::word::<TaskState>)]
    state: Vec<TaskState>,
    /// Only components of this kind, such as debris-screen
    #[arg(long, value_parser = parse::word::<ComponentKind>)]
    kind: Option<ComponentKind>,
    /// Exit with 4 if anything listed is late
    #[arg(long)]
    fail_if_late: bool,
}

impl Due {
    /// Prints the list; gives the exit code.
    pub async fn run(self, app: &mut App<'_>) -> Result<u8, Failure> {
        let mut query = TaskQuery::builder().state(self.state).limit(PAGE).build();
        if let Some(given) = &self.property {
            query.property_id = Some(app.property_id(given).await?);
        }
        if let Some(given) = &self.system {
            query.system_id = Some(app.system_id(given).await?);
        }
        query.component_kind = self.kind;
        (query.from, query.to) = (self.from, self.to);
        if !self.all && self.from.is_none() && self.to.is_none() {
            query.within_days = Some(self.within.unwrap_or(7));
        }
        let tasks = app.client.tasks().list(&query).all().await?;
        if app.json {
            app.print_json(&tasks)?;
        } else if tasks.is_empty() {
            app.line("Nothing is due. `eavesward due --all` shows what comes later.")?;
        } else {
            table(app, &tasks)?;
            bring(app, &tasks)?;
            cautions(app, &tasks)?;
            log_hint(app, &tasks)?;
        }
        let late = tasks.iter().any(|task| task.state == TaskState::Late);
        Ok(if self.fail_if_late && late { LATE } else { 0 })
    }
}

fn table(app: &mut App<'_>, tasks: &[Task]) -> Result<(), Failure> {
    let mut table = Table::new([
        "due",
        "state",
        "property",
        "system",
        "component",
        "what to do",
        "decided by",
        "tally / mark",
    ]);
    for task in tasks {
        table.row([
            show::date(task.due_on),
            show::words(&task.state),
            task.property_name.clone(),
            task.system_name.clone(),
            task.component_name.clone(),
            task.title.clone(),
            show::decided_by(task.decided_by),
            show::tally_over_mark(task.tally.as_ref(), task.mark.as_ref(), app.units),
        ]);
    }
    Ok(table.write(app.io.out)?)
}

fn bring(app: &mut App<'_>, tasks: &[Task]) -> Result<(), Failure> {
    let mut things: Vec<&str> = Vec::new();
    for thing in tasks.iter().flat_map(|task| &task.bring) {
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

fn cautions(app: &mut App<'_>, tasks: &[Task]) -> Result<(), Failure> {
    let hazards = show::by_hazard(tasks.iter().flat_map(|task| &task.cautions));
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

fn log_hint(app: &mut App<'_>, tasks: &[Task]) -> Result<(), Failure> {
    let Some(task) = tasks.first() else { return Ok(()) };
    let duty = show::words(&task.duty).replace(' ', "-");
    app.line("")?;
    app.line("When it is done")?;
    app.line(format!(
        "  eavesward visit log {} --on YYYY-MM-DD --done \"{}:{duty}\"",
        task.system_id, task.component_name
    ))
}
