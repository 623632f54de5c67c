//! The chance that known + unread has reached an uncertain mark.

use statrs::function::gamma::ln_gamma;

use crate::error::EngineError;
use crate::mark::Mark;
use crate::special::{gamma_above, normal_below};

/// Above this shape the unread part varies by less than a thousandth of a percent and counts as its mean.
const NO_SPREAD: f64 = 1e10;
/// Relative spread of the tally below which a short expansion is as good as the integral.
const NARROW: f64 = 0.06;
/// Spacing of the trapezoid rule in units of the narrower feature, for a gamma law near the normal one and for one with a
/// steep edge. The error falls like e^(-2 pi^2 / spacing^2) for the first and e^(-pi^2 / spacing) for the second.
const SPACING: (f64, f64) = (0.85, 0.55);

/// P(known + X >= H) for X gamma distributed with `mean` and `variance` and H log-normal: the mark.
///
/// All in the unit of the exposure; `known`, `mean` and `variance` 0 or more. Where the mark is wide against X the
/// integral runs over ln X with the normal law inside; where it is narrow it runs over the mark with the gamma law inside.
/// Both use the trapezoid rule, which converges faster than any power on integrands of this shape, but for a known part
/// in the midst of a narrow mark. Fixed nodes over the mark alone would step where X is narrow against the mark.
pub fn chance_reached(known: f64, mean: f64, variance: f64, mark: Mark) -> Result<f64, EngineError> {
    if !(mean > 0.0) {
        return Ok(mark_below(known, mark));
    }
    let shape = mean * mean / variance;
    if !(shape < NO_SPREAD) {
        return Ok(mark_below(known + mean, mark));
    }
    if mark.log_sd == 0.0 {
        return gamma_above(shape, (mark.median - known) * shape / mean);
    }
    // Beyond seven standard deviations in either direction the answer is settled to the last digit that matters.
    let relative = variance.sqrt() / (known + mean);
    let distance = ((known + mean) / mark.median).ln() / (mark.log_sd.hypot(relative));
    if relative < 0.5 && distance.abs() > 7.0 {
        return Ok(if distance > 0.0 { 1.0 } else { 0.0 });
    }
    if relative < NARROW && mark.log_sd > 5.0 * relative && shape > 30.0 {
        return Ok(by_expansion(known + mean, relative, shape, mark));
    }
    let width = 1.0 / shape.max(1.0).sqrt();
    if mark.log_sd < 0.2 * width {
        over_mark(known, mean, shape, mark)
    } else {
        Ok(over_exposure(known, mean, shape, width, mark))
    }
}

/// For a tally that varies little against its mark: moments of its logarithm, then a normal law with its skew corrected.
///
/// With c the relative spread, g the skewness and k the fourth moment of the tally, ln of it has mean
/// `ln T - c^2/2 + g c^3/3 - k c^4/4`, variance `c^2 - g c^3 + (11 k/12 - 1/4) c^4` and third cumulant `g c^3 - 3 c^4`
/// (expansion of the logarithm); the correction is the first Edgeworth term. Small shapes lean too far for it.
fn by_expansion(total: f64, c: f64, shape: f64, mark: Mark) -> f64 {
    let (c2, c4) = (c * c, c * c * c * c);
    let gc3 = 2.0 / shape.sqrt() * c * c2;
    let fourth = 3.0 + 6.0 / shape;
    let mean = (total / mark.median).ln() - c2 / 2.0 + gc3 / 3.0 - fourth * c4 / 4.0;
    let variance = c2 - gc3 + (11.0 / 12.0 * fourth - 0.25) * c4 + mark.log_sd * mark.log_sd;
    let sd = variance.sqrt();
    let z = mean / sd;
    let density = (-0.5 * z * z).exp() / std::f64::consts::TAU.sqrt();
    let lean = (gc3 - 3.0 * c4) / (6.0 * variance * sd);
    (normal_below(z) + lean * (z * z - 1.0) * density).clamp(0.0, 1.0)
}

/// P(H <= x).
fn mark_below(x: f64, mark: Mark) -> f64 {
    if mark.log_sd == 0.0 {
        return if x >= mark.median { 1.0 } else { 0.0 };
    }
    if !(x > 0.0) {
        return 0.0;
    }
    normal_below((x / mark.median).ln() / mark.log_sd)
}

/// Integrates over z, the mark in standard units, with the gamma law inside.
fn over_mark(known: f64, mean: f64, shape: f64, mark: Mark) -> Result<f64, EngineError> {
    /// Beyond it the normal law holds less than 2e-15.
    const REACH: f64 = 8.0;
    const STEP: f64 = 0.5;
    let settled_to = if known > 0.0 { (known / mark.median).ln() / mark.log_sd } else { f64::NEG_INFINITY };
    if settled_to >= REACH {
        return Ok(1.0);
    }
    if settled_to > -REACH {
        return over_mark_above(known, mean, shape, mark, settled_to, REACH);
    }
    let (mut sum, mut weight) = (0.0, 0.0);
    for i in -16..=16 {
        let z = STEP * f64::from(i);
        let w = (-0.5 * z * z).exp();
        let needed = mark.median * (mark.log_sd * z).exp() - known;
        sum += w * gamma_above(shape, needed * shape / mean)?;
        weight += w;
    }
    Ok((sum / weight).clamp(0.0, 1.0))
}

