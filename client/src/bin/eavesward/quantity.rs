//! Quantities as people type them: a number with a unit, or a bare number in the option's default unit.

use crate::failure::Failure;
use crate::show::Units;
use eavesward_client::units::{UnitError, number_and_unit};
use std::str::FromStr;

/// A quantity as it was typed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Typed<Q> {
    /// A number without a unit.
    Bare(f64),
    /// A number with one.
    Exact(Q),
}

impl<Q: FromStr<Err = UnitError>> FromStr for Typed<Q> {
    type Err = UnitError;

    fn from_str(text: &str) -> Result<Self, UnitError> {
        let typed = number_and_unit(text)?;
        if typed.unit.is_empty() { Ok(Self::Bare(typed.number)) } else { text.parse().map(Self::Exact) }
    }
}

impl<Q> Typed<Q> {
    /// The quantity. A bare number is in the unit of `si`. With US units on screen it could mean either unit, so it
    /// is refused.
    pub fn get(self, option: &str, units: Units, si: fn(f64) -> Q, example: &str) -> Result<Q, Failure> {
        match (self, units) {
            (Self::Exact(quantity), _) => Ok(quantity),
            (Self::Bare(value), Units::Si) => Ok(si(value)),
            (Self::Bare(value), Units::Us) => Err(Failure::usage(format!(
                "{option} {value} could be in SI or US units; write the unit, like {example}"
            ))),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use eavesward_client::units::Length;

    #[test]
    fn a_bare_number_is_si_and_never_a_guess() {
        let get = |text: &str, units| {
            text.parse::<Typed<Length>>().ok()?.get("--rain", units, Length::millimetres, "\"0.5 in\"").ok()
        };
        for (text, units, want) in [
            ("12.7", Units::Si, Some(Length::millimetres(12.7))),
            ("0.5 in", Units::Si, Some(Length::inches(0.5))),
            ("0.5 in", Units::Us, Some(Length::inches(0.5))),
            ("12.7mm", Units::Us, Some(Length::millimetres(12.7))),
            ("0.5", Units::Us, None),
            ("0,5", Units::Si, None),
            ("0.5 gal", Units::Si, None),
        ] {
            assert_eq!(get(text, units), want, "{text} {units:?}");
        }
    }
}
