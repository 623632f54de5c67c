//! Units for people. The service uses SI units and degrees Celsius. The conversion factors are exact by definition.
//!
//! [`Length`], [`Volume`] and [`Area`] hold a figure with its unit, and [`crate::build`] takes them:
//!
//! ```
//! use eavesward_client::units::{Area, Length, Volume};
//!
//! assert_eq!(Volume::us_gallons(1200.0).in_litres().round(), 4542.0);
//! assert_eq!("0.5 in".parse::<Length>()?, Length::millimetres(12.7));
//! assert!("1,200 gal".parse::<Volume>().is_err(), "a comma could mean two things");
//! assert!("40".parse::<Area>().is_err(), "the unit is missing");
//! # Ok::<(), eavesward_client::units::UnitError>(())
//! ```

use std::str::FromStr;

/// Millimetres in one inch.
pub const MM_PER_INCH: f64 = 25.4;
/// Litres in one US liquid gallon.
pub const LITRES_PER_US_GALLON: f64 = 3.785_411_784;
/// Square metres in one square foot.
pub const M2_PER_SQUARE_FOOT: f64 = 0.092_903_04;
/// Metres in one foot.
pub const METRES_PER_FOOT: f64 = 0.3048;

/// Inches to millimetres.
pub fn inches_to_mm(inches: f64) -> f64 {
    inches * MM_PER_INCH
}

/// Millimetres to inches.
pub fn mm_to_inches(mm: f64) -> f64 {
    mm / MM_PER_INCH
}

/// US liquid gallons to litres.
pub fn us_gallons_to_litres(gallons: f64) -> f64 {
    gallons * LITRES_PER_US_GALLON
}

/// Litres to US liquid gallons.
pub fn litres_to_us_gallons(litres: f64) -> f64 {
    litres / LITRES_PER_US_GALLON
}

/// Square feet to square metres.
pub fn square_feet_to_m2(square_feet: f64) -> f64 {
    square_feet * M2_PER_SQUARE_FOOT
}

/// Square metres to square feet.
pub fn m2_to_square_feet(m2: f64) -> f64 {
    m2 / M2_PER_SQUARE_FOOT
}

/// Feet to metres.
pub fn feet_to_metres(feet: f64) -> f64 {
    feet * METRES_PER_FOOT
}

/// Metres to feet.
pub fn metres_to_feet(metres: f64) -> f64 {
    metres / METRES_PER_FOOT
}

/// Degrees Fahrenheit to degrees Celsius.
pub fn fahrenheit_to_celsius(fahrenheit: f64) -> f64 {
    (fahrenheit - 32.0) / 1.8
}

/// Degrees Celsius to degrees Fahrenheit.
pub fn celsius_to_fahrenheit(celsius: f64) -> f64 {
    celsius * 1.8 + 32.0
}

