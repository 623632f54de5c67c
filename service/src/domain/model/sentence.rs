//! A sentence for people, with its figures as data.

use crate::domain::model::measure::Measure;
use chrono::NaiveDate;

/// What a figure of a sentence is.
#[derive(Clone, Debug, PartialEq)]
pub enum FigureValue {
    /// A number with its unit.
    Quantity {
        /// The number.
        value: f64,
        /// The symbol of its unit; empty for a plain number.
        unit: &'static str,
        /// What is measured or counted, where that is more than a time or a share.
        of: Option<&'static str>,
    },
    /// A day.
    Day(NaiveDate),
    /// A word or name.
    Word(String),
}

impl FigureValue {
    const fn measured(value: f64, measure: Measure) -> Self {
        Self::Quantity { value, unit: measure.unit(), of: Some(measure.of()) }
    }

    /// A number of things. A number of days, months, years or minutes has a unit; other things are named.
    fn counted(number: u64, many: &'static str) -> Self {
        let (unit, of) = match many {
            "days" => ("d", None),
            "months" | "years" | "min" => (many, None),
            _ => ("", Some(many)),
        };
        Self::Quantity { value: number as f64, unit, of }
    }
}

/// A figure in a sentence.
#[derive(Clone, Debug, PartialEq)]
pub struct Figure {
    /// What the figure is, such as `limit`; stable within a code.
    pub name: &'static str,
    /// Its value.
    pub value: FigureValue,
    /// How the sentence writes it.
    pub text: String,
}

/// A sentence with its figures, and a stable code for what it says.
#[derive(Clone, Debug, PartialEq)]
pub struct Sentence {
    /// A stable word for what it says, for programs.
    pub code: &'static str,
    /// The sentence in English.
    pub text: String,
    /// The figures in it, in the order of the text.
    pub figures: Vec<Figure>,
}

impl Sentence {
    /// Begins a sentence.
    pub const fn of(code: &'static str) -> Self {
        Self { code, text: String::new(), figures: Vec::new() }
    }

    /// Adds words.
    #[must_use]
    pub fn say(mut self, words: &str) -> Self {
        self.text.push_str(words);
        self
    }

    /// Adds a number with three significant digits and its unit.
    #[must_use]
    pub fn quantity(self, name: &'static str, value: f64, unit: &'static str) -> Self {
        let text =
            if unit.is_empty() { significant(value) } else { format!("{} {unit}", significant(value)) };
        self.figure(name, FigureValue::Quantity { value, unit, of: None }, text)
    }

    /// Adds what has accumulated, with three significant digits, the unit and what it is.
    #[must_use]
    pub fn measured(self, name: &'static str, value: f64, measure: Measure) -> Self {
        let text = format!("{} {}", significant(value), measure.in_full());
        self.figure(name, FigureValue::measured(value, measure), text)
    }

    /// Adds another figure of the same kind, with its unit alone.
    #[must_use]
    pub fn same_measure(self, name: &'static str, value: f64, measure: Measure) -> Self {
        let text = format!("{} {}", significant(value), measure.in_words());
        self.figure(name, FigureValue::measured(value, measure), text)
    }

    /// Adds a number with all its digits, and its unit.
    #[must_use]
    pub fn exactly(self, name: &'static str, value: f64, unit: &'static str) -> Self {
        let text = format!("{value} {unit}");
        self.figure(name, FigureValue::Quantity { value, unit, of: None }, text)
    }

    /// Adds a temperature.
    #[must_use]
    pub fn temperature(self, name: &'static str, value: f64) -> Self {
        let text = format!("{value} degrees C");
        self.figure(name, FigureValue::Quantity { value, unit: "degC", of: None }, text)
    }

    /// Adds a number without a unit, with all its digits.
    #[must_use]
    pub fn bare(self, name: &'static str, value: f64) -> Self {
        self.figure(name, FigureValue::Quantity { value, unit: "", of: None }, value.to_string())
    }

    /// Adds a number with one decimal and its unit.
    #[must_use]
    pub fn decimal(self, name: &'static str, value: f64, unit: &'static str) -> Self {
        let text = format!("{value:.1} {unit}");
        self.figure(name, FigureValue::Quantity { value, unit, of: None }, text)
    }

    /// Adds a whole number with its noun in the right form.
    #[must_use]
    pub fn count(self, name: &'static str, number: u64, one: &str, many: &'static str) -> Self {
        let text = crate::domain::base::plural::counted(number, one, many);
        self.figure(name, FigureValue::counted(number, many), text)
    }

    /// Adds a whole number whose noun is elsewhere in the sentence.
    #[must_use]
    pub fn number(self, name: &'static str, number: u64, many: &'static str) -> Self {
        self.figure(name, FigureValue::counted(number, many), number.to_string())
    }

    /// Adds a share as a percentage with at most one decimal.
    #[must_use]
    pub fn percent(self, name: &'static str, share: f64) -> Self {
        let percent = (share * 1000.0).round() / 10.0;
        let value = FigureValue::Quantity { value: percent, unit: "%", of: None };
        self.figure(name, value, format!("{percent} %"))
    }

    /// Adds a day.
    #[must_use]
    pub fn day(self, name: &'static str, on: NaiveDate) -> Self {
        self.figure(name, FigureValue::Day(on), on.format("%-d %B %Y").to_string())
    }

    /// Adds a word or name.
    #[must_use]
    pub fn word(self, name: &'static str, word: &str) -> Self {
        self.figure(name, FigureValue::Word(word.to_owned()), word.to_owned())
    }

    fn figure(mut self, name: &'static str, value: FigureValue, text: String) -> Self {
        self.text.push_str(&text);
        self.figures.push(Figure { name, value, text });
        self
    }
}

/// Three significant digits, without an exponent.
pub fn significant(value: f64) -> String {
    if !value.is_finite() || value == 0.0 {
        return "0".to_owned();
    }
    let digits = (2 - value.abs().log10().floor() as i32).max(0) as usize;
    format!("{value:.digits$}")
}

/// The number that [`significant`] writes.
pub fn three_digits(value: f64) -> f64 {
    significant(value).parse().unwrap_or(value)
}
