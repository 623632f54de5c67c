//! The few special functions the laws need, with a bounded number of steps.
//!
//! `statrs` gives the logarithm of the gamma function and the error function. Its regularised incomplete gamma loops
//! until the last digit settles, without a bound; the version here stops after [`MAX_STEPS`] and says so.

use statrs::function::erf::erfc;
use statrs::function::gamma::ln_gamma;

use crate::error::EngineError;

/// Series and continued fraction need about 5 sqrt(a) steps; shapes above [`LARGE_SHAPE`] take another path.
const MAX_STEPS: u32 = 5_000;
/// Relative size of a correction at which a sum is taken as settled.
const SETTLED: f64 = 1e-13;
/// Above this shape the Wilson-Hilferty cube root is closer than 2e-6 to the gamma law (checked in the tests).
const LARGE_SHAPE: f64 = 2.0e4;

/// The normal distribution function.
pub(crate) fn normal_below(z: f64) -> f64 {
    0.5 * erfc(-z * std::f64::consts::FRAC_1_SQRT_2)
}

/// P(X >= x) for X gamma distributed with shape `a` and scale 1 (the regularised upper incomplete gamma).
///
/// `a` > 0. Series below the mean and Lentz's continued fraction above it (Abramowitz & Stegun 6.5.29 and 6.5.31).
pub(crate) fn gamma_above(a: f64, x: f64) -> Result<f64, EngineError> {
    if !(a > 0.0) || a == f64::INFINITY {
        return Err(EngineError::OutOfRange { name: "gamma shape", value: a, allowed: "above 0" });
    }
    if !(x > 0.0) {
        return Ok(1.0);
    }
    if x == f64::INFINITY {
        return Ok(0.0);
    }
    if a > LARGE_SHAPE {
        let ninth = 1.0 / (9.0 * a);
        return Ok(normal_below((1.0 - ninth - (x / a).cbrt()) / ninth.sqrt()));
    }
    let log_front = a * x.ln() - x - ln_gamma(a);
    if x < a + 1.0 {
        Ok((1.0 - log_front.exp() * lower_series(a, x)?).clamp(0.0, 1.0))
    } else {
        Ok((log_front.exp() * upper_fraction(a, x)?).clamp(0.0, 1.0))
    }
}

/// P(X < x) for the same law.
pub(crate) fn gamma_below(a: f64, x: f64) -> Result<f64, EngineError> {
    Ok(1.0 - gamma_above(a, x)?)
}

fn lower_series(a: f64, x: f64) -> Result<f64, EngineError> {
    let mut term = 1.0 / a;
    let mut sum = term;
    let mut k = a;
    for _ in 0..MAX_STEPS {
        k += 1.0;
        term *= x / k;
        sum += term;
        if term < sum * SETTLED {
            return Ok(sum);
        }
    }
    Err(EngineError::NotConverged { what: "incomplete gamma series", steps: MAX_STEPS, residual: term / sum })
}

fn upper_fraction(a: f64, x: f64) -> Result<f64, EngineError> {
    const TINY: f64 = 1e-290;
    let mut b = x + 1.0 - a;
    let mut c = 1.0 / TINY;
    let mut d = 1.0 / b;
    let mut value = d;
    let mut change = 1.0;
    for i in 1..=MAX_STEPS {
        let n = f64::from(i);
        let an = -n * (n - a);
        b += 2.0;
        let denominator = an * d + b;
        d = 1.0 / if denominator.abs() < TINY { TINY } else { denominator };
        c = b + an / c;
        if c.abs() < TINY {
            c = TINY;
        }
        change = d * c;
        value *= change;
        if (change - 1.0).abs() < SETTLED {
            return Ok(value);
        }
    }
    let residual = (change - 1.0).abs();
    Err(EngineError::NotConverged { what: "incomplete gamma fraction", steps: MAX_STEPS, residual })
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::function::gamma::gamma_ur;

    #[test]
    fn agrees_with_the_library_where_that_one_settles() {
        for a in [0.05, 0.3, 1.0, 2.5, 17.0, 300.0, 5000.0] {
            for r in [0.01, 0.3, 0.8, 0.97, 1.0, 1.03, 1.5, 4.0] {
                let ours = gamma_above(a, a * r).unwrap();
                assert!((ours - gamma_ur(a, a * r)).abs() < 1e-11, "a {a} r {r}: {ours}");
            }
        }
    }

    #[test]
    fn exponential_and_erlang_are_exact() {
        assert!((gamma_above(1.0, 2.0).unwrap() - (-2.0f64).exp()).abs() < 1e-14);
        assert!((gamma_above(2.0, 3.0).unwrap() - 4.0 * (-3.0f64).exp()).abs() < 1e-14);
    }

    #[test]
    fn large_shapes_join_without_a_step() {
        for z in [-3.0, -1.0, 0.0, 0.5, 2.5] {
            let a = LARGE_SHAPE;
            let x = a + z * a.sqrt();
            let below = gamma_above(a, x).unwrap();
            let above = gamma_above(a * (1.0 + 1e-12), x).unwrap();
            assert!((below - above).abs() < 2e-6, "z {z}: {below} {above}");
        }
    }

    #[test]
    fn nan_is_refused() {
        assert!(gamma_above(f64::NAN, 1.0).is_err());
        assert!(gamma_above(0.0, 1.0).is_err());
    }
}
