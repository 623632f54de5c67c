//! An installer's reader: prints reminders as they arrive, and continues where it stopped.
//!
//! `EAVESWARD_URL=… EAVESWARD_KEY=… cargo run -p eavesward-client --example follow_reminders -- CURSOR_FILE [ENTRIES]`
//!
//! The file stores how far the feed was printed. If there is no file yet, the example makes one and reads the feed
//! from its beginning. With ENTRIES it stops after that many entries.
#![expect(clippy::print_stdout, reason = "an example talks to a terminal")]

use eavesward_client::{Client, ReminderQuery};
use std::io::{ErrorKind, Write as _};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// The shortest wait after a failure that may pass. Judgement.
const AFTER_FAILURE: Duration = Duration::from_secs(5);

#[tokio::main]
async fn main() -> Result<(), Box<dyn std::error::Error>> {
    let client = Client::builder()
        .base_url(std::env::var("EAVESWARD_URL")?)
        .key(std::env::var("EAVESWARD_KEY")?)
        .build()?;
    let file = PathBuf::from(std::env::args().nth(1).ok_or("give a file for the cursor")?);
    let mut left: Option<u32> = std::env::args().nth(2).map(|text| text.parse()).transpose()?;

    let query = ReminderQuery::builder().maybe_after(kept(&file)?).build();
    let mut entries = client.reminders().follow(&query);
    while left != Some(0) {
        // `poll` sometimes gives no entry. The cursor may still have moved past entries that a filter left out.
        match entries.poll().await {
            Ok(Some(entry)) => {
                let due = entry.due_on.map_or_else(|| "undated".to_owned(), |day| day.to_string());
                // A newer service may raise entries about no single property, component or task.
                let place: Vec<String> =
                    [entry.property_name, entry.component_name].into_iter().flatten().collect();
                let title = entry.title.unwrap_or_default();
                println!("{:?}  {due}  {}: {title}", entry.kind, place.join(", "));
                left = left.map(|left| left - 1);
            }
            Ok(None) => {}
            Err(error) if error.is_transient() => {
                println!("no news: {error}");
                tokio::time::sleep(error.retry_after().unwrap_or_default().max(AFTER_FAILURE)).await;
            }
            Err(error) => return Err(error.into()),
        }
        // Store the cursor after handling the entry: a crash repeats the entry and does not lose it.
        if let Some(cursor) = entries.cursor() {
            keep(&file, cursor)?;
        }
    }
    Ok(())
}

fn kept(file: &Path) -> std::io::Result<Option<String>> {
    match std::fs::read_to_string(file) {
        Ok(text) => Ok(Some(text.trim().to_owned()).filter(|text| !text.is_empty())),
        Err(error) if error.kind() == ErrorKind::NotFound => Ok(None),
        Err(error) => Err(error),
    }
}

/// Replaces the file as a whole, so that a crash leaves either the old cursor or the new one.
fn keep(file: &Path, cursor: &str) -> std::io::Result<()> {
    let mut beside = file.as_os_str().to_owned();
    beside.push(".new");
    let mut new = std::fs::File::create(&beside)?;
    new.write_all(format!("{cursor}\n").as_bytes())?;
    // Write to disk before renaming: otherwise a crash could leave an empty file.
    new.sync_all()?;
    std::fs::rename(&beside, file)
}