/// Writes the type of a quantity. Its unit is part of the type's functions, so inches cannot pass as millimetres.
macro_rules! quantity {
    (
        $(#[$doc:meta])* $name:ident kept in $kept:ident, written like $example:literal;
        $($(#[$of:meta])* $make:ident / $read:ident = $factor:expr, $($word:literal)|+;)*
    ) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
        pub struct $name {
            $kept: f64,
        }

        impl $name {
            $(
                $(#[$of])*
                pub const fn $make(value: f64) -> Self {
                    Self { $kept: value * $factor }
                }

                #[doc = concat!("The same as a number of ", stringify!($make), ".")]
                pub const fn $read(self) -> f64 {
                    self.$kept / $factor
                }
            )*

            /// The quantity of a number and a unit. `None` means that the unit does not fit this quantity.
            fn of(value: f64, unit: &str) -> Option<Self> {
                match unit {
                    $($($word)|+ => Some(Self::$make(value)),)*
                    _ => None,
                }
            }
        }

        /// Reads a number and a unit. The number has a decimal point and no commas, whatever the machine's
        /// language.
        impl FromStr for $name {
            type Err = UnitError;

            fn from_str(text: &str) -> Result<Self, UnitError> {
                let NumberAndUnit { number, unit } = number_and_unit(text)?;
                let units: &[&str] = &[$($($word),+),*];
                Self::of(number, &unit).ok_or_else(|| UnitError {
                    told: if unit.is_empty() {
                        format!("{text:?} has no unit; write for example {}", $example)
                    } else {
                        format!("{unit:?} is not a unit that fits here; use one of {}", units.join(", "))
                    },
                })
            }
        }
    };
}

quantity! {
    /// A length: a depth of rain or sediment, a height, the opening of a mesh.
    Length kept in mm, written like "\"0.5 in\" or \"12.7 mm\"";
    /// Millimetres.
    millimetres / in_millimetres = 1.0, "mm";
    /// Centimetres.
    centimetres / in_centimetres = 10.0, "cm";
    /// Metres.
    metres / in_metres = 1000.0, "m";
    /// Inches of 25.4 mm.
    inches / in_inches = MM_PER_INCH, "in" | "inch" | "inches" | "\"";
    /// Feet of 12 inches.
    feet / in_feet = METRES_PER_FOOT * 1000.0, "ft" | "foot" | "feet" | "'";
}

quantity! {
    /// A volume: of a tank, of a chamber, or the water drawn per day.
    Volume kept in litres, written like "\"1200 gal\" or \"4500 L\"";
    /// Litres.
    litres / in_litres = 1.0, "l" | "litre" | "litres" | "liter" | "liters";
    /// Cubic metres.
    cubic_metres / in_cubic_metres = 1000.0, "m3" | "m\u{b3}";
    /// US liquid gallons of 3.785411784 litres. The imperial gallon is a fifth larger and is not accepted.
    us_gallons / in_us_gallons = LITRES_PER_US_GALLON, "gal" | "gallon" | "gallons" | "us gal" | "us gallon" | "us gallons";
}

quantity! {
    /// An area: of a roof in plan, of a mesh, of a tank's floor.
    Area kept in m2, written like "\"430 sqft\" or \"40 m2\"";
    /// Square metres.
    square_metres / in_square_metres = 1.0, "m2" | "m\u{b2}" | "sqm" | "sq m";
    /// Square feet of 0.09290304 square metres.
    square_feet / in_square_feet = M2_PER_SQUARE_FOOT, "ft2" | "ft\u{b2}" | "sqft" | "sq ft";
    /// Square inches.
    square_inches / in_square_inches = MM_PER_INCH * MM_PER_INCH / 1.0e6, "in2" | "in\u{b2}" | "sqin" | "sq in";
}

/// Why a text is not a quantity. Its message says what to write.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UnitError {
    told: String,
}

impl std::fmt::Display for UnitError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.told)
    }
}

impl std::error::Error for UnitError {}

/// A number as it was typed, and the text after it.
#[derive(Clone, Debug, PartialEq)]
pub struct NumberAndUnit {
    /// The number.
    pub number: f64,
    /// The unit in lower case and with single spaces; empty if there is none.
    pub unit: String,
}

