//! Writes a digest as text.

use crate::domain::rules::digest::make::Digest;
use crate::domain::rules::digest::{markdown, plain, sheet};

/// Forms of a digest as text.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Format {
    /// CSV for spreadsheets (RFC 4180).
    Csv,
    /// Plain text of at most eighty columns.
    Text,
    /// CommonMark.
    Markdown,
}

/// Writes a digest as text.
pub fn render(digest: &Digest, format: Format) -> String {
    match format {
        Format::Csv => sheet::render(digest),
        Format::Text => plain::render(digest),
        Format::Markdown => markdown::render(digest),
    }
}
