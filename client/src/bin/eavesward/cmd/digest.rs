//! `eavesward digest`: the weekly list as one document for paper, a mail or a spreadsheet.

use crate::app::App;
use crate::failure::Failure;
use crate::files::{self, Readers};
use crate::parse;
use chrono::NaiveDate;
use clap::{Args, ValueEnum};
use eavesward_client::{DigestFormat, DigestQuery};
use std::path::{Path, PathBuf};

/// The format of a digest.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// Plain text of at most eighty columns
    Text,
    /// Markdown
    Markdown,
    /// A table for a spreadsheet
    Csv,
    /// JSON as the service sends it; the same as --json
    Json,
}

/// What a digest covers. Without days: tasks due within 7 days, including those due already.
#[derive(Args)]
pub struct Digest {
    /// Due within this many days or already, such as 7d, 2w or P7D; 7d if no days are given
    #[arg(long, value_parser = parse::days, conflicts_with_all = ["from", "to"])]
    within: Option<u32>,
    /// Due on this day or later
    #[arg(long, value_name = "DATE")]
    from: Option<NaiveDate>,
    /// Due on this day or earlier
    #[arg(long, value_name = "DATE")]
    to: Option<NaiveDate>,
    /// Only at this property
    #[arg(long, value_name = "PROPERTY")]
    property: Option<String>,
    /// Only of this system
    #[arg(long, value_name = "SYSTEM")]
    system: Option<String>,
    /// The format
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
    /// Write to this file instead of standard output; its contents are replaced
    #[arg(long, value_name = "FILE")]
    output: Option<PathBuf>,
}

impl Digest {
    /// Prints the digest, or writes it to the file.
    pub async fn run(self, app: &mut App<'_>) -> Result<(), Failure> {
        let mut query = DigestQuery::builder()
            .maybe_within_days(self.within)
            .maybe_from(self.from)
            .maybe_to(self.to)
            .build();
        if let Some(given) = &self.property {
            query.property_id = Some(app.property_id(given).await?);
        }
        if let Some(given) = &self.system {
            query.system_id = Some(app.system_id(given).await?);
        }
        let format = match self.format {
            _ if app.json => None,
            Format::Json => None,
            Format::Text => Some(DigestFormat::Text),
            Format::Markdown => Some(DigestFormat::Markdown),
            Format::Csv => Some(DigestFormat::Csv),
        };
        let text = match format {
            Some(format) => app.client.digest_as(&query, format).await?,
            None => serde_json::to_string_pretty(&app.client.digest(&query).await?)? + "\n",
        };
        // Write `/dev/stdout` through the open standard output. Opened again, a file would be overwritten by later
        // output, and a terminal would obey control characters.
        let output = self.output.filter(|path| path != Path::new("/dev/stdout"));
        let Some(path) = output else {
            // CSV keeps its own line ends. Other formats lose control characters, so that they cannot control the
            // terminal.
            if matches!(format, Some(DigestFormat::Csv)) {
                return Ok(app.io.out.write_all(text.as_bytes())?);
            }
            return text.lines().try_for_each(|line| app.line(line));
        };
        files::replace(&path, &text, Readers::AsBefore)
            .map_err(|error| Failure::usage(format!("{} could not be written: {error}", path.display())))?;
        app.done(format!("Written to {}.", path.display()))
    }
}
