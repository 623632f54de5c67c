//! Failures, as messages and exit codes.

use crate::table::printable;
use eavesward_client::Error;
use std::io::{self, ErrorKind, Write};

/// Exit code: the service or the network failed.
pub const FAILED: u8 = 1;
/// Exit code: the command line or a file given on it cannot be used.
pub const USAGE: u8 = 2;
/// Exit code: the service refused the request.
pub const REFUSED: u8 = 3;
/// Exit code: `due --fail-if-late` found something late.
pub const LATE: u8 = 4;

/// Why a command did not do its job.
#[derive(Debug)]
pub enum Failure {
    /// The command line or a file given on it cannot be used.
    Usage(String),
    /// The service refused, failed or could not be reached.
    Client(Error),
    /// The same, with a note on what to do next.
    ClientNoted(Error, String),
    /// A rain file was sent and no reading was stored. A script that sends it every day must notice.
    NothingStored,
    /// The output could not be written.
    Output(io::Error),
}

impl From<Error> for Failure {
    fn from(error: Error) -> Self {
        Self::Client(error)
    }
}

impl From<io::Error> for Failure {
    fn from(error: io::Error) -> Self {
        Self::Output(error)
    }
}

impl From<serde_json::Error> for Failure {
    fn from(error: serde_json::Error) -> Self {
        Self::Output(error.into())
    }
}

impl Failure {
    /// A failure of the command line.
    pub fn usage(told: impl Into<String>) -> Self {
        Self::Usage(told.into())
    }

    /// The exit code. It is 0 if the reader closed the pipe.
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::Usage(_) => USAGE,
            Self::Client(error) | Self::ClientNoted(error, _) if error.is_usage() => USAGE,
            Self::Client(error) | Self::ClientNoted(error, _) if error.is_refused() => REFUSED,
            Self::NothingStored => REFUSED,
            Self::Output(error) if error.kind() == ErrorKind::BrokenPipe => 0,
            Self::Client(_) | Self::ClientNoted(..) | Self::Output(_) => FAILED,
        }
    }

    /// Writes what went wrong and what to do. `goes_on` says that the same command, run again, goes on with a request
    /// whose outcome is not known.
    pub fn report(&self, url: &str, goes_on: bool, err: &mut dyn Write) -> io::Result<()> {
        match self {
            Self::Usage(told) => line(err, format!("error: {told}")),
            Self::NothingStored => {
                line(err, "error: no reading of the file was stored")?;
                line(
                    err,
                    "  The file needs a header date,mm and lines such as 2026-03-01,4.2, or --layout ghcn-daily.",
                )
            }
            Self::Output(error) if error.kind() == ErrorKind::BrokenPipe => Ok(()),
            Self::Output(error) => line(err, format!("error: the output could not be written: {error}")),
            Self::Client(error) => report_error(error, url, goes_on, err),
            Self::ClientNoted(error, note) => {
                report_error(error, url, goes_on, err)?;
                line(err, format!("  {note}"))
            }
        }
    }
}

/// Writes a line without control characters. Any server may have answered, and names may hold anything, so neither
/// may control the terminal.
fn line(err: &mut dyn Write, text: impl AsRef<str>) -> io::Result<()> {
    writeln!(err, "{}", printable(text.as_ref()))
}

fn report_error(error: &Error, url: &str, goes_on: bool, err: &mut dyn Write) -> io::Result<()> {
    if let Some(problem) = error.problem() {
        line(err, format!("error: {}", problem.title))?;
        // Skip a detail that only repeats the title when the fields follow.
        if problem.errors.is_empty() || !problem.detail.starts_with(&problem.title) {
            line(err, format!("  {}", problem.detail))?;
        }
        for field in &problem.errors {
            line(err, format!("  {}: {}", field.field, field.message))?;
        }
        if let Some(id) = error.request_id() {
            line(err, format!("  request id: {id}"))?;
        }
    } else {
        line(err, format!("error: {error}"))?;
        let mut cause = std::error::Error::source(error);
        while let Some(source) = cause {
            line(err, format!("  because: {source}"))?;
            cause = source.source();
        }
    }
    if error.is_unauthorized() {
        line(err, "  Give a key for this service with --key-file, in EAVESWARD_KEY or in a profile.")?;
    } else if error.is_version_mismatch() {
        line(err, "  Someone changed it while this command ran. Look at it, then run the command again.")?;
    } else if error.is_connect() {
        line(err, format!("  Does the service run at {url}? Give its address with --url or EAVESWARD_URL."))?;
    }
    if error.may_have_been_applied() && goes_on {
        line(
            err,
            "  It may have been done. Run the same command again within 23 hours: it goes on with this request,",
        )?;
        line(err, "  does nothing twice and shows what came of it.")?;
    } else if error.may_have_been_applied() {
        line(err, "  An answer was lost, so the change may have been made. Check before you repeat it.")?;
    }
    Ok(())
}
