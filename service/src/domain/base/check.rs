//! Collects everything that is wrong with a request, so that the caller hears of it all at once.

use crate::domain::base::bounds::{Bounds, Entries, LATITUDE_DEG, LONGITUDE_DEG, YEARS};
use crate::domain::base::error::{Error, Faults, FieldError, Result};
use crate::domain::base::plural::counted;
use chrono::{Datelike, NaiveDate};
use chrono_tz::Tz;

/// The errors found so far, and the path that is being checked.
#[derive(Debug, Default)]
pub struct Check {
    path: String,
    faults: Faults,
}

impl Check {
    /// A check without errors, at the root of the request.
    pub fn new() -> Self {
        Self::default()
    }

    /// Checks the fields under `part` of the path.
    pub fn within(&mut self, part: impl AsRef<str>, f: impl FnOnce(&mut Self)) {
        let length = self.path.len();
        if length > 0 && !part.as_ref().starts_with('[') {
            self.path.push('.');
        }
        self.path.push_str(part.as_ref());
        f(self);
        self.path.truncate(length);
    }

    /// Adds an error for a field.
    pub fn refuse(&mut self, field: &str, message: impl Into<String>) {
        let field = match (self.path.is_empty(), field.is_empty()) {
            (true, _) => field.to_owned(),
            (false, true) => self.path.clone(),
            (false, false) => format!("{}.{field}", self.path),
        };
        self.faults.push(FieldError { field, message: message.into() });
    }

    /// Checks that a number is within its bounds.
    pub fn between(&mut self, field: &str, value: f64, bounds: Bounds) {
        if !bounds.hold(value) {
            self.refuse(field, format!("{value} is not from {} to {}", bounds.least, bounds.most));
        }
    }

    /// The same check for a value that may be absent.
    pub fn between_if_given(&mut self, field: &str, value: Option<f64>, bounds: Bounds) {
        if let Some(value) = value {
            self.between(field, value, bounds);
        }
    }

    /// Checks the number of entries of a list.
    pub fn entries(&mut self, field: &str, number: usize, entries: Entries) {
        let Entries { fewest, most } = entries;
        if number < fewest || number > most {
            self.refuse(
                field,
                format!("it has {}; give {fewest} to {most}", counted(number as u64, "entry", "entries")),
            );
        }
    }

    /// Checks that the first day of a range is not after the last.
    pub fn range(&mut self, from: Option<NaiveDate>, to: Option<NaiveDate>) {
        if let (Some(first), Some(last)) = (from, to)
            && first > last
        {
            self.refuse("from", format!("{first} is after {last}"));
        }
    }

    /// Checks a name: not blank, at most `most` characters, no control characters, none that people cannot see.
    pub fn text(&mut self, field: &str, value: &str, most: usize) {
        if value.trim().is_empty() {
            self.refuse(field, "it is blank; give a text that people will recognise");
        } else if let Some(hidden) = value.chars().find(|letter| is_hidden(*letter)) {
            self.refuse(
                field,
                format!("it contains the invisible character U+{:04X}; leave it out", hidden as u32),
            );
        } else {
            self.note(field, value, most);
        }
    }

    /// Checks a text that may be blank. PostgreSQL cannot store the zero character, so it is refused on both
    /// databases.
    pub fn note(&mut self, field: &str, value: &str, most: usize) {
        let length = value.chars().count();
        if length > most {
            self.refuse(
                field,
                format!("it has {}; give at most {most}", counted(length as u64, "character", "characters")),
            );
        } else if value.chars().any(|c| c.is_control() && c != '\n' && c != '\t' && c != '\r') {
            self.refuse(field, "it contains control characters; leave them out");
        }
    }

    /// Checks that a date lies in the allowed years.
    pub fn date(&mut self, field: &str, value: NaiveDate) {
        if !YEARS.contains(&value.year()) {
            self.refuse(field, format!("{value} is not in the years {} to {}", YEARS.start(), YEARS.end()));
        }
    }

    /// Returns the errors, if there are any.
    pub fn done(self) -> Result<()> {
        if self.faults.count == 0 { Ok(()) } else { Err(Error::Invalid(self.faults)) }
    }
}

/// Whether a character shows nothing, or turns the letters around it: two names that look the same would differ. The
/// joiners U+200C and U+200D are not among them, because some scripts are written with them.
fn is_hidden(letter: char) -> bool {
    matches!(
        letter,
        // Soft hyphen, grapheme joiner, marks of direction, zero-width and fillers.
        '\u{ad}' | '\u{34f}' | '\u{61c}' | '\u{115f}' | '\u{1160}' | '\u{17b4}' | '\u{17b5}' | '\u{180e}' | '\u{200b}'
        | '\u{200e}' | '\u{200f}' | '\u{3164}' | '\u{feff}' | '\u{ffa0}'
        // Overrides and isolates of direction, separators of lines, invisible operators, old format characters.
        | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{fff9}'..='\u{fffb}'
        // Tags.
        | '\u{e0000}'..='\u{e007f}'
    )
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_has_only_what_people_see() {
        let refused = |name: &str| {
            let mut check = Check::new();
            check.text("name", name, 100);
            check.done().is_err()
        };
        // Joiners are part of Persian, Hindi and some pictures; accents and other scripts are letters.
        for name in ["Shed 3", "Ще́дрик", "می\u{200c}خواهم", "क्‍ष", "雨水タンク", "👩\u{200d}🌾 orchard"]
        {
            assert!(!refused(name), "{name}");
        }
        for hidden in [
            '\u{202e}',
            '\u{2066}',
            '\u{200b}',
            '\u{200f}',
            '\u{feff}',
            '\u{ad}',
            '\u{2060}',
            '\u{e0041}',
            '\u{3164}',
        ] {
            assert!(refused(&format!("Shed{hidden} 3")), "{hidden:?}");
        }
        assert!(refused("Shed\u{7}") && refused("\u{a0} ") && refused(""));
    }
}
