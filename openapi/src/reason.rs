//! Reasons: why a date is what it is, as data and as a sentence.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

/// Why a date is what it is.
///
/// An app with a language of its own writes the sentence from `code` and `figures`; everybody else shows `text`.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Reason {
    /// What it says, a stable word such as `accumulated`. New words may come; `text` marks a sentence of an earlier
    /// version that has no figures.
    pub code: String,
    /// The sentence in English, with figures in SI.
    pub text: String,
    /// The figures of the sentence, in the order in which the text has them.
    pub figures: Vec<Figure>,
}

/// A figure in a sentence: a number with its unit, a day, or a word.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Figure {
    /// What it says, such as `limit`; stable within a code.
    pub name: String,
    /// The number, where it is one.
    pub value: Option<f64>,
    /// The number's unit, such as `mm of runoff`, `days` or `%`; empty for a bare number.
    pub unit: Option<String>,
    /// The day, where it is one.
    pub on: Option<NaiveDate>,
    /// How the sentence writes it, or the word itself.
    pub text: String,
}

impl Reason {
    /// The sentence with some figures written otherwise, such as in other units.
    ///
    /// `write` gets each figure in turn and says how to write it; `None` leaves it as it is.
    pub fn text_with(&self, mut write: impl FnMut(&Figure) -> Option<String>) -> String {
        let mut written = String::with_capacity(self.text.len());
        let mut rest = self.text.as_str();
        for figure in &self.figures {
            // A service that writes a figure otherwise than it says leaves the sentence as it is from there.
            let Some((before, after)) = rest.split_once(figure.text.as_str()) else { break };
            written.push_str(before);
            match write(figure) {
                Some(text) => written.push_str(&text),
                None => written.push_str(&figure.text),
            }
            rest = after;
        }
        written.push_str(rest);
        written
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn figure(name: &str, value: f64, unit: &str, text: &str) -> Figure {
        let (value, unit) = (Some(value), Some(unit.to_owned()));
        Figure { name: name.to_owned(), value, unit, on: None, text: text.to_owned() }
    }

    #[test]
    fn figures_are_written_otherwise_in_their_places() {
        let reason = Reason {
            code: "accumulated".to_owned(),
            text: "11 mm of runoff; the limit is 1 mm.".to_owned(),
            figures: vec![
                figure("accumulated", 11.0, "mm of runoff", "11 mm of runoff"),
                figure("limit", 1.0, "mm", "1 mm"),
            ],
        };
        let inches = |figure: &Figure| Some(format!("{:.2} in", figure.value? / 25.4));
        assert_eq!(reason.text_with(inches), "0.43 in; the limit is 0.04 in.");
        assert_eq!(reason.text_with(|_| None), reason.text);
        let odd = Reason { figures: vec![figure("limit", 2.0, "mm", "2 mm")], ..reason.clone() };
        assert_eq!(odd.text_with(inches), reason.text, "what is not there is left alone");
    }
}
