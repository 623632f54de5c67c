//! Figures, units and words for people.

use chrono::NaiveDate;
use clap::ValueEnum;
use eavesward_client::contract::{Accumulated, Caution, DecidedBy, Finding, Hazard, Limit, Reason, Window};
use eavesward_client::units;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// The months.
pub const MONTHS: [&str; 12] =
    ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];

/// Units in tables.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Units {
    /// Inches, US gallons, square feet
    Us,
    /// Millimetres, litres, square metres
    Si,
}

/// The colour of a state as the numbers of an escape code. `None` stands for a state without a colour and for any
/// other word.
pub fn state_colour(word: &str) -> Option<&'static str> {
    match word {
        "late" => Some("1;31"),
        "due" => Some("33"),
        "near" => Some("36"),
        _ => None,
    }
}

/// A state's word in its colour.
pub fn state(state: &impl Serialize, colours: bool) -> String {
    let word = words(state);
    match state_colour(&word).filter(|_| colours) {
        Some(colour) => format!("\u{1b}[{colour}m{word}\u{1b}[0m"),
        None => word,
    }
}

/// A figure and its unit.
pub struct Figure {
    /// The number.
    pub value: f64,
    /// The unit.
    pub unit: String,
}

/// Converts a figure to the wanted units, if its unit is a length, a volume or an area.
pub fn quantity(value: f64, unit: &str, units: Units) -> Figure {
    let (value, unit) = match (units, unit) {
        (Units::Us, "mm") => (units::mm_to_inches(value), "in"),
        (Units::Us, "L") => (units::litres_to_us_gallons(value), "US gal"),
        (Units::Us, "m2") => (units::m2_to_square_feet(value), "ft2"),
        (Units::Us, "m") => (units::metres_to_feet(value), "ft"),
        _ => (value, unit),
    };
    Figure { value, unit: unit.to_owned() }
}

/// A figure with about three significant digits.
pub fn number(value: f64) -> String {
    let decimals = match value.abs() {
        size if size >= 100.0 => 0,
        size if size >= 10.0 => 1,
        size if size >= 0.01 || size == 0.0 => 2,
        _ => 4,
    };
    let text = format!("{value:.decimals$}");
    let short = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    if short == "-0" { "0".to_owned() } else { short.to_owned() }
}

/// A reason with its figures in the wanted units.
pub fn reason(reason: &Reason, units: Units) -> String {
    reason.text_with(|figure| {
        let (value, unit) = (figure.value?, figure.unit.as_deref()?);
        let shown = quantity(value, unit, units);
        // A figure that keeps its unit stays as the service wrote it.
        if shown.unit == unit {
            return None;
        }
        let of = figure.of.as_deref().filter(|of| figure.text.ends_with(*of));
        let of = of.map_or_else(String::new, |of| format!(" of {of}"));
        Some(format!("{} {}{of}", number(shown.value), shown.unit))
    })
}

/// Words with commas between them, without repetitions.
pub fn list(words: impl Iterator<Item = String>) -> String {
    let mut known: Vec<String> = Vec::new();
    for word in words {
        if !known.contains(&word) {
            known.push(word);
        }
    }
    known.join(", ")
}

/// A number with its noun in the singular or plural.
pub fn counted(number: impl Into<u64>, one: &str, many: &str) -> String {
    let number = number.into();
    format!("{number} {}", if number == 1 { one } else { many })
}

/// A figure with its unit as text.
pub fn measure(value: f64, unit: &str, units: Units) -> String {
    let Figure { value, unit } = quantity(value, unit, units);
    let unit = if unit == "d" { "days" } else { &unit };
    format!("{} {unit}", number(value))
}

/// A figure with its unit and what it measures as text. A plain number is a count.
pub fn measure_of(value: f64, unit: &str, of: &str, units: Units) -> String {
    match unit {
        "" => format!("{} {of}", number(value)),
        _ => format!("{} of {of}", measure(value, unit, units)),
    }
}

/// The accumulated figure over the limit, with the unit. A dash stands for a missing figure.
pub fn accumulated_over_limit(
    accumulated: Option<&Accumulated>,
    limit: Option<&Limit>,
    units: Units,
) -> String {
    match (accumulated, limit) {
        (None, None) => "-".to_owned(),
        (Some(accumulated), None) => measure_of(accumulated.value, &accumulated.unit, &accumulated.of, units),
        (None, Some(limit)) => format!("- / {}", measure_of(limit.value, &limit.unit, &limit.of, units)),
        (Some(accumulated), Some(limit)) => {
            let value = quantity(accumulated.value, &accumulated.unit, units).value;
            format!("{} / {}", number(value), measure_of(limit.value, &limit.unit, &limit.of, units))
        }
    }
}

/// A name, or a dash.
pub fn name(name: Option<&String>) -> String {
    name.cloned().unwrap_or_else(|| "-".to_owned())
}

/// A date, or a dash.
pub fn date(date: Option<NaiveDate>) -> String {
    date.map_or_else(|| "-".to_owned(), |date| date.to_string())
}

