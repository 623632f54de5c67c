//! The chance that the known part plus the unread part has reached an uncertain limit.

use statrs::function::gamma::ln_gamma;

use crate::error::EngineError;
use crate::limit::Limit;
use crate::special::{LANES, exp_each, gamma_above, ln_each, normal_below, normal_below_each};

/// Above this shape the unread part varies by less than a thousandth of a percent, so its mean is used.
const NO_SPREAD: f64 = 1e10;
/// Relative spread of the accumulated amount below which a short expansion is as good as the integral.
const NARROW: f64 = 0.06;
/// The integral over the exposure ends where its integrand has fallen by a factor of e^20, to 2e-9.
const REACH: f64 = 20.0;
/// With more nodes than this, the integral over the limit is cheaper. The limit is then so narrow that this integral
/// is smooth.
const MOST_NODES: f64 = 160.0;

/// An accumulated amount: the known part, and mean and variance of the rest.
#[derive(Debug, Clone, Copy)]
pub(crate) struct UncertainAccumulated {
    pub known: f64,
    pub mean: f64,
    pub variance: f64,
}

/// P(known + X >= H), with X gamma distributed with `mean` and `variance`, and H the log-normal limit.
///
/// All figures are in the unit of the exposure. `known`, `mean` and `variance` are 0 or more. The integral runs over
/// X, with the normal law inside. That takes many nodes where the limit is narrow against X. There it runs over the
/// limit instead, with the gamma law inside. Both use the trapezoid rule, which converges faster than any power on
/// such integrands. The exception is a known part within a narrow limit. Fixed nodes over the limit alone would give
/// steps where X is narrow against the limit.
pub fn chance_reached(known: f64, mean: f64, variance: f64, limit: Limit) -> Result<f64, EngineError> {
    if !(mean > 0.0) {
        return Ok(limit_below(known, limit));
    }
    let shape = mean * mean / variance;
    if !(shape < NO_SPREAD) {
        return Ok(limit_below(known + mean, limit));
    }
    if limit.log_sd == 0.0 {
        return gamma_above(shape, (limit.median - known) * shape / mean);
    }
    let relative = variance.sqrt() / (known + mean);
    // Beyond seven standard deviations the answer is settled to the last digit that matters. That holds where the
    // limit dominates the spread or the shape is near the normal law. Smaller shapes have longer tails.
    if shape > 100.0 || (shape > 2.0 && limit.log_sd > 3.0 * relative) {
        let both = (limit.log_sd * limit.log_sd + relative * relative).sqrt();
        let distance = ((known + mean) / limit.median).ln() / both;
        if distance.abs() > 7.0 {
            return Ok(if distance > 0.0 { 1.0 } else { 0.0 });
        }
    }
    if is_narrow(relative, shape, limit) {
        return Ok(by_expansion(known + mean, relative, shape, limit));
    }
    match over_exposure(known, mean, shape, limit) {
        Some(chance) => Ok(chance),
        None => over_limit(known, mean, shape, limit),
    }
}

/// Lower and upper bound of a chance.
#[derive(Debug, Clone, Copy)]
pub(super) struct Between {
    pub low: f64,
    pub high: f64,
}

/// Bounds of [`chance_reached`] from an expansion, where that pays: it costs a tenth of the integral.
///
/// The first terms that the expansion leaves out are of order `g^2 c^4`. Here g is the skewness of the accumulated
/// amount and c its relative spread. How these terms grow as the log-sd of the limit falls was found by trial. The
/// trial had 3,000,000 cases, with shapes of 0.2 to 3000 and log-sds of 0.02 to 3. No case was off by more than half
/// of the bound.
pub(super) fn bounds(accumulated: UncertainAccumulated, limit: Limit) -> Option<Between> {
    /// Wider bounds seldom settle anything.
    const WIDEST: f64 = 0.05;
    /// More than the error of the integral itself.
    const OWN_ERROR: f64 = 1e-7;
    let UncertainAccumulated { known, mean, variance } = accumulated;
    let shape = mean * mean / variance;
    let relative = variance.sqrt() / (known + mean);
    let (spread, doubt) = (relative * relative, limit.log_sd * limit.log_sd);
    let both = spread + doubt;
    let off = spread * spread / shape * (2.4 / doubt + 0.2 + 0.4 / (both * both)) + OWN_ERROR;
    // A limit without doubt gives infinity here, and no unread part gives NaN.
    if !(off < WIDEST) || is_narrow(relative, shape, limit) {
        return None;
    }
    let about = by_expansion(known + mean, relative, shape, limit);
    Some(Between { low: about - off, high: about + off })
}

