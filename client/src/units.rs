//! Units for people. The wire is SI and degrees Celsius throughout; these factors are exact by definition.

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
}
