//! Reasons: why a date or a plan is as it is, as data and as a sentence.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

/// One reason, such as why a task falls due on its date.
///
/// An app in another language can write its own sentence from `code` and `figures`. All other apps show `text`.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Reason {
    /// A stable word for what the sentence says, such as `accumulated`. A newer service may have more words. `text`
    /// means a sentence of an earlier version, which has no figures.
    pub code: String,
    /// The sentence in English, with SI figures.
    pub text: String,
    /// The figures of the sentence, in the order of the text.
    pub figures: Vec<Figure>,
}

/// A figure in a sentence: a number with its unit, a day, or a word.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Figure {
    /// What the figure is, such as `limit`; stable for each code.
    pub name: String,
    /// The number; null for a day or a word.
    pub value: Option<f64>,
    /// The symbol of the number's unit, such as `mm`, `MJ/m2`, `d` for days, `months`, `years`, `degC` or `%`; empty for
    /// a plain number. Null for a day or a word.
    pub unit: Option<String>,
    /// What is measured or counted, such as `runoff` or `findings`; null where the unit says enough.
    pub of: Option<String>,
    /// The day; null for a number or a word.
    pub on: Option<NaiveDate>,
    /// The figure as the sentence writes it, or the word.
    pub text: String,
}

impl Reason {
    /// The sentence with some figures written differently, for example in other units.
    ///
    /// For each figure in turn, `write` returns its new text, or `None` to keep the old one.
    pub fn text_with(&self, mut write: impl FnMut(&Figure) -> Option<String>) -> String {
        let mut written = String::with_capacity(self.text.len());
        let mut rest = self.text.as_str();
        for figure in &self.figures {
            // If the sentence does not contain the figure's text, the rest of it stays unchanged.
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

    fn figure(name: &str, value: f64, text: &str) -> Figure {
        let (value, unit, of) = (Some(value), Some("mm".to_owned()), Some("runoff".to_owned()));
        Figure { name: name.to_owned(), value, unit, of, on: None, text: text.to_owned() }
    }

    #[test]
    fn figures_are_written_otherwise_in_their_places() {
        let reason = Reason {
            code: "accumulated".to_owned(),
            text: "11 mm of runoff; the limit is 1 mm.".to_owned(),
            figures: vec![figure("accumulated", 11.0, "11 mm of runoff"), figure("limit", 1.0, "1 mm")],
        };
        let inches = |figure: &Figure| Some(format!("{:.2} in", figure.value? / 25.4));
        assert_eq!(reason.text_with(inches), "0.43 in; the limit is 0.04 in.");
        assert_eq!(reason.text_with(|_| None), reason.text);
        let odd = Reason { figures: vec![figure("limit", 2.0, "2 mm")], ..reason.clone() };
        assert_eq!(odd.text_with(inches), reason.text, "what is not there is left alone");
    }
}