/// Whether the expansion is as good as the integral.
fn is_narrow(relative: f64, shape: f64, limit: Limit) -> bool {
    relative < NARROW && limit.log_sd > 5.0 * relative && shape > 30.0
}

/// For an accumulated amount that varies little against its limit. Takes moments of its logarithm, then a normal law
/// with corrected skew.
///
/// T is the accumulated amount, c its relative spread, g its skewness and k its fourth moment. ln T then has the mean
/// `ln T - c^2/2 + g c^3/3 - k c^4/4` and the variance `c^2 - g c^3 + (11 k/12 - 1/4) c^4`. Its third cumulant is
/// `g c^3 - 3 c^4`. All three come from the expansion of the logarithm. The correction is the first Edgeworth term.
/// Small shapes are too skewed for it.
fn by_expansion(total: f64, c: f64, shape: f64, limit: Limit) -> f64 {
    let (c2, c4) = (c * c, c * c * c * c);
    let gc3 = 2.0 / shape.sqrt() * c * c2;
    let fourth = 3.0 + 6.0 / shape;
    let mean = (total / limit.median).ln() - c2 / 2.0 + gc3 / 3.0 - fourth * c4 / 4.0;
    let variance = c2 - gc3 + (11.0 / 12.0 * fourth - 0.25) * c4 + limit.log_sd * limit.log_sd;
    let sd = variance.sqrt();
    let z = mean / sd;
    let density = (-0.5 * z * z).exp() / std::f64::consts::TAU.sqrt();
    let lean = (gc3 - 3.0 * c4) / (6.0 * variance * sd);
    (normal_below(z) + lean * (z * z - 1.0) * density).clamp(0.0, 1.0)
}

/// P(H <= x).
fn limit_below(x: f64, limit: Limit) -> f64 {
    if limit.log_sd == 0.0 {
        return if x >= limit.median { 1.0 } else { 0.0 };
    }
    if !(x > 0.0) {
        return 0.0;
    }
    normal_below((x / limit.median).ln() / limit.log_sd)
}

/// Integrates over z, the limit in standard units, with the gamma law inside.
fn over_limit(known: f64, mean: f64, shape: f64, limit: Limit) -> Result<f64, EngineError> {
    /// Beyond this the normal law holds less than 2e-15.
    const REACH: f64 = 8.0;
    const STEP: f64 = 0.5;
    let settled_to = if known > 0.0 { (known / limit.median).ln() / limit.log_sd } else { f64::NEG_INFINITY };
    if settled_to >= REACH {
        return Ok(1.0);
    }
    if settled_to > -REACH {
        return over_limit_above(known, mean, shape, limit, settled_to, REACH);
    }
    let (mut sum, mut weight) = (0.0, 0.0);
    for i in -16..=16 {
        let z = STEP * f64::from(i);
        let w = (-0.5 * z * z).exp();
        let needed = limit.median * (limit.log_sd * z).exp() - known;
        sum += w * gamma_above(shape, needed * shape / mean)?;
        weight += w;
    }
    Ok((sum / weight).clamp(0.0, 1.0))
}

/// The same where the known part falls within the limit: certain below that cut, integrated above it.
///
/// Near the cut the gamma law departs from 1 like a power of the distance, which no evenly spaced rule handles. The
/// double exponential rule (Takahasi & Mori 1974) puts many nodes there.
fn over_limit_above(
    known: f64,
    mean: f64,
    shape: f64,
    limit: Limit,
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
            let needed = known * (limit.log_sd * ahead).exp_m1();
            sum += weight * gamma_above(shape, needed * shape / mean)?;
        }
    }
    let integral = sum * STEP * (reach - cut) / std::f64::consts::TAU.sqrt();
    Ok((limit_below(known, limit) + integral).clamp(0.0, 1.0))
}

