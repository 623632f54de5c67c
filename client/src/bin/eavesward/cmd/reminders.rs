//! `eavesward reminders`: what happens to tasks.

use crate::app::App;
use crate::failure::Failure;
use crate::files::{self, Readers};
use crate::{parse, show};
use clap::Args;
use eavesward_client::contract::{MoveCause, Reminder, ReminderKind};
use eavesward_client::{Error, ReminderQuery};
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// The shortest wait after a failure.
const AFTER_FAILURE: Duration = Duration::from_secs(10);

/// Options of the feed.
#[derive(Args)]
pub struct Reminders {
    /// Wait for new entries and print each on a line, until interrupted
    #[arg(long)]
    follow: bool,
    /// Continue after this cursor, even with --cursor-file; `now` means the end of the feed. Without both, start at
    /// the oldest stored entry.
    ///
    /// With --cursor-file, give it for one run only: in every run it would skip or repeat entries.
    #[arg(long, value_name = "CURSOR")]
    after: Option<String>,
    /// Continue where this file says, and store the new cursor there. The file is made if needed.
    ///
    /// If the stored cursor has expired, run the command once with --after now to store a new one.
    #[arg(long, value_name = "FILE")]
    cursor_file: Option<PathBuf>,
    /// Only entries of these kinds: coming, due, late, moved, done, withdrawn
    #[arg(long, value_delimiter = ',', value_parser = parse::word::<ReminderKind>)]
    kind: Vec<ReminderKind>,
    /// Only at this property
    #[arg(long, value_name = "PROPERTY")]
    property: Option<String>,
    /// Only of this system
    #[arg(long, value_name = "SYSTEM")]
    system: Option<String>,
}

impl Reminders {
    /// Prints them.
    pub async fn run(self, app: &mut App<'_>) -> Result<(), Failure> {
        let property = match &self.property {
            Some(given) => Some(app.property_id(given).await?),
            None => None,
        };
        let system = match &self.system {
            Some(given) => Some(app.system_id(given).await?),
            None => None,
        };
        // The option overrides the file; otherwise an expired cursor in the file would block every run.
        let after = match (self.after, self.cursor_file.as_deref()) {
            (None, Some(file)) => read_cursor(file)?,
            (given, _) => given,
        };
        let query = ReminderQuery::builder().maybe_property_id(property).maybe_system_id(system);
        let query = query.kind(self.kind).maybe_after(after).limit(500).build();
        let keep = |cursor: &str| match self.cursor_file.as_deref() {
            Some(file) => write_cursor(file, cursor),
            None => Ok(()),
        };
        let done = if self.follow { follow(app, &query, keep).await } else { pull(app, query, keep).await };
        done.map_err(|failure| with_way_out(failure, self.cursor_file.as_deref()))
    }
}

/// Says how to continue when the cursor in a file is invalid. The service does not know about the file.
fn with_way_out(failure: Failure, file: Option<&Path>) -> Failure {
    match (failure, file) {
        (Failure::Client(error), Some(file)) if error.is_cursor_expired() || error.is_bad_cursor() => {
            let note = format!(
                "Run it once with --after now, which puts a new cursor in {file}. `eavesward due --all` shows the current \
                 state. Or delete {file} to start with the oldest stored entry.",
                file = file.display()
            );
            Failure::ClientNoted(error, note)
        }
        (failure, _) => failure,
    }
}

async fn follow(
    app: &mut App<'_>,
    query: &ReminderQuery,
    keep: impl Fn(&str) -> Result<(), Failure>,
) -> Result<(), Failure> {
    let mut entries = app.client.reminders().follow(query);
    let mut kept = None;
    loop {
        match entries.poll().await {
            Ok(Some(entry)) => {
                print(app, &entry)?;
                // A reader at the other end of a pipe needs the line now.
                app.io.out.flush()?;
            }
            Ok(None) => {}
            Err(error) => {
                let Some(wait) = wait_after(&error) else { return Err(error.into()) };
                app.warn(format!("{error}; trying again"))?;
                tokio::time::sleep(wait).await;
                continue;
            }
        }
        if let Some(cursor) = entries.cursor().filter(|cursor| kept.as_deref() != Some(*cursor)) {
            keep(cursor)?;
            kept = Some(cursor.to_owned());
        }
    }
}

/// How long to wait before the next request. `None` means that another request does not help.
fn wait_after(error: &Error) -> Option<Duration> {
    error.is_transient().then(|| error.retry_after().map_or(AFTER_FAILURE, |asked| asked.max(AFTER_FAILURE)))
}

async fn pull(
    app: &mut App<'_>,
    mut query: ReminderQuery,
    keep: impl Fn(&str) -> Result<(), Failure>,
) -> Result<(), Failure> {
    let mut any = false;
    loop {
        let feed = app.client.reminders().pull(&query).await?;
        for entry in &feed.items {
            any = true;
            print(app, entry)?;
        }
        app.io.out.flush()?;
        keep(&feed.cursor)?;
        let more = feed.behind > 0 && !feed.items.is_empty();
        if !more {
            if !any && !app.json {
                app.line("Nothing new.")?;
            }
            if !app.json {
                app.line(format!("Continue with --after {}", feed.cursor))?;
            }
            return Ok(());
        }
        query.after = Some(feed.cursor);
    }
}

