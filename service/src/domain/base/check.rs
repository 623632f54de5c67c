//! Collects what is wrong with a request, so that the caller hears of everything at once.

use crate::domain::base::bounds::{Bounds, Entries, LATITUDE_DEG, LONGITUDE_DEG, YEARS};
use crate::domain::base::error::{Error, FieldError, Result};
use chrono::{Datelike, NaiveDate};
use chrono_tz::Tz;

/// The refusals so far, and the path they stand at.
#[derive(Debug, Default)]
pub struct Check {
    path: String,
    errors: Vec<FieldError>,
}

impl Check {
    /// Nothing refused yet, at the root of the request.
    pub fn new() -> Self {
        Self::default()
    }

    /// Checks what lies under `part` of the path.
    pub fn within(&mut self, part: impl AsRef<str>, f: impl FnOnce(&mut Self)) {
        let length = self.path.len();
        if length > 0 && !part.as_ref().starts_with('[') {
            self.path.push('.');
        }
        self.path.push_str(part.as_ref());
        f(self);
        self.path.truncate(length);
    }

    /// Refuses a field.
    pub fn refuse(&mut self, field: &str, message: impl Into<String>) {
        let field = match (self.path.is_empty(), field.is_empty()) {
            (true, _) => field.to_owned(),
            (false, true) => self.path.clone(),
            (false, false) => format!("{}.{field}", self.path),
        };
        self.errors.push(FieldError { field, message: message.into() });
    }

    /// A finite number within its bounds.
    pub fn between(&mut self, field: &str, value: f64, bounds: Bounds) {
        if !bounds.hold(value) {
            self.refuse(field, format!("{value} is not from {} to {}", bounds.least, bounds.most));
        }
    }

    /// The same for a value that may be absent.
    pub fn between_if_given(&mut self, field: &str, value: Option<f64>, bounds: Bounds) {
        if let Some(value) = value {
            self.between(field, value, bounds);
        }
    }

    /// The number of entries of a list.
    pub fn entries(&mut self, field: &str, number: usize, entries: Entries) {
        let Entries { fewest, most } = entries;
        if number < fewest || number > most {
            self.refuse(field, format!("it has {number} entries; give {fewest} to {most}"));
        }
    }

    /// Two days of a range, in order.
    pub fn range(&mut self, from: Option<NaiveDate>, to: Option<NaiveDate>) {
        if let (Some(first), Some(last)) = (from, to)
            && first > last
        {
            self.refuse("from", format!("{first} is after {last}"));
        }
    }

    /// A text that is not blank and has at most `most` characters, without control characters.
    pub fn text(&mut self, field: &str, value: &str, most: usize) {
        if value.trim().is_empty() {
            self.refuse(field, "it is blank; give it a name that people will know it by");
        } else {
            self.note(field, value, most);
        }
    }

    /// A text that may be blank. PostgreSQL cannot keep the zero character, so it is refused for both.
    pub fn note(&mut self, field: &str, value: &str, most: usize) {
        let length = value.chars().count();
        if length > most {
            self.refuse(field, format!("it has {length} characters; at most {most} are kept"));
        } else if value.chars().any(|c| c.is_control() && c != '\n' && c != '\t' && c != '\r') {
            self.refuse(field, "it contains control characters; leave them out");
        }
    }

    /// A date that a rainwater system can have.
    pub fn date(&mut self, field: &str, value: NaiveDate) {
        if !YEARS.contains(&value.year()) {
            self.refuse(field, format!("{value} is not in the years {} to {}", YEARS.start(), YEARS.end()));
        }
    }

    /// The refusals, if there are any.
    pub fn done(self) -> Result<()> {
        if self.errors.is_empty() { Ok(()) } else { Err(Error::Invalid(self.errors)) }
    }
}

/// Reads the name of a time zone.
pub(crate) fn zone(check: &mut Check, field: &str, name: &str) -> Option<Tz> {
    let zone = name.parse::<Tz>().ok();
    if zone.is_none() {
        check.refuse(field, format!("{name:?} is not an IANA time zone; write it like Europe/Berlin or UTC"));
    }
    zone
}

/// Checks a position.
pub(crate) fn place(check: &mut Check, latitude_deg: f64, longitude_deg: f64) {
    check.between("latitude_deg", latitude_deg, LATITUDE_DEG);
    check.between("longitude_deg", longitude_deg, LONGITUDE_DEG);
}
