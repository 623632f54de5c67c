//! The list of today, as the service stores it.

use super::args::Due;
use super::rows::{self, Row};
use crate::app::{App, PAGE};
use crate::failure::Failure;
use crate::show;
use eavesward_client::TaskQuery;
use eavesward_client::contract::{Task, TaskState};

impl<'a> From<&'a Task> for Row<'a> {
    fn from(task: &'a Task) -> Self {
        Self {
            due_on: task.due_on,
            state: task.state,
            property: task.property_name.as_deref().unwrap_or("-"),
            system_id: task.system_id,
            system: task.system_name.as_deref().unwrap_or("-"),
            component: task.component_name.as_deref(),
            duty: &task.duty,
            title: &task.title,
            decided_by: task.decided_by,
            accumulated: task.accumulated.as_ref(),
            limit: task.limit.as_ref(),
            bring: &task.bring,
            cautions: &task.cautions,
        }
    }
}

/// Prints the list of today. Returns whether anything on it was late.
pub async fn run(due: &Due, app: &mut App<'_>) -> Result<bool, Failure> {
    let mut query = TaskQuery::builder().state(due.state.clone()).limit(PAGE).build();
    if let Some(given) = &due.property {
        query.property_id = Some(app.property_id(given).await?);
    }
    if let Some(given) = &due.system {
        query.system_id = Some(app.system_id(given).await?);
    }
    query.component_kind.clone_from(&due.kind);
    (query.from, query.to) = (due.from, due.to);
    query.within_days = due.days_on();
    let tasks = app.client.tasks().list(&query).all().await?;
    if app.json {
        app.print_json(&tasks)?;
    } else {
        let rows: Vec<Row<'_>> = tasks.iter().map(Row::from).collect();
        rows::print(due, app, &rows).await?;
        log_hint(app, &rows)?;
    }
    Ok(tasks.iter().any(|task| task.state == TaskState::Late))
}

fn log_hint(app: &mut App<'_>, rows: &[Row<'_>]) -> Result<(), Failure> {
    // A visit belongs to one system, and its items to components.
    let known = rows.iter().find_map(|row| Some((row, row.system_id?, row.component?)));
    let Some((row, system, component)) = known else { return Ok(()) };
    let duty = show::words(row.duty).replace(' ', "-");
    app.line("")?;
    app.line("When it is done")?;
    let done = show::quoted(&format!("{component}:{duty}"));
    app.line(format!("  eavesward visit log {system} --on YYYY-MM-DD --done {done}"))
}