/// Prints one line per entry. With JSON, each line is one object, so that a stream can end anywhere.
fn print(app: &mut App<'_>, entry: &Reminder) -> Result<(), Failure> {
    if app.json {
        serde_json::to_writer(&mut *app.io.out, entry)?;
        return Ok(writeln!(app.io.out)?);
    }
    app.line(line(entry))
}

fn line(entry: &Reminder) -> String {
    let said = |names: &[&Option<String>], between: &str| {
        names.iter().filter_map(|name| name.as_deref()).collect::<Vec<_>>().join(between)
    };
    let what = said(&[&entry.component_name, &entry.title], ": ");
    let what = match said(&[&entry.property_name, &entry.system_name], ", ") {
        at if at.is_empty() => what,
        at => format!("{what} ({at})"),
    };
    let due = |word: &str| match entry.due_on {
        Some(on) => format!("{word} {on}"),
        None => "no date can be given".to_owned(),
    };
    let mut parts = vec![match entry.kind {
        ReminderKind::Done => {
            format!("done {}, {}", show::date(entry.done_on), due("next due"))
        }
        ReminderKind::Withdrawn => "no longer to be done".to_owned(),
        ReminderKind::Late => due("was due"),
        _ => due("due"),
    }];
    if let Some(moved) = &entry.moved {
        let known = CAUSES.iter().find(|(cause, _)| *cause == moved.cause);
        let why = known.map_or("for a reason this version does not know", |(_, why)| *why);
        parts.push(format!("moved from {} {why}", show::date(moved.from_due_on)));
    }
    if !entry.bring.is_empty() && matches!(entry.kind, ReminderKind::Coming | ReminderKind::Due) {
        parts.push(format!("bring {}", entry.bring.join(", ")));
    }
    format!("{}  {:<9}  {what}: {}", entry.as_of, show::words(&entry.kind), parts.join("; "))
}

/// What moved a date, in words.
const CAUSES: [(MoveCause, &str); 4] = [
    (MoveCause::Rain, "because of rain"),
    (MoveCause::Finding, "because of a visit"),
    (MoveCause::Settings, "because of changed settings"),
    (MoveCause::Calendar, "because of the calendar"),
];

fn read_cursor(file: &Path) -> Result<Option<String>, Failure> {
    match std::fs::read_to_string(file) {
        Ok(text) => Ok(Some(text.trim().to_owned()).filter(|text| !text.is_empty())),
        Err(error) if error.kind() == ErrorKind::NotFound => Ok(None),
        Err(error) => Err(Failure::usage(format!("{} could not be read: {error}", file.display()))),
    }
}

fn write_cursor(file: &Path, cursor: &str) -> Result<(), Failure> {
    files::replace(file, &format!("{cursor}\n"), Readers::AsBefore)
        .map_err(|error| Failure::usage(format!("{} could not be written: {error}", file.display())))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn only_what_passes_is_waited_for() {
        use eavesward_client::{Client, Request, RetryPolicy};
        use wiremock::{Mock, MockServer, ResponseTemplate, matchers::any};

        for (status, retry_after, want) in [
            (429, Some("40"), Some(40)),
            (429, Some("1"), Some(10)),
            (503, None, Some(10)),
            (401, None, None),
            (410, Some("40"), None),
        ] {
            let server = MockServer::start().await;
            let mut answer = ResponseTemplate::new(status);
            if let Some(seconds) = retry_after {
                answer = answer.insert_header("retry-after", seconds);
            }
            Mock::given(any()).respond_with(answer).mount(&server).await;
            let client = Client::builder().base_url(server.uri()).key("k").retry(RetryPolicy::never());
            let request = Request::new("GET".parse().unwrap(), "/v1/reminders");
            let error = client.build().unwrap().send(request).await.expect_err("no success");
            assert_eq!(wait_after(&error), want.map(Duration::from_secs), "{status} {retry_after:?}");
        }
    }

    #[test]
    fn a_cursor_is_kept_in_its_file_and_a_missing_file_is_a_beginning() {
        let folder = std::env::temp_dir().join(format!("eavesward-cursor-{}", std::process::id()));
        std::fs::create_dir(&folder).unwrap();
        let file = folder.join("cursor");
        assert_eq!(read_cursor(&file).unwrap(), None);
        write_cursor(&file, "abc").unwrap();
        write_cursor(&file, "abd").unwrap();
        assert_eq!(read_cursor(&file).unwrap().as_deref(), Some("abd"));
        assert_eq!(std::fs::read_dir(&folder).unwrap().count(), 1, "no other file is left");
        std::fs::remove_dir_all(&folder).unwrap();
    }
}
