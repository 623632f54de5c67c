//! Writes a digest as text.

use crate::domain::rules::digest::make::Digest;
use crate::domain::rules::digest::{markdown, plain, sheet};

/// A digest as text for people or for a spreadsheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Format {
    /// A spreadsheet's table (RFC 4180).
    Csv,
    /// Plain text of at most eighty columns.
    Text,
    /// CommonMark.
    Markdown,
}

/// Writes a digest down.
pub fn render(digest: &Digest, format: Format) -> String {
    match format {
        Format::Csv => sheet::render(digest),
        Format::Text => plain::render(digest),
        Format::Markdown => markdown::render(digest),
    }
}
