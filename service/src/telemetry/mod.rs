//! Structured logs. What is never logged: keys, database passwords, bodies, notes.

use anyhow::{Context, Result};
use std::io::IsTerminal as _;
use tracing_subscriber::EnvFilter;

/// Starts logging to standard error, so that standard output stays for what a command prints.
pub fn start(filter: &str, json: bool) -> Result<()> {
    let filter =
        EnvFilter::try_new(filter).with_context(|| format!("log: {filter:?} is not a log filter"))?;
    let lines = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .with_ansi(std::io::stderr().is_terminal());
    let started = if json {
        {
            // Each span once: the list holds the present one, too.
            lines.json().flatten_event(true).with_span_list(false).try_init()
        }
    } else {
        lines.with_target(false).try_init()
    };
    started.map_err(|error| anyhow::anyhow!("logging cannot be started: {error}"))
}
