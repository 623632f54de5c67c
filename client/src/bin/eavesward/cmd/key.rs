//! `eavesward key`: keys of the account.

use crate::app::{App, PAGE};
use crate::failure::Failure;
use crate::table::Table;
use crate::{parse, show};
use chrono::{DateTime, Utc};
use clap::Subcommand;
use eavesward_client::ListQuery;
use eavesward_client::contract::{KeyRequest, Scope};
use uuid::Uuid;

/// Subcommands for keys.
#[derive(Subcommand)]
pub enum Key {
    /// Make a key; its secret is shown only once
    Add {
        /// What it is for
        #[arg(long)]
        name: String,
        /// What it may do: read, write, admin
        #[arg(long, value_delimiter = ',', required_unless_present = "system", value_parser = parse::word::<Scope>)]
        scope: Vec<Scope>,
        /// The only system that the key may read, for example for a display on a wall
        #[arg(long, value_name = "SYSTEM", conflicts_with = "scope")]
        system: Option<String>,
        /// When the key expires, such as 2032-01-01T00:00:00Z
        #[arg(long, value_name = "INSTANT")]
        expires: Option<DateTime<Utc>>,
    },
    /// List keys, without their secrets
    List,
    /// Revoke a key at once
    Revoke {
        /// The key's id
        id: Uuid,
    },
}

impl Key {
    /// Runs the subcommand.
    pub async fn run(self, app: &mut App<'_>) -> Result<(), Failure> {
        match self {
            Self::Add { name, scope, system, expires } => {
                let request = match system {
                    Some(system) => KeyRequest::of_system(name, app.system_id(&system).await?),
                    None => KeyRequest::new(name, scope),
                };
                let created = app.client.keys().create(&request.expires_at(expires)).await?;
                if app.json {
                    return app.print_json(&created);
                }
                app.line(format!("{}  {}", created.key.id, created.key.name))?;
                if let Some(system) = created.key.system_id {
                    app.line(format!("The key reads only the system {system}; use this id to ask for it."))?;
                }
                app.line(format!("Secret, shown only once: {}", created.secret))
            }
            Self::List => list(app).await,
            Self::Revoke { id } => {
                app.client.keys().revoke(id).await?;
                app.done(format!("Key {id} is revoked."))
            }
        }
    }
}

async fn list(app: &mut App<'_>) -> Result<(), Failure> {
    let keys = app.client.keys().list(&ListQuery::builder().limit(PAGE).build()).all().await?;
    if app.json {
        return app.print_json(&keys);
    }
    if keys.is_empty() {
        return app.line("No keys. Make one with `eavesward key add`.");
    }
    let mut table =
        Table::new(["key", "name", "scopes", "system", "begins with", "last used", "expires", "revoked"]);
    for key in keys {
        let scopes: Vec<String> = key.scopes.iter().map(show::words).collect();
        let instant = |at: Option<DateTime<Utc>>| at.map_or_else(|| "-".to_owned(), |at| at.to_rfc3339());
        table.row([
            key.id.to_string(),
            key.name,
            scopes.join(","),
            key.system_id.map_or_else(|| "all".to_owned(), |id| id.to_string()),
            key.hint,
            instant(key.last_used_at),
            instant(key.expires_at),
            instant(key.revoked_at),
        ]);
    }
    Ok(table.write(app.io.out)?)
}