/// The early, likely and late date; `later` for a date beyond the horizon.
pub fn window(window: Option<&Window>) -> String {
    let Some(window) = window else { return "-".to_owned() };
    let show = |day: Option<NaiveDate>| day.map_or_else(|| "later".to_owned(), |day| day.to_string());
    format!("{} / {} / {}", show(window.early_on), show(window.likely_on), show(window.late_on))
}

/// A share as a percentage. An uncertain share is never shown as 0 or 100.
pub fn percent(share: Option<f64>) -> String {
    match share {
        None => "-".to_owned(),
        Some(share) if share > 0.0 && share < 0.005 => "<1 %".to_owned(),
        Some(share) if share < 1.0 && share > 0.995 => ">99 %".to_owned(),
        Some(share) => format!("{:.0} %", share * 100.0),
    }
}

/// A word of the contract with spaces, such as `first flush diverter`.
pub fn words(value: &impl Serialize) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(word)) => word.replace('_', " "),
        _ => "unknown".to_owned(),
    }
}

/// A word quoted for a shell, so that the shell runs nothing in it.
pub fn quoted(word: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_.,:/+".contains(c);
    if !word.is_empty() && word.chars().all(plain) {
        word.to_owned()
    } else {
        format!("'{}'", word.replace('\'', "'\\''"))
    }
}

/// What decided a date.
pub fn decided_by(decided_by: DecidedBy) -> String {
    match decided_by {
        DecidedBy::LongestInterval => "longest interval".to_owned(),
        DecidedBy::FirstLook => "first look".to_owned(),
        DecidedBy::Rating => "maker's rating".to_owned(),
        other => words(&other),
    }
}

/// What was found.
pub fn finding(finding: &Finding, units: Units) -> String {
    if let Finding::Depth { depth_mm, .. } = finding {
        return measure(*depth_mm, "mm", units);
    }
    if let Finding::Fraction { fraction, .. } = finding {
        return format!("{:.0} %", fraction * 100.0);
    }
    if let Finding::Class { fullness, .. } = finding {
        return words(fullness);
    }
    let word = match finding {
        Finding::Nothing { .. } => "nothing",
        Finding::Blocked { .. } => "blocked",
        _ => "a finding that this version does not know",
    };
    word.to_owned()
}

/// Cautions grouped by hazard, each sentence once.
pub fn by_hazard<'a>(cautions: impl IntoIterator<Item = &'a Caution>) -> BTreeMap<Hazard, Vec<&'a str>> {
    let mut hazards: BTreeMap<Hazard, Vec<&str>> = BTreeMap::new();
    for caution in cautions {
        let texts = hazards.entry(caution.hazard).or_default();
        if !texts.contains(&caution.text.as_str()) {
            texts.push(&caution.text);
        }
    }
    hazards
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_are_converted_and_what_is_measured_is_said() {
        let us = |value, unit, of| measure_of(value, unit, of, Units::Us);
        assert_eq!(us(25.4, "mm", "runoff"), "1 in of runoff");
        assert_eq!(us(1000.0, "L", "water through the filter"), "264 US gal of water through the filter");
        assert_eq!(measure(10.0, "m2", Units::Us), "108 ft2");
        assert_eq!(us(12.0, "MJ/m2", "ultraviolet"), "12 MJ/m2 of ultraviolet");
        assert_eq!(us(900.0, "d", "ageing at 25 degrees C"), "900 days of ageing at 25 degrees C");
        assert_eq!(us(12.0, "", "fills of the chamber"), "12 fills of the chamber");
        assert_eq!(measure_of(25.4, "mm", "runoff", Units::Si), "25.4 mm of runoff");
    }

    #[test]
    fn numbers_are_short() {
        for (value, text) in [
            (0.0, "0"),
            (1234.5, "1234"),
            (100.0, "100"),
            (12.34, "12.3"),
            (1.0, "1"),
            (0.0012, "0.0012"),
            (-0.0001, "-0.0001"),
            (-0.000_01, "0"),
        ] {
            assert_eq!(number(value), text);
        }
    }

    #[test]
    fn a_shell_reads_a_quoted_word_as_it_was() {
        assert_eq!(quoted("north-screen:clean-screen"), "north-screen:clean-screen");
        for word in [
            "",
            "north screen",
            "12\" downpipe screen",
            "$(echo run) `echo run`",
            "the miller's $HOME\\",
            "a;b|c&d>e<f*g?h!i~j#k",
            "'",
        ] {
            let quoted = quoted(word);
            let mut shell = std::process::Command::new("sh");
            let ran = shell.args(["-c", &format!("printf %s {quoted}")]).output().expect("a shell");
            assert_eq!(
                (String::from_utf8_lossy(&ran.stdout), ran.stderr.len()),
                (word.into(), 0),
                "{quoted}"
            );
        }
    }

    #[test]
    fn chances_are_not_rounded_to_certainty() {
        for (share, text) in [
            (Some(0.0), "0 %"),
            (Some(0.001), "<1 %"),
            (Some(0.5), "50 %"),
            (Some(0.999), ">99 %"),
            (Some(1.0), "100 %"),
            (None, "-"),
        ] {
            assert_eq!(percent(share), text);
        }
    }
}