/// The same where the known part cuts through the mark: certain below the cut, integrated above it.
///
/// At the cut the gamma law leaves 1 like a power of the distance, which no evenly spaced rule follows; the double
/// exponential rule (Takahasi & Mori 1974) crowds its nodes there.
fn over_mark_above(
    known: f64,
    mean: f64,
    shape: f64,
    mark: Mark,
    cut: f64,
    reach: f64,
) -> Result<f64, EngineError> {
    const STEP: f64 = 1.0 / 16.0;
    let mut sum = 0.0;
    for i in -60..=60 {
        let t = STEP * f64::from(i);
        // Share of the way from the cut to the reach, kept exact next to the cut.
        let share = 1.0 / (1.0 + (-std::f64::consts::PI * t.sinh()).exp());
        let ahead = (reach - cut) * share;
        let z = cut + ahead;
        let weight = (-0.5 * z * z).exp() * std::f64::consts::PI * t.cosh() * share * (1.0 - share);
        if weight > 1e-14 {
            let needed = known * (mark.log_sd * ahead).exp_m1();
            sum += weight * gamma_above(shape, needed * shape / mean)?;
        }
    }
    let integral = sum * STEP * (reach - cut) / std::f64::consts::TAU.sqrt();
    Ok((mark_below(known, mark) + integral).clamp(0.0, 1.0))
}

/// Integrates over v = ln(X / mean), whose density is `exp(a (v - (e^v - 1)) + a ln a - a - ln Gamma(a))`.
///
/// What the known part has settled already stands outside the integral, so that the integrand vanishes at the left end
/// also for the small shapes of the first days, whose density reaches far down.
fn over_exposure(known: f64, mean: f64, shape: f64, width: f64, mark: Mark) -> f64 {
    let a = shape;
    let settled = mark_below(known, mark);
    // Ends where the density is under 1e-9 of its peak.
    let reach = (42.0 / a).sqrt();
    let high = (1.0 + reach + 24.0 / a).ln();
    // Below this exposure the integrand is under 1e-9 of itself.
    let least = (mark.median * (-8.5 * mark.log_sd).exp() - known).max(1e-10 * known * mark.log_sd);
    let low = (-(reach + 21.0 / a)).max((least / mean).ln());
    if !(low < high) {
        return settled;
    }
    let narrower = width * mark.log_sd / width.hypot(mark.log_sd);
    let spacing = if a > 6.0 { SPACING.0 } else { SPACING.1 };
    let steps = ((high - low) / (spacing * narrower)).ceil().max(1.0);
    let step = (high - low) / steps;
    let log_front = a * a.ln() - a - ln_gamma(a);
    let inverse = 1.0 / mark.log_sd;
    let log_median = mark.median.ln();
    let mut sum = 0.0;
    for i in 0..=steps as u32 {
        let v = low + step * f64::from(i);
        let grown = v.exp();
        let log_density = a * (v - (grown - 1.0)) + log_front;
        if log_density > -40.0 {
            let reached = normal_below(((known + mean * grown).ln() - log_median) * inverse);
            sum += log_density.exp() * (reached - settled);
        }
    }
    (settled + step * sum).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Where two ways meet, they agree: a step there would show as a kink in the curve.
    #[test]
    fn the_ways_to_integrate_join() {
        for known in [0.0, 30.0, 90.0] {
            for mean in [20.0, 70.0, 150.0] {
                for log_sd in [0.301, 0.5, 0.8] {
                    let mark = Mark { median: 100.0, log_sd };
                    let sd = NARROW * (known + mean);
                    let inside = chance_reached(known, mean, (sd * 0.999_999).powi(2), mark).unwrap();
                    let outside = chance_reached(known, mean, (sd * 1.000_001).powi(2), mark).unwrap();
                    assert!((inside - outside).abs() < 2e-6, "{known} {mean} {log_sd}: {inside} {outside}");
                }
            }
        }
        for known in [0.0, 30.0, 90.0] {
            for shape in [0.2, 1.0, 8.0, 60.0] {
                let mean: f64 = 40.0;
                let width = 1.0 / f64::max(shape, 1.0).sqrt();
                let at = |share: f64| {
                    let mark = Mark { median: 100.0, log_sd: share * width };
                    chance_reached(known, mean, mean * mean / shape, mark).unwrap()
                };
                assert!((at(0.2 - 1e-9) - at(0.2 + 1e-9)).abs() < 1e-6, "{known} {shape}");
            }
        }
    }

    /// Shapes under 1, as of the first days, against fine slices over the mark.
    #[test]
    fn small_shapes() {
        for shape in [0.03, 0.2, 0.7] {
            for log_sd in [0.1, 0.4, 1.0] {
                for known in [0.0, 40.0, 95.0] {
                    let (mean, mark) = (30.0, Mark { median: 100.0, log_sd });
                    let slices = 200_000;
                    let (mut sum, width) = (0.0, 16.0 / f64::from(slices));
                    for i in 0..slices {
                        let z = -8.0 + (f64::from(i) + 0.5) * width;
                        let needed = mark.median * (log_sd * z).exp() - known;
                        let w = (-0.5 * z * z).exp();
                        if w > 1e-12 {
                            sum += w * gamma_above(shape, needed * shape / mean).unwrap();
                        }
                    }
                    let brute = sum * width / std::f64::consts::TAU.sqrt();
                    let ours = chance_reached(known, mean, mean * mean / shape, mark).unwrap();
                    // The slices themselves stumble at the cut by the power of a slice's width.
                    let most = if known > 0.0 && shape < 0.1 { 2e-5 } else { 2e-6 };
                    assert!((ours - brute).abs() < most, "{shape} {log_sd} {known}: {ours} {brute}");
                }
            }
        }
    }
}
