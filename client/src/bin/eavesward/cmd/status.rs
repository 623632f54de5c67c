//! `eavesward status`: a short status of a system.

use crate::app::App;
use crate::failure::Failure;
use crate::show;
use crate::table::{Table, printable};
use clap::Args;
use eavesward_client::contract::SystemStatus;

/// Options of the status.
#[derive(Args)]
pub struct Status {
    /// The system
    system: String,
}

impl Status {
    /// Prints the status.
    pub async fn run(self, app: &mut App<'_>) -> Result<(), Failure> {
        let id = app.system_id(&self.system).await?;
        let status = app.client.systems().status(id).await?;
        if app.json { app.print_json(&status) } else { print(app, &status) }
    }
}

/// Prints a status.
pub fn print(app: &mut App<'_>, status: &SystemStatus) -> Result<(), Failure> {
    let units = app.units;
    let name = printable(&status.system_name);
    writeln!(app.io.out, "{name} on {}: {}", status.as_of, show::state(&status.state, app.colours))?;
    let runoff =
        |mm, litres| format!("{} ({})", show::measure(mm, "mm", units), show::measure(litres, "L", units));
    let week = runoff(status.runoff_7_days_mm, status.runoff_7_days_l);
    let month = runoff(status.runoff_30_days_mm, status.runoff_30_days_l);
    app.line(format!("Runoff: {week} in 7 days, {month} in 30 days"))?;
    let read = match status.unread_of_30_days {
        0 => "each of the last 30 days has a reading".to_owned(),
        1 => "1 of the last 30 days has no reading".to_owned(),
        30.. => "none of the last 30 days has a reading".to_owned(),
        days => format!("{days} of the last 30 days have no reading"),
    };
    let rain = match status.rain_through {
        Some(day) => format!("Rain known through {day}; {read}"),
        None => "No rain readings yet. Send some with `eavesward rain import`.".to_owned(),
    };
    app.line(rain)?;
    if !status.next.is_empty() {
        app.line("")?;
        let mut table = Table::new(["due", "state", "component", "what to do"]).colours(app.colours);
        for next in &status.next {
            let state = show::words(&next.state);
            table.row([
                next.due_on.to_string(),
                state,
                show::name(next.component_name.as_ref()),
                next.title.clone(),
            ]);
        }
        table.write(app.io.out)?;
    }
    if !status.since_served.is_empty() {
        app.line("")?;
        let mut table = Table::new(["component", "duty", "since", "runoff since"]);
        for since in &status.since_served {
            let runoff = show::measure(since.runoff_mm, "mm", units);
            table.row([
                show::name(since.component_name.as_ref()),
                show::words(&since.duty),
                since.since.to_string(),
                runoff,
            ]);
        }
        table.write(app.io.out)?;
    }
    if status.abridged {
        app.line("")?;
        app.line(
            "Some names are shortened and some duties left out; `eavesward due --all --system SYSTEM` shows all.",
        )?;
    }
    Ok(())
}
