//! Moments of the standard normal law cut to a range, however far out the range is.
//!
//! The textbook form divides differences of `phi` and `Phi`. Both are 0 from about 38 standard deviations and lose
//! their digits long before. So in a tail everything is divided by `phi(a)` and uses the Mills ratio
//! `R(x) = (1 - Phi(x)) / phi(x)`. Beyond [`EXPONENTIAL`] the law in the range is exponential.

use crate::special::normal_below;

/// A narrower range counts as a point: its variance, width^2 / 12, is below the rounding of the general form.
const POINT: f64 = 1e-5;

/// From this distance in standard deviations the tail counts as exponential. The mean is then right to 2e-9.
const EXPONENTIAL: f64 = 1e3;

/// Above this argument the Mills ratio comes from its continued fraction. 14 terms are exact there.
const FRACTION: f64 = 8.0;

/// A standard normal law cut to a range.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Cut {
    /// Mean within the range.
    pub mean: f64,
    /// How far the variance within the range is below 1, 0 to 1.
    pub lost: f64,
    /// Natural logarithm of the probability of the range.
    pub ln_share: f64,
}

/// The standard normal law cut to `a < b`. Either may be infinite.
pub(super) fn cut(a: f64, b: f64) -> Cut {
    if b <= 0.0 {
        let mirrored = cut(-b, -a);
        return Cut { mean: -mirrored.mean, ..mirrored };
    }
    if b - a < POINT {
        let middle = 0.5 * (a + b);
        return Cut { mean: middle, lost: 1.0, ln_share: ln_density(middle) + (b - a).ln() };
    }
    if a > EXPONENTIAL {
        return far_tail(a, a * (b - a));
    }
    if a >= 0.0 {
        return tail(a, b);
    }
    let share = normal_below(b) - normal_below(a);
    let mean = (density(a) - density(b)) / share;
    let lost = mean * mean + (times_density(b) - times_density(a)) / share;
    Cut { mean, lost: lost.clamp(0.0, 1.0), ln_share: share.ln() }
}

/// Natural logarithm of the standard normal density.
pub(super) fn ln_density(x: f64) -> f64 {
    const LN_SQRT_TAU: f64 = 0.918_938_533_204_672_8;
    -0.5 * x * x - LN_SQRT_TAU
}

fn density(x: f64) -> f64 {
    ln_density(x).exp()
}

fn times_density(x: f64) -> f64 {
    if x.is_finite() { x * density(x) } else { 0.0 }
}

fn tail(a: f64, b: f64) -> Cut {
    // phi(b) / phi(a), from the difference of the squares, which does not underflow before it matters.
    let exponent = 0.5 * (b - a) * (b + a);
    let fall = (-exponent).exp();
    let (beyond, edge) = if fall > 0.0 { (fall * mills(b), fall * b) } else { (0.0, 0.0) };
    let share = mills(a) - beyond;
    let mean = -(-exponent).exp_m1() / share;
    let lost = mean * mean + (edge - a) / share;
    Cut { mean, lost: lost.clamp(0.0, 1.0), ln_share: ln_density(a) + share.ln() }
}

/// For `a` far out. `steps` is the width of the range in units of the tail's own scale, `1 / a`.
fn far_tail(a: f64, steps: f64) -> Cut {
    // Beyond 700 scales nothing of the tail is left, and exp(700) is still a number.
    let (short, narrow) = if steps < 700.0 {
        let half = 0.5 * steps / (0.5 * steps).sinh();
        (steps / steps.exp_m1(), half * half)
    } else {
        (0.0, 0.0)
    };
    Cut {
        mean: a + (1.0 - short) / a,
        lost: (1.0 - (1.0 - narrow) / (a * a)).clamp(0.0, 1.0),
        ln_share: ln_density(a) - a.ln() + (-(-steps).exp_m1()).ln(),
    }
}

/// The Mills ratio for `x` from 0. It comes from the error function, and from [`FRACTION`] on from Laplace's
/// continued fraction `1 / (x + 1 / (x + 2 / (x + ...)))` (Abramowitz & Stegun 26.2.14).
fn mills(x: f64) -> f64 {
    if x < FRACTION {
        return normal_below(-x) / density(x);
    }
    let mut below = x;
    for k in (1..=14).rev() {
        below = x + f64::from(k) / below;
    }
    1.0 / below
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Mean, lost variance and ln share, by mpmath with 400 digits or more.
    const REFERENCE: [(f64, f64, [f64; 3]); 16] = [
        (-1.0, f64::INFINITY, [0.287_599_970_939, 0.370_313_714_223, -0.172_753_779_023]),
        (-0.5, 0.25, [-0.119_250_558_964, 0.954_017_479_067, -1.237_292_501_322]),
        (-3.0, 3.0, [0.0, 0.026_663_075_337, -0.002_703_447_085]),
        (-2e-05, 3e-05, [4.999_999_998_96e-6, 0.999_999_999_792, -10.822_426_085_857]),
        (0.1, f64::INFINITY, [0.862_617_471_531, 0.657_847_155_037, -0.776_154_592_73]),
        (0.5, 1.5, [0.920_644_605_222, 0.923_057_902_058, -1.419_932_482_157]),
        (2.0, 2.001, [2.000_499_833_292, 0.999_999_916_667, -9.827_693_812_104]),
        (7.9, 8.1, [7.974_437_522_512, 0.997_056_624_453, -34.425_696_662_537]),
        (8.0, f64::INFINITY, [8.121_368_112_236, 0.985_675_116_557, -35.013_437_159_915]),
        (30.0, 30.02, [30.009_005_634_726, 0.999_967_259_013, -455.116_063_206_053]),
        (40.0, f64::INFINITY, [40.024_968_847_207, 0.999_377_331_621, -804.608_442_013_754]),
        (40.0, 50.0, [40.024_968_847_207, 0.999_377_331_621, -804.608_442_013_754]),
        (999.0, f64::INFINITY, [999.001_000_998_995, 0.999_998_998_003, -499_008.325_694_314]),
        (1_001.0, f64::INFINITY, [1_001.000_998_999_005, 0.999_999_002_003, -501_008.327_694_311]),
        (1_001.0, 1_001.001, [1_001.000_417_943_934, 0.999_999_920_681, -501_008.785_787_068]),
        (5_000.0, f64::INFINITY, [5_000.000_199_999_984, 0.999_999_96, -12_500_009.436_131_765]),
    ];

    #[test]
    fn agrees_with_many_digits() {
        for (a, b, [mean, lost, ln_share]) in REFERENCE {
            let ours = cut(a, b);
            assert!((ours.mean - mean).abs() < 1e-8, "{a} {b}: mean {}", ours.mean);
            assert!((ours.lost - lost).abs() < 1e-8, "{a} {b}: lost {}", ours.lost);
            assert!((ours.ln_share / ln_share - 1.0).abs() < 1e-9, "{a} {b}: ln share {}", ours.ln_share);
        }
    }
    #[test]
    fn mirrored_ranges_mirror() {
        // The narrowest of them, 5e-5 wide, leaves a difference of probabilities 11 digits.
        for (a, b, _) in REFERENCE {
            let (there, back) = (cut(a, b), cut(-b, -a));
            assert!((there.mean + back.mean).abs() < 1e-10, "{a} {b}");
            assert!((there.lost - back.lost).abs() < 1e-10, "{a} {b}");
        }
    }

    #[test]
    fn a_range_without_ends_says_nothing() {
        let all = cut(f64::NEG_INFINITY, f64::INFINITY);
        assert_eq!((all.mean, all.lost, all.ln_share), (0.0, 0.0, 0.0));
    }
}
