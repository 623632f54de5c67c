//! The few special functions that the laws need, each with a bounded number of steps.
//!
//! `statrs` gives the logarithm of the gamma function and the error function. Its regularised incomplete gamma
//! function loops until the last digit settles, without a bound. The version here stops after [`MAX_STEPS`] and
//! returns an error.
//!
//! Exponential, logarithm and normal law also come for [`LANES`] numbers at once, without a branch or a call. So the
//! compiler can use vector instructions. An integral needs them a dozen times for each day it looks at.

use statrs::function::erf::erfc;
use statrs::function::gamma::ln_gamma;

use crate::error::EngineError;

/// Series and continued fraction need about 5 sqrt(a) steps. Shapes above [`LARGE_SHAPE`] use another method.
const MAX_STEPS: u32 = 5_000;
/// A sum has settled when its correction falls below this relative size.
const SETTLED: f64 = 1e-13;
/// Above this shape the Wilson-Hilferty cube root is closer than 2e-6 to the gamma law (checked in the tests).
const LARGE_SHAPE: f64 = 2.0e4;

/// How many numbers the vector functions process at once.
pub(crate) const LANES: usize = 8;

/// e^x of each, within a relative 1e-14. x is clamped to -708 and 708.
///
/// x = n ln 2 + r with |r| <= ln 2 / 2. e^r comes from its series up to r^11, and 2^n from the exponent's bits.
pub(crate) fn exp_each(x: &mut [f64; LANES]) {
    for x in x {
        *x = exp(*x);
    }
}

/// ln x of each, within 1e-14, for normal numbers above 0. Smaller numbers give some number under -700.
///
/// x = 2^k m, with m between the root of 1/2 and the root of 2. ln m is twice the artanh of (m - 1) / (m + 1), by
/// its series.
pub(crate) fn ln_each(x: &mut [f64; LANES]) {
    for x in x {
        *x = ln(*x);
    }
}

/// The normal distribution function of each, within 1e-15.
///
/// Algorithm 5666 of Hart et al., Computer Approximations (1968). Coefficients as West printed them (Better
/// approximations to cumulative normal functions, Wilmott Magazine 2005). Beyond 8 the tail stays at 6e-16.
pub(crate) fn normal_below_each(z: &mut [f64; LANES]) {
    for z in z {
        *z = normal_by_ratio(*z);
    }
}

/// The arc cosine of each, within 1e-15, for numbers from -1 to 1.
///
/// Up to a half: the rational approximation of FDLIBM (Sun Microsystems 1993, `e_acos.c`) to the arc sine. Beyond
/// a half: twice the arc sine of the root of (1 - x) / 2.
pub(crate) fn acos_each(x: &mut [f64; LANES]) {
    for x in x {
        *x = acos(*x);
    }
}

#[inline(always)]
fn acos(x: f64) -> f64 {
    use std::f64::consts::{FRAC_PI_2, PI};
    const ABOVE: [f64; 5] = [
        7.915_349_942_898_145e-4,
        -4.005_553_450_067_941e-2,
        2.012_125_321_348_629_3e-1,
        -3.255_658_186_224_009e-1,
        1.666_666_666_666_666_6e-1,
    ];
    const BELOW: [f64; 4] = [-6.882_839_716_054_533e-1, 2.020_945_760_233_505_7, -2.403_394_911_734_414, 1.0];
    let size = x.abs();
    let far = size > 0.5;
    let square = if far { 0.5 * (1.0 - size) } else { size * size };
    let s = if far { square.sqrt() } else { size };
    let above = ABOVE.iter().fold(3.479_331_075_960_212e-5, |sum, c| sum * square + c);
    let below = BELOW.iter().fold(7.703_815_055_590_194e-2, |sum, c| sum * square + c);
    let arcsine = s + s * square * above / below;
    let near = if x < 0.0 { FRAC_PI_2 + arcsine } else { FRAC_PI_2 - arcsine };
    let beyond = if x < 0.0 { PI - 2.0 * arcsine } else { 2.0 * arcsine };
    if far { beyond } else { near }
}

#[inline(always)]
fn exp(x: f64) -> f64 {
    /// Adding this rounds to a whole number, which then stands in the low bits.
    const ROUND: f64 = 6_755_399_441_055_744.0;
    /// ln 2 in two parts. The first part times a whole number up to 1024 is exact.
    const LN_2: (f64, f64) = (6.931_471_803_691_238e-1, 1.908_214_929_270_587_7e-10);
    let x = x.clamp(-708.0, 708.0);
    let rounded = x * std::f64::consts::LOG2_E + ROUND;
    let n = rounded - ROUND;
    let r = (x - n * LN_2.0) - n * LN_2.1;
    let factorials = [3_628_800.0, 362_880.0, 40_320.0, 5_040.0, 720.0, 120.0, 24.0, 6.0, 2.0, 1.0, 1.0];
    let series = factorials.iter().fold(1.0 / 39_916_800.0, |sum, k| sum * r + 1.0 / k);
    series * f64::from_bits((rounded.to_bits() << 52).wrapping_add(1023 << 52))
}

