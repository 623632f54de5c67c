//! `eavesward audit`: who changed what.

use crate::app::{App, PAGE};
use crate::failure::Failure;
use crate::table::Table;
use chrono::{DateTime, Utc};
use clap::Args;
use eavesward_client::AuditQuery;
use eavesward_client::contract::{AuditActor, AuditEntry};
use uuid::Uuid;

/// Arguments of `eavesward audit`.
#[derive(Args)]
pub struct Audit {
    /// Only changes made with this key
    #[arg(long, value_name = "ID")]
    key_id: Option<Uuid>,
    /// Only changes of the thing with this id; a duty has its word
    #[arg(long, value_name = "ID")]
    thing: Option<String>,
    /// At this instant or later, such as 2032-01-01T00:00:00Z
    #[arg(long, value_name = "INSTANT")]
    from: Option<DateTime<Utc>>,
    /// Before this instant
    #[arg(long, value_name = "INSTANT")]
    until: Option<DateTime<Utc>>,
    /// The most entries to list, the newest first
    #[arg(long, value_name = "NUMBER", default_value_t = 100)]
    most: usize,
}

impl Audit {
    /// Runs the subcommand.
    pub async fn run(self, app: &mut App<'_>) -> Result<(), Failure> {
        // Not more than are listed: the audit has an entry for each change of a year and more.
        let page = u32::try_from(self.most).unwrap_or(PAGE).clamp(1, PAGE);
        let query = AuditQuery::builder()
            .maybe_key_id(self.key_id)
            .maybe_thing_id(self.thing)
            .maybe_from(self.from)
            .maybe_until(self.until)
            .limit(page)
            .build();
        let mut found = app.client.audit().list(&query);
        let (mut entries, mut more) = (Vec::new(), false);
        while let Some(entry) = found.next().await {
            let entry = entry?;
            more = entries.len() >= self.most;
            if more {
                break;
            }
            entries.push(entry);
        }
        if app.json {
            return app.print_json(&entries);
        }
        if entries.is_empty() && !more {
            return app.line("No changes found.");
        }
        let mut table = Table::new(["at", "by", "operation", "thing", "id", "request"]);
        for entry in &entries {
            table.row(row(entry));
        }
        table.write(app.io.out)?;
        if more {
            app.line(format!("There are more: these are the newest {}; --most lists more.", self.most))?;
        }
        Ok(())
    }
}

fn row(entry: &AuditEntry) -> [String; 6] {
    let dash = || "-".to_owned();
    let (kind, id) = match &entry.thing {
        Some(thing) => (thing.kind.to_string(), thing.id.clone()),
        None => (dash(), dash()),
    };
    [
        entry.at.to_rfc3339(),
        by(&entry.actor),
        entry.operation.clone(),
        kind,
        id,
        entry.request_id.map_or_else(dash, |id| id.to_string()),
    ]
}

/// Who it was: the kind, and the name or the id if there is one.
fn by(actor: &AuditActor) -> String {
    let id = actor.id.map(|id| id.to_string());
    match actor.name.clone().or(id) {
        Some(name) => format!("{} {name}", actor.kind),
        None => actor.kind.to_string(),
    }
}