/// Integrates over X = mean e^v by the trapezoid rule in w, where v = w + 1 - e^-w.
///
/// The density of v is `exp(a (v + 1 - e^v) + a ln a - a - ln Gamma(a))`. It is steep on the right, and has a long
/// tail on the left for the small shapes of the first days. Using w shortens that tail. Both sides then fall like the
/// double exponential rule (Takahasi & Mori 1974) and, for large shapes, like the normal law. So the trapezoid rule
/// converges faster than any power. The part that the known amount settles is outside the integral. `None` where it
/// would take too many nodes.
fn over_exposure(known: f64, mean: f64, shape: f64, limit: Limit) -> Option<f64> {
    let settled = limit_below(known, limit);
    let (low, high, most) = ends(known / mean, shape, limit.log_sd);
    if !(low < high) {
        return Some(settled);
    }
    // The spacing must suit the shape, the edge of the limit, and the far left corner of a limit without a known
    // part. An edge left of the mean is steeper in w, the more so the further left. Found by trial with 8,000 cases:
    // shapes of 0.03 to 3000, log-sds of 0.01 to 3, accumulated amounts of a seventh to 90 limits. The worst case was
    // 1e-8 off, and one in a thousand more than 1e-9.
    let share = mean / (known + mean);
    let edge_at = (limit.median - known).max(limit.log_sd * known);
    let left = if edge_at < mean { (mean / edge_at).ln() } else { 0.0 };
    let at = edge_at.clamp(mean, most * mean);
    let edge = 2.2 * at / (known + at) * (1.0 + 0.3 * left) / limit.log_sd;
    let fineness = (7.0 + 6.3 * share * share + 3.2 * shape + edge * edge).sqrt();
    let nodes = (high - low) * fineness + 1.0;
    if !(nodes < MOST_NODES) {
        return None;
    }
    let nodes = nodes.ceil() as usize;
    let chunks = nodes.div_ceil(LANES);
    let step = (high - low) / (chunks * LANES - 1) as f64;

    let front = log_front(shape);
    let inverse = 1.0 / limit.log_sd;
    let log_median = limit.median.ln();
    let mut w = [0.0; LANES];
    let mut shrunk = [0.0; LANES];
    for (i, (w, shrunk)) in w.iter_mut().zip(&mut shrunk).enumerate() {
        *w = low + step * i as f64;
        *shrunk = -*w;
    }
    exp_each(&mut shrunk);
    let stride = LANES as f64 * step;
    let shrink = (-stride).exp();
    let mut sum = [0.0; LANES];
    for _ in 0..chunks {
        let mut grown = [0.0; LANES];
        for ((grown, w), shrunk) in grown.iter_mut().zip(w).zip(shrunk) {
            *grown = w + 1.0 - shrunk;
        }
        let mut density = grown;
        exp_each(&mut grown);
        let mut reached = [0.0; LANES];
        for ((density, reached), grown) in density.iter_mut().zip(&mut reached).zip(grown) {
            *density = shape * (*density - grown + 1.0) + front;
            *reached = known + mean * grown;
        }
        exp_each(&mut density);
        ln_each(&mut reached);
        for reached in &mut reached {
            *reached = (*reached - log_median) * inverse;
        }
        normal_below_each(&mut reached);
        for (i, sum) in sum.iter_mut().enumerate() {
            *sum += density[i] * (1.0 + shrunk[i]) * (reached[i] - settled);
            w[i] += stride;
            shrunk[i] *= shrink;
        }
    }
    Some((settled + step * sum.iter().sum::<f64>()).clamp(0.0, 1.0))
}

/// `a ln a - a - ln Gamma(a)`: the logarithm of the density at its peak, for the shape a.
fn log_front(a: f64) -> f64 {
    if a < 8.0 {
        return a * a.ln() - a - ln_gamma(a);
    }
    // The rest of Stirling's series (Abramowitz & Stegun 6.1.41). The next term is under 1e-11.
    let inverse = 1.0 / a;
    let square = inverse * inverse;
    let series = 1.0 / 12.0 - square * (1.0 / 360.0 - square * (1.0 / 1260.0 - square / 1680.0));
    0.5 * (a / std::f64::consts::TAU).ln() - inverse * series
}