#[inline(always)]
fn ln(x: f64) -> f64 {
    /// The bits of the root of 1/2. Numbers from it to the root of 2 keep their exponent of 0.
    const ROOT_HALF: u64 = 0x3fe6_a09e_667f_3bcd;
    const BIAS: u64 = 1023 << 52;
    /// 2^52, whose low bits hold a whole number.
    const WHOLE: (u64, f64) = (0x4330_0000_0000_0000, 4_503_599_627_370_496.0);
    let exponent = x.to_bits().wrapping_sub(ROOT_HALF).wrapping_add(BIAS) >> 52;
    let k = f64::from_bits(exponent | WHOLE.0) - WHOLE.1 - 1023.0;
    let m = f64::from_bits(x.to_bits().wrapping_sub((exponent << 52).wrapping_sub(BIAS)));
    let s = (m - 1.0) / (m + 1.0);
    let t = s * s;
    let series = [15.0, 13.0, 11.0, 9.0, 7.0, 5.0, 3.0].iter().fold(1.0 / 17.0, |sum, k| sum * t + 1.0 / k);
    k * std::f64::consts::LN_2 + 2.0 * s * (1.0 + t * series)
}

#[inline(always)]
fn normal_by_ratio(z: f64) -> f64 {
    const ABOVE: [f64; 6] = [
        0.700_383_064_443_688,
        6.373_962_203_531_65,
        33.912_866_078_383,
        112.079_291_497_871,
        221.213_596_169_931,
        220.206_867_912_376,
    ];
    const BELOW: [f64; 7] = [
        1.755_667_163_182_64,
        16.064_177_579_207,
        86.780_732_202_946_1,
        296.564_248_779_674,
        637.333_633_378_831,
        793.826_512_519_948,
        440.413_735_824_752,
    ];
    let a = z.abs().min(8.0);
    let above = ABOVE.iter().fold(3.526_249_659_989_11e-2, |sum, c| sum * a + c);
    let below = BELOW.iter().fold(8.838_834_764_831_84e-2, |sum, c| sum * a + c);
    let tail = exp(-0.5 * a * a) * above / below;
    if z > 0.0 { 1.0 - tail } else { tail }
}

/// The normal distribution function.
pub(crate) fn normal_below(z: f64) -> f64 {
    0.5 * erfc(-z * std::f64::consts::FRAC_1_SQRT_2)
}

/// P(X >= x) for X gamma distributed with shape `a` and scale 1 (the regularised upper incomplete gamma).
///
/// `a` > 0. Series below the mean, and Lentz's continued fraction above it (Abramowitz & Stegun 6.5.29 and
/// 6.5.31).
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

    fn last(f: fn(&mut [f64; LANES]), x: f64) -> f64 {
        let mut several = [x; LANES];
        f(&mut several);
        several[LANES - 1]
    }

    #[test]
    fn several_at_once_are_the_same_as_one() {
        for i in 0..40_000 {
            let x = -40.0 + f64::from(i) * 2e-3;
            assert!((last(exp_each, x) / x.exp() - 1.0).abs() < 1e-14, "exp {x}");
            let y = (0.9 * x).exp();
            assert!((last(ln_each, y) - y.ln()).abs() < 1e-14, "ln {y}");
        }
        assert!(last(ln_each, 0.0) < -700.0);
        assert!(last(exp_each, f64::NEG_INFINITY) < 1e-300);
    }

    /// Against the error function to 20 digits (mpmath 1.4.1).
    #[test]
    fn normal_law_of_several_at_once() {
        let cases = [
            (-9.0, 1.128_588_405_953_840_5e-19),
            (-7.5, 3.190_891_672_910_896_3e-14),
            (-6.0, 9.865_876_450_376_98e-10),
            (-5.0, 2.866_515_718_791_939e-07),
            (-4.0, 3.167_124_183_311_992_4e-05),
            (-3.0, 0.001_349_898_031_630_094_6),
            (-2.0, 0.022_750_131_948_179_21),
            (-1.0, 0.158_655_253_931_457_05),
            (-0.5, 0.308_537_538_725_986_9),
            (-0.1, 0.460_172_162_722_971),
            (0.0, 0.5),
            (0.3, 0.617_911_422_188_952_7),
            (0.7, 0.758_036_347_776_927),
            (1.3, 0.903_199_515_414_389_7),
            (2.5, 0.993_790_334_674_223_8),
            (4.2, 0.999_986_654_250_984_1),
        ];
        for (z, below) in cases {
            let got = last(normal_below_each, z);
            assert!((got - below).abs() < 1e-15, "{z}: {got}");
            assert!((got + last(normal_below_each, -z) - 1.0).abs() < 1e-15, "{z}");
            assert!((got - normal_below(z)).abs() < 1e-10, "{z}");
        }
        assert!(last(normal_below_each, 1e300) > 1.0 - 1e-15);
    }

    #[test]
    fn nan_is_refused() {
        assert!(gamma_above(f64::NAN, 1.0).is_err());
        assert!(gamma_above(0.0, 1.0).is_err());
    }

    #[test]
    fn arc_cosines_in_lanes() {
        for i in -4000..=4000 {
            let x = f64::from(i) / 4000.0;
            let mut each = [x; LANES];
            acos_each(&mut each);
            assert!((each[3] - x.acos()).abs() <= 1e-15, "{x}: {} {}", each[3], x.acos());
        }
        let mut ends = [1.0, -1.0, 0.0, 0.5, -0.5, f64::MIN_POSITIVE, 1.0 - f64::EPSILON, -0.0];
        let exact = ends.map(f64::acos);
        acos_each(&mut ends);
        assert!(ends.iter().zip(exact).all(|(ours, exact)| (ours - exact).abs() <= 1e-15));
    }
}
