//! How many digits of a figure are stored and shown.

/// Rounds to six significant digits. More digits would claim an accuracy that no roof has, and lengthen what is
/// stored and sent.
pub fn rounded(value: f64) -> f64 {
    if value == 0.0 || !value.is_finite() {
        return value;
    }
    let scale = 10_f64.powi(5 - value.abs().log10().floor() as i32);
    let rounded = (value * scale).round() / scale;
    if rounded.is_finite() { rounded } else { value }
}

#[cfg(test)]
mod tests {
    use crate::domain::base::rounding::rounded;

    #[test]
    fn six_digits_stay_and_rounding_again_changes_nothing() {
        assert_eq!(rounded(0.366_782_069_052_414_6), 0.366_782);
        assert_eq!(rounded(-12_345_678.9), -12_345_700.0);
        assert_eq!(rounded(999_999.6), 1_000_000.0);
        assert_eq!((rounded(0.0), rounded(f64::INFINITY), rounded(5e-324)), (0.0, f64::INFINITY, 5e-324));
        // A stored figure is rounded already, and is rounded again before it is shown.
        let mut value = 3.0e-12;
        for _ in 0..20_000 {
            value *= 1.003_7;
            let once = rounded(value);
            assert!((once / value - 1.0).abs() <= 5e-6, "{value}");
            assert_eq!(rounded(once).to_bits(), once.to_bits(), "{value}");
        }
    }
}
