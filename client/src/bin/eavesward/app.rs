//! What the subcommands share: the client, input and output, reading files, and finding resources by name.

use crate::failure::Failure;
use crate::show::Units;
use crate::table::printable;
use eavesward_client::{Client, Items, ListQuery, SystemQuery, contract};
use serde::Serialize;
use serde::de::DeserializeOwned;
use std::io::{Read, Write};
use std::path::Path;
use uuid::Uuid;

/// Rows per page for reading whole lists: the most that the service gives.
pub const PAGE: u32 = 500;

/// Input and output. A test passes its own.
pub struct Io<'a> {
    /// Standard input.
    pub stdin: &'a mut dyn Read,
    /// Standard output.
    pub out: &'a mut dyn Write,
    /// Standard error.
    pub err: &'a mut dyn Write,
}

/// What every subcommand works with.
pub struct App<'a> {
    /// The service.
    pub client: Client,
    /// Whether to print JSON.
    pub json: bool,
    /// Units in tables.
    pub units: Units,
    /// Whether states have a colour.
    pub colours: bool,
    /// Whether to draw a progress bar on standard error.
    pub progress: bool,
    /// Input and output.
    pub io: Io<'a>,
}

impl App<'_> {
    /// Writes a line.
    pub fn line(&mut self, text: impl AsRef<str>) -> Result<(), Failure> {
        Ok(writeln!(self.io.out, "{}", printable(text.as_ref()))?)
    }

    /// Writes a value as JSON.
    pub fn print_json(&mut self, value: &impl Serialize) -> Result<(), Failure> {
        serde_json::to_writer_pretty(&mut *self.io.out, value)?;
        Ok(writeln!(self.io.out)?)
    }

    /// Writes a value as JSON if asked to, otherwise a line of text.
    pub fn say(&mut self, value: &impl Serialize, text: impl AsRef<str>) -> Result<(), Failure> {
        if self.json { self.print_json(value) } else { self.line(text) }
    }

    /// Writes a line about a call that has an empty answer. With `--json` it writes nothing.
    pub fn done(&mut self, text: impl AsRef<str>) -> Result<(), Failure> {
        if self.json { Ok(()) } else { self.line(text) }
    }

    /// Writes a warning to standard error at once. The command goes on.
    pub fn warn(&mut self, text: impl AsRef<str>) -> Result<(), Failure> {
        writeln!(self.io.err, "warning: {}", printable(text.as_ref()))?;
        Ok(self.io.err.flush()?)
    }

    /// Reads a text file, or standard input for `-`.
    pub fn read_text(&mut self, path: &Path) -> Result<String, Failure> {
        let mut bytes = Vec::new();
        let read = if path == Path::new("-") {
            self.io.stdin.read_to_end(&mut bytes)
        } else {
            std::fs::File::open(path).and_then(|mut file| file.read_to_end(&mut bytes))
        };
        read.map_err(|e| Failure::usage(format!("{} could not be read: {e}", path.display())))?;
        String::from_utf8(bytes).map_err(|_| Failure::usage(format!("{} is not UTF-8 text", path.display())))
    }

    /// Reads a JSON file, or standard input for `-`. The error names the JSON path.
    pub fn read_json<T: DeserializeOwned>(&mut self, path: &Path) -> Result<T, Failure> {
        let text = self.read_text(path)?;
        let mut deserializer = serde_json::Deserializer::from_str(&text);
        let value = serde_path_to_error::deserialize(&mut deserializer)
            .map_err(|e| Failure::usage(format!("{} at `{}`: {}", path.display(), e.path(), e.inner())))?;
        deserializer.end().map_err(|e| Failure::usage(format!("{}: {e}", path.display())))?;
        Ok(value)
    }

    /// The property with this id or name.
    pub async fn property_id(&self, given: &str) -> Result<Uuid, Failure> {
        let list = || self.client.properties().list(&ListQuery::builder().limit(PAGE).build());
        pick("property", given, list, |p: &contract::Property| (p.id, p.name.clone())).await
    }

    /// The rain gauge with this id or name.
    pub async fn gauge_id(&self, given: &str) -> Result<Uuid, Failure> {
        let list = || self.client.gauges().list(&ListQuery::builder().limit(PAGE).build());
        pick("gauge", given, list, |g: &contract::Gauge| (g.id, g.name.clone())).await
    }

    /// The system with this id or name.
    pub async fn system_id(&self, given: &str) -> Result<Uuid, Failure> {
        let list = || self.client.systems().list(&SystemQuery::builder().limit(PAGE).build());
        let found = pick("system", given, list, |s: &contract::System| (s.id, s.name.clone())).await;
        found.map_err(|failure| match failure {
            // A key for one system cannot list systems, so it cannot find one by name.
            Failure::Client(error) if error.is_one_system_only() => {
                Failure::usage("this key reads one system; give the system's id")
            }
            other => other,
        })
    }
}

async fn pick<T>(
    what: &str,
    given: &str,
    list: impl FnOnce() -> Items<T>,
    id_and_name: impl Fn(&T) -> (Uuid, String),
) -> Result<Uuid, Failure>
where
    T: Send + 'static,
{
    if let Ok(id) = Uuid::parse_str(given) {
        return Ok(id);
    }
    let (mut items, mut found) = (list(), Vec::new());
    while let Some(item) = items.next().await {
        let (id, name) = id_and_name(&item?);
        if name == given {
            found.push(id);
        }
    }
    match found.as_slice() {
        [id] => Ok(*id),
        [] => {
            Err(Failure::usage(format!("no {what} is called {given:?}; `eavesward {what} list` shows them")))
        }
        ids => {
            let ids: Vec<String> = ids.iter().map(Uuid::to_string).collect();
            Err(Failure::usage(format!(
                "more than one {what} is called {given:?}; give one of {}",
                ids.join(", ")
            )))
        }
    }
}