/// Splits a text into its number and the unit after it. The unit is in lower case and has single spaces.
///
/// A comma is refused, because `1,200` is 1200 to some readers and 1.2 to others.
///
/// # Errors
/// The number cannot be read.
pub fn number_and_unit(text: &str) -> Result<NumberAndUnit, UnitError> {
    let text = text.trim();
    let end = text.find(|c: char| !matches!(c, '0'..='9' | '.' | ',' | '+' | '-')).unwrap_or(text.len());
    let (number, unit) = text.split_at(end);
    if number.contains(',') {
        let told =
            format!("{text:?} has a comma; write numbers with a point and without commas, like 1200 or 0.5");
        return Err(UnitError { told });
    }
    let parsed = number.parse::<f64>().ok().filter(|value| value.is_finite());
    let number =
        parsed.ok_or_else(|| UnitError { told: format!("{text:?} does not begin with a number") })?;
    let unit = unit.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase();
    Ok(NumberAndUnit { number, unit })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(got: f64, want: f64) {
        assert!((got - want).abs() <= 1e-9 * want.abs(), "{got} is not {want}");
    }

    #[test]
    fn figures_from_elsewhere() {
        // An inch of rain on 1,000 square feet is 623.376... US gallons: the rule of thumb of the trade.
        let litres = inches_to_mm(1.0) * square_feet_to_m2(1000.0);
        check(litres_to_us_gallons(litres), 144_000.0 / 231.0);
        check(us_gallons_to_litres(1.0), 3.785_411_784);
        check(m2_to_square_feet(1.0), 10.763_910_416_709_722);
        check(mm_to_inches(600.0), 23.622_047_244_094_49);
        check(metres_to_feet(1.0), 3.280_839_895_013_123);
        // The two scales meet at -40; water boils at 212.
        check(celsius_to_fahrenheit(-40.0), -40.0);
        check(fahrenheit_to_celsius(212.0), 100.0);
    }

    #[test]
    fn there_and_back() {
        for x in [0.001, 1.0, 47.3, 1e6] {
            check(inches_to_mm(mm_to_inches(x)), x);
            check(us_gallons_to_litres(litres_to_us_gallons(x)), x);
            check(square_feet_to_m2(m2_to_square_feet(x)), x);
            check(feet_to_metres(metres_to_feet(x)), x);
            check(fahrenheit_to_celsius(celsius_to_fahrenheit(x)), x);
        }
    }

    #[test]
    fn quantities_are_what_the_definitions_say() {
        check(Length::inches(1.0).in_millimetres(), 25.4);
        check(Length::feet(1.0).in_inches(), 12.0);
        check(Length::metres(1.5).in_centimetres(), 150.0);
        // A US gallon is 231 cubic inches.
        check(Volume::us_gallons(1.0).in_litres(), 231.0 * 25.4 * 25.4 * 25.4 / 1.0e6);
        check(Volume::cubic_metres(1.0).in_us_gallons(), 264.172_052_358_148_4);
        check(Area::square_feet(1.0).in_square_inches(), 144.0);
        check(Area::square_feet(1000.0).in_square_metres(), 92.903_04);
    }

    #[test]
    fn quantities_are_read_whatever_the_machines_language() {
        let length = |text: &str| text.parse::<Length>();
        for (text, mm) in [
            ("0.5 in", 12.7),
            ("0.5in", 12.7),
            (" .5  Inches ", 12.7),
            ("2\"", 50.8),
            ("6'", 1828.8),
            ("1.5 FT", 457.2),
            ("40mm", 40.0),
            ("4 cm", 40.0),
            ("-3 m", -3000.0),
            ("+3 m", 3000.0),
        ] {
            check(length(text).expect(text).in_millimetres(), mm);
        }
        check("1200 gal".parse::<Volume>().expect("gallons").in_litres(), 4_542.494_140_8);
        check("1200 US  gallons".parse::<Volume>().expect("gallons").in_litres(), 4_542.494_140_8);
        check("4.5 m\u{b3}".parse::<Volume>().expect("cubic metres").in_litres(), 4500.0);
        check("3000 L".parse::<Volume>().expect("litres").in_litres(), 3000.0);
        check("430 sq ft".parse::<Area>().expect("square feet").in_square_metres(), 430.0 * 0.092_903_04);
        check("50 m2".parse::<Area>().expect("square metres").in_square_metres(), 50.0);
        for nonsense in [
            "",
            "in",
            "0,5 in",
            "1,200 gal",
            "1.2.3 in",
            "- in",
            "5 imp gal",
            "5 m2",
            "5 gal",
            "NaN in",
            "inf in",
            "1e3 in",
            "5",
        ] {
            assert!(length(nonsense).is_err(), "{nonsense}");
        }
        let told = |text: &str| length(text).expect_err(text).to_string();
        assert!(
            told("0,5 in").contains("comma")
                && told("5").contains("0.5 in")
                && told("5 gal").contains("inches")
        );
    }
}
