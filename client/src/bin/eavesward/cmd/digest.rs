//! `eavesward digest`: the weekly list in one piece, to be printed, mailed or opened in a spreadsheet.

use crate::app::App;
use crate::failure::Failure;
use crate::files::{self, Readers};
use crate::parse;
use chrono::NaiveDate;
use clap::{Args, ValueEnum};
use eavesward_client::{DigestFormat, DigestQuery};
use std::path::{Path, PathBuf};

/// How a digest is written.
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

/// What a digest is of. Without days: within 7 days, along with what is due already.
#[derive(Args)]
pub struct Digest {
    /// Due within so many days or already, such as 7d, 2w or P7D; 7d if no days are given
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
    /// How it is written
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
    /// A file to write it to, in the place of the screen; what is in it is replaced
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
        // Standard output under its other name is written to as ever: opened a second time, as a file it would be written
        // over by what is said after it, and as a terminal be driven by what is in it.
        let output = self.output.filter(|path| path != Path::new("/dev/stdout"));
        let Some(path) = output else {
            // A spreadsheet's lines end as they have to; the others are kept from driving the reader's terminal.
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
