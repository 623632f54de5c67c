//! The chance that known + unread has reached an uncertain mark.

use statrs::function::gamma::ln_gamma;

use crate::error::EngineError;
use crate::mark::Mark;
use crate::special::{gamma_above, normal_below};

/// Above this shape the unread part varies by less than a thousandth of a percent and counts as its mean.
const NO_SPREAD: f64 = 1e10;
/// Spacing of the trapezoid rule in units of the narrower feature; gives 1e-7 or better on smooth integrands.
const SPACING: f64 = 0.6;

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
    // Beyond nine standard deviations in either direction the answer is settled to the last digit that matters.
    let relative = variance.sqrt() / (known + mean);
    let distance = ((known + mean) / mark.median).ln() / (mark.log_sd.hypot(relative));
    if relative < 0.5 && distance.abs() > 9.0 {
        return Ok(if distance > 0.0 { 1.0 } else { 0.0 });
    }
    let width = 1.0 / shape.max(1.0).sqrt();
    if mark.log_sd < 0.2 * width {
        over_mark(known, mean, shape, mark)
    } else {
        Ok(over_exposure(known, mean, shape, width, mark))
    }
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
    let reach = (80.0 / a).sqrt();
    let high = (1.0 + reach + 45.0 / a).ln();
    // Below this exposure the integrand is under 1e-9 of itself.
    let least = (mark.median * (-8.5 * mark.log_sd).exp() - known).max(1e-10 * known * mark.log_sd);
    let low = (-(reach + 40.0 / a)).max((least / mean).ln());
    if !(low < high) {
        return settled;
    }
    let narrower = width * mark.log_sd / width.hypot(mark.log_sd);
    let steps = ((high - low) / (SPACING * narrower)).ceil().max(1.0);
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
