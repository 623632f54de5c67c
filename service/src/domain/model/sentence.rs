//! A sentence for people, with its figures as data.

use chrono::NaiveDate;

/// What a figure of a sentence is.
#[derive(Clone, Debug, PartialEq)]
pub enum FigureValue {
    /// A number with its unit.
    Quantity {
        /// The number.
        value: f64,
        /// Its unit; empty for a bare number.
        unit: String,
    },
    /// A day.
    Day(NaiveDate),
    /// A word or name.
    Word(String),
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
    pub fn quantity(self, name: &'static str, value: f64, unit: &str) -> Self {
        let text =
            if unit.is_empty() { significant(value) } else { format!("{} {unit}", significant(value)) };
        self.figure(name, FigureValue::Quantity { value, unit: unit.to_owned() }, text)
    }

    /// Adds a number with all its digits, and its unit.
    #[must_use]
    pub fn exactly(self, name: &'static str, value: f64, unit: &str) -> Self {
        let text = format!("{value} {unit}");
        self.figure(name, FigureValue::Quantity { value, unit: unit.to_owned() }, text)
    }

    /// Adds a number without a unit, with all its digits.
    #[must_use]
    pub fn bare(self, name: &'static str, value: f64) -> Self {
        self.figure(name, FigureValue::Quantity { value, unit: String::new() }, value.to_string())
    }

    /// Adds a number with one decimal and its unit.
    #[must_use]
    pub fn decimal(self, name: &'static str, value: f64, unit: &str) -> Self {
        let text = format!("{value:.1} {unit}");
        self.figure(name, FigureValue::Quantity { value, unit: unit.to_owned() }, text)
    }

    /// Adds a whole number with its noun in the right form.
    #[must_use]
    pub fn count(self, name: &'static str, number: u64, one: &str, many: &str) -> Self {
        let text = crate::domain::base::plural::counted(number, one, many);
        self.figure(name, FigureValue::Quantity { value: number as f64, unit: many.to_owned() }, text)
    }

    /// Adds a whole number whose noun is elsewhere in the sentence.
    #[must_use]
    pub fn number(self, name: &'static str, number: u64, unit: &str) -> Self {
        let value = FigureValue::Quantity { value: number as f64, unit: unit.to_owned() };
        self.figure(name, value, number.to_string())
    }

    /// Adds a share as a percentage with at most one decimal.
    #[must_use]
    pub fn percent(self, name: &'static str, share: f64) -> Self {
        let percent = (share * 1000.0).round() / 10.0;
        let value = FigureValue::Quantity { value: percent, unit: "%".to_owned() };
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