/// Ends of the integrand over w, and the exposure at the upper end. `known` and that exposure are in means of the
/// exposure.
fn ends(known: f64, shape: f64, log_sd: f64) -> (f64, f64, f64) {
    // The density has fallen by e^-REACH where e^v - 1 - v = c. On the left v = -u, where u is about sqrt(2c) + c/3
    // when small and c + 1 when large.
    let c = REACH / shape;
    let root = (2.0 * c).sqrt();
    let mut u = (c + 1.0).min(root * (1.0 + c / 18.0) + c / 3.0);
    if known > 0.0 && c > 2.0 {
        // With a known part, what is left to settle falls with the exposure itself, by mean e^v / (known sd sqrt(2
        // pi)). So the long tails of small shapes end sooner.
        let slope = (0.4 / (known * log_sd)).ln();
        u = u.min((REACH + shape + slope) / (shape + 1.0));
    }
    // One Newton step on each side gives w from v. They start from e^-w = 1 + 3u/4 and from w = v/2.
    let p = 0.75 * u;
    let start = p.ln_1p();
    let low = (start - p / 3.0) / (2.0 + p) - start;
    let grown = 1.0 + root + c * (c + 3.0) / (c + 4.0);
    let v = grown.ln();
    let shrunk = 1.0 / grown.sqrt();
    let high = 0.5 * v + (0.5 * v - 1.0 + shrunk) / (1.0 + shrunk);
    (low, high, grown)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The methods agree where they meet. A step there would show as a kink in the curve.
    #[test]
    fn the_ways_to_integrate_join() {
        for known in [0.0, 30.0, 90.0] {
            for mean in [20.0, 70.0, 150.0] {
                for log_sd in [0.301, 0.5, 0.8] {
                    let limit = Limit { median: 100.0, log_sd };
                    let sd = NARROW * (known + mean);
                    let inside = chance_reached(known, mean, (sd * 0.999_999).powi(2), limit).unwrap();
                    let outside = chance_reached(known, mean, (sd * 1.000_001).powi(2), limit).unwrap();
                    assert!((inside - outside).abs() < 2e-6, "{known} {mean} {log_sd}: {inside} {outside}");
                }
            }
        }
    }

    /// Compares every method with the same integral by 6,000 nodes. Limits are wide and narrow, shapes those of the
    /// first day up to decades.
    #[test]
    fn few_nodes_are_enough() {
        let mut compared = 0;
        for shape in [0.04, 0.3, 1.1, 4.0, 17.0, 90.0, 900.0] {
            for log_sd in [0.03, 0.1, 0.31, 0.8, 2.5] {
                for share in [1.0, 0.6, 0.1, 0.004] {
                    for accumulated in [0.2, 0.7, 0.98, 1.5, 30.0] {
                        let (known, mean, limit) =
                            (accumulated * (1.0 - share), accumulated * share, Limit { median: 1.0, log_sd });
                        let variance: f64 = mean * mean / shape;
                        if is_narrow(variance.sqrt() / accumulated, shape, limit) {
                            continue;
                        }
                        let ours = chance_reached(known, mean, variance, limit).unwrap();
                        let slow = by_many_nodes(known, mean, shape, limit);
                        let name = format!("shape {shape} log_sd {log_sd} share {share} total {accumulated}");
                        assert!((ours - slow).abs() < 2e-8, "{name}: {ours} {slow}");
                        let accumulated = UncertainAccumulated { known, mean, variance };
                        if let Some(Between { low, high }) = bounds(accumulated, limit) {
                            assert!(low <= ours && ours <= high, "{name}: {ours} beyond {low} {high}");
                        }
                        compared += 1;
                    }
                }
            }
        }
        assert!(compared > 500, "{compared}");
    }

    /// Integrates over w from -7 to 7. The log of X over its mean is `w + 1 - e^-w`.
    fn by_many_nodes(known: f64, mean: f64, shape: f64, limit: Limit) -> f64 {
        const NODES: u32 = 6_000;
        let step = 14.0 / f64::from(NODES);
        let settled = limit_below(known, limit);
        let front = shape * shape.ln() - ln_gamma(shape);
        let mut sum = 0.0;
        for i in 0..=NODES {
            let w = -7.0 + step * f64::from(i);
            let shrunk = (-w).exp();
            let v = w + 1.0 - shrunk;
            let density = (shape * (v - v.exp()) + front).exp() * (1.0 + shrunk);
            if density > 1e-15 {
                sum += density * (limit_below(known + mean * v.exp(), limit) - settled);
            }
        }
        settled + step * sum
    }

    /// Compares shapes under 1, as of the first days, with fine slices over the limit.
    #[test]
    fn small_shapes() {
        for shape in [0.03, 0.2, 0.7] {
            for log_sd in [0.1, 0.4, 1.0] {
                for known in [0.0, 40.0, 95.0] {
                    let (mean, limit) = (30.0, Limit { median: 100.0, log_sd });
                    let slices = 200_000;
                    let (mut sum, width) = (0.0, 16.0 / f64::from(slices));
                    for i in 0..slices {
                        let z = -8.0 + (f64::from(i) + 0.5) * width;
                        let needed = limit.median * (log_sd * z).exp() - known;
                        let w = (-0.5 * z * z).exp();
                        if w > 1e-12 {
                            sum += w * gamma_above(shape, needed * shape / mean).unwrap();
                        }
                    }
                    let brute = sum * width / std::f64::consts::TAU.sqrt();
                    let ours = chance_reached(known, mean, mean * mean / shape, limit).unwrap();
                    // At the cut the slices themselves are off by a power of their width.
                    let most = if known > 0.0 && shape < 0.1 { 2e-5 } else { 2e-6 };
                    assert!((ours - brute).abs() < most, "{shape} {log_sd} {known}: {ours} {brute}");
                }
            }
        }
    }
}
