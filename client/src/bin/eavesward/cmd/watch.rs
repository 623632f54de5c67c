//! `eavesward watch`: the status of a system and its changes.

use crate::app::App;
use crate::cmd::status;
use crate::failure::Failure;
use crate::show::{self, Units};
use crate::table::printable;
use clap::Args;
use eavesward_client::contract::{NextDuty, SystemStatus};
use eavesward_client::{StatusSeen, WatchOptions};
use serde_json::json;
use std::time::Duration;

/// Options of watching.
#[derive(Args)]
pub struct Watch {
    /// The system
    system: String,
    /// Stay connected and show a change within seconds, instead of asking about once a minute
    #[arg(long)]
    connected: bool,
    /// Show nothing until the status differs from the one with this tag; --json prints the tag as `etag`
    #[arg(long, value_name = "ETAG")]
    known: Option<String>,
    /// Stop after this many statuses
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u32).range(1..))]
    count: Option<u32>,
    /// The longest wait between two requests, in seconds
    #[arg(long, value_name = "SECONDS", default_value_t = 300, value_parser = clap::value_parser!(u64).range(1..=86_400))]
    at_most: u64,
}

impl Watch {
    /// Prints the status and then its changes. With `--json` it prints one line for each status.
    pub async fn run(self, app: &mut App<'_>) -> Result<(), Failure> {
        let id = app.system_id(&self.system).await?;
        let at_most = Duration::from_secs(self.at_most);
        let options = WatchOptions::builder()
            .maybe_known(self.known)
            .at_least(at_most.min(Duration::from_secs(5)))
            .at_most(at_most)
            .build();
        let systems = app.client.systems();
        let mut watch =
            if self.connected { systems.events(id, &options) } else { systems.watch(id, &options) };
        let mut before: Option<SystemStatus> = None;
        let mut seen = 0;
        while let Some(next) = watch.next().await {
            match next {
                Ok(now) => {
                    tell(app, before.as_ref(), &now)?;
                    before = Some(now.status);
                    seen += 1;
                    if self.count == Some(seen) {
                        break;
                    }
                }
                Err(error) if error.is_transient() => {
                    app.warn(format!("{error}; trying again"))?;
                }
                Err(error) => return Err(error.into()),
            }
        }
        Ok(())
    }
}

/// Prints one status and flushes, so that a reader gets it at once.
fn tell(app: &mut App<'_>, before: Option<&SystemStatus>, now: &StatusSeen) -> Result<(), Failure> {
    if app.json {
        let line = json!({"etag": now.etag, "status": now.status});
        writeln!(app.io.out, "{line}")?;
    } else if let Some(before) = before {
        let name = printable(&now.status.system_name);
        writeln!(
            app.io.out,
            "{name} on {}: {}",
            now.status.as_of,
            show::state(&now.status.state, app.colours)
        )?;
        for line in changes(before, &now.status, app.units) {
            app.line(format!("  {line}"))?;
        }
    } else {
        status::print(app, &now.status)?;
    }
    Ok(app.io.out.flush()?)
}

/// The differences, one line each.
fn changes(before: &SystemStatus, now: &SystemStatus, units: Units) -> Vec<String> {
    let mut lines = Vec::new();
    if before.system_name != now.system_name {
        lines.push(format!("was called {}", before.system_name));
    }
    if before.state != now.state {
        lines.push(format!("was {}", show::words(&before.state)));
    }
    if before.rain_through != now.rain_through {
        lines.push(format!("rain known through {}", show::date(now.rain_through)));
    }
    if before.runoff_7_days_mm != now.runoff_7_days_mm {
        let amount = show::measure(now.runoff_7_days_mm, "mm", units);
        lines
            .push(format!("runoff of 7 days: {amount} ({})", show::measure(now.runoff_7_days_l, "L", units)));
    }
    let called = |duty: &NextDuty| match &duty.component_name {
        Some(name) => format!("{name}: {}", duty.title),
        None => duty.title.clone(),
    };
    let was = |duty: &NextDuty| before.next.iter().find(|known| known.task_id == duty.task_id);
    for duty in &now.next {
        let state = show::words(&duty.state);
        match was(duty) {
            None => lines.push(format!("{}, due {}, {state}", called(duty), duty.due_on)),
            Some(known) if known.due_on != duty.due_on => {
                lines.push(format!(
                    "{}, due {} instead of {}, {state}",
                    called(duty),
                    duty.due_on,
                    known.due_on
                ));
            }
            Some(known) if known.state != duty.state => {
                lines.push(format!("{}, {state}, was {}", called(duty), show::words(&known.state)));
            }
            Some(_) => {}
        }
    }
    for duty in &before.next {
        if !now.next.iter().any(|known| known.task_id == duty.task_id) {
            lines.push(format!("{}, no longer among the next tasks", called(duty)));
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use eavesward_client::contract::TaskState;
    use serde_json::{Value, from_value};

    fn duty(id: u128, name: &str, state: &str, due_on: &str) -> Value {
        json!({"task_id": uuid::Uuid::from_u128(id), "component_name": name, "duty": "clean_screen",
            "title": "clean the debris screen", "state": state, "due_on": due_on})
    }

    fn status(next: &[Value]) -> SystemStatus {
        from_value(json!({
            "system_id": uuid::Uuid::nil(), "system_name": "apple shed", "as_of": "2031-04-02", "state": "near",
            "next": next, "rain_through": "2031-04-01", "runoff_7_days_mm": 25.4, "runoff_7_days_l": 378.541_178_4,
            "runoff_30_days_mm": 1.0, "runoff_30_days_l": 1.0, "unread_of_30_days": 0, "since_served": []
        }))
        .expect("a status")
    }

    #[test]
    fn only_what_is_different_is_told() {
        let before = status(&[
            duty(1, "north", "near", "2031-04-05"),
            duty(2, "south", "near", "2031-04-06"),
            duty(3, "west", "near", "2031-04-07"),
            duty(4, "east", "near", "2031-04-08"),
        ]);
        assert_eq!(changes(&before, &before, Units::Si), Vec::<String>::new());
        let mut now = status(&[
            duty(1, "north", "due", "2031-04-05"),
            duty(2, "south", "near", "2031-04-09"),
            duty(4, "east", "near", "2031-04-08"),
            duty(5, "door", "near", "2031-04-10"),
        ]);
        (now.state, now.rain_through, now.runoff_7_days_mm) = (TaskState::Due, None, 50.8);
        now.system_name = "pear shed".to_owned();
        assert_eq!(
            changes(&before, &now, Units::Us),
            [
                "was called apple shed",
                "was near",
                "rain known through -",
                "runoff of 7 days: 2 in (100 US gal)",
                "north: clean the debris screen, due, was near",
                "south: clean the debris screen, due 2031-04-09 instead of 2031-04-06, near",
                "door: clean the debris screen, due 2031-04-10, near",
                "west: clean the debris screen, no longer among the next tasks",
            ]
        );
    }
}
