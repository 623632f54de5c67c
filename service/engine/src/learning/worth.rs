//! What the next finding would be worth.

use super::finding::{CLASS_LOG_SD, DETECTION_LIMIT, Evidence, check_log_sd};
use super::rate::Rate;
use super::tail::ln_density;
use super::update::{WILD_LOG_SD, WILD_SHARE};
use crate::error::{EngineError, require};
use crate::special::normal_below;

/// What a measured finding would be worth, before it is made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Worth {
    /// Expected log-sd of the rate after the finding, never above the present one.
    pub expected_sd: f64,
    /// Width of the limit's 10 to 90 % window after the finding, over its width now, 0 to 1. At 0.5 the window would
    /// be half as wide. The median stays. This is about the limit alone: the weather's share of a date's window
    /// stays.
    pub window_ratio: f64,
    /// Chance, 0 to 1, that it is too early and less than [`DETECTION_LIMIT`] can be found.
    pub nothing_to_find: f64,
}

/// The normal quantile of 90 %: half the width of a window in standard deviations.
const NINETY: f64 = 1.281_551_565_544_600_4;

/// Standard deviations on both sides that the expectation covers.
const REACH: f64 = 5.0;

/// Intervals of Simpson's rule, an even number. Twenty are within 1 % of the log-sd by two thousand (checked in the
/// tests). People see this figure; nothing is computed from it.
const INTERVALS: u32 = 20;

/// What a finding would be worth after `exposure`, in the unit of the accumulated amount, measured with the error
/// `log_sd` ([`MEASURED_LOG_SD`](super::MEASURED_LOG_SD) for a depth).
///
/// `exposure` counts from a clean part, 0 or more. Add the square of its own doubt to that of `log_sd`. The
/// expectation covers what the present rate says may be found, sound or wild. It includes the case that there is
/// nothing to find. It leaves out the bound on a single lengthening.
pub fn next_finding(rate: Rate, exposure: f64, log_sd: f64) -> Result<Worth, EngineError> {
    rate.check()?;
    require(exposure >= 0.0 && exposure.is_finite(), "exposure", exposure, "0 or more")?;
    check_log_sd(log_sd)?;
    if rate.sd == 0.0 || exposure == 0.0 {
        let nothing_to_find = if exposure * rate.mean.exp() < DETECTION_LIMIT { 1.0 } else { 0.0 };
        return Ok(Worth { expected_sd: rate.sd, window_ratio: 1.0, nothing_to_find });
    }
    let detectable = DETECTION_LIMIT.ln() - exposure.ln();
    let ExpectedReading { sd: sure, nothing_to_find } = expected(rate, detectable, log_sd, INTERVALS);
    let nothing = Evidence::between(f64::NEG_INFINITY, detectable, CLASS_LOG_SD)?;
    let unsure = rate.updated_robustly(&nothing).rate.sd;
    let expected_sd = (sure + nothing_to_find * unsure).min(rate.sd);
    let window_ratio = (NINETY * expected_sd).sinh() / (NINETY * rate.sd).sinh();
    Ok(Worth { expected_sd, window_ratio, nothing_to_find })
}

/// What can be expected of a reading.
struct ExpectedReading {
    /// Expected log-sd after a reading above the detectable.
    sd: f64,
    /// Chance of a reading below the detectable.
    nothing_to_find: f64,
}

/// What can be expected of a reading above or below `detectable`.
fn expected(rate: Rate, detectable: f64, log_sd: f64, intervals: u32) -> ExpectedReading {
    let after = Readings::of(rate, log_sd);
    let mut sum = 0.0;
    let mut below = 0.0;
    for (share, spread) in [(1.0 - WILD_SHARE, after.sound), (WILD_SHARE, after.wild)] {
        let lowest = (detectable - rate.mean) / spread;
        below += share * normal_below(lowest);
        let from = lowest.clamp(-REACH, REACH);
        let step = (REACH - from) / f64::from(intervals);
        for i in 0..=intervals {
            let weight = match i {
                _ if i == 0 || i == intervals => 1.0,
                _ if i % 2 == 1 => 4.0,
                _ => 2.0,
            };
            let t = from + f64::from(i) * step;
            sum += share * weight * step / 3.0 * ln_density(t).exp() * after.sd(t * spread);
        }
    }
    ExpectedReading { sd: sum, nothing_to_find: below }
}

/// The robust update's log-sd for many readings with one error. What the readings share is computed once.
struct Readings {
    own: f64,
    /// Standard deviation of ln(y / X) for a sound reading and for a wild one.
    sound: f64,
    wild: f64,
}

impl Readings {
    fn of(rate: Rate, log_sd: f64) -> Readings {
        let wild = rate.sd.hypot(log_sd.max(WILD_LOG_SD));
        Readings { own: rate.sd * rate.sd, sound: rate.sd.hypot(log_sd), wild }
    }

    /// The log-sd after a reading that differs by `off` from the mean of ln rate.
    fn sd(&self, off: f64) -> f64 {
        let (sound, wild) = (self.sound * self.sound, self.wild * self.wild);
        let odds = (1.0 - WILD_SHARE) / WILD_SHARE * self.wild / self.sound
            * (0.5 * off * off * (1.0 / wild - 1.0 / sound)).exp();
        let p = odds / (1.0 + odds);
        let (gain_sound, gain_wild) = (self.own / sound, self.own / wild);
        let apart = off * (gain_sound - gain_wild);
        let within = self.own * (1.0 - p * gain_sound - (1.0 - p) * gain_wild);
        (within + p * (1.0 - p) * apart * apart).sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn twenty_intervals_are_enough() {
        for sd in [0.1, 0.3, 0.6, 0.8, 1.5, 3.0] {
            for log_sd in [0.1, 0.3, 0.4, 1.0] {
                for share in [0.01, 0.05, 0.3, 1.0] {
                    let rate = Rate { mean: -7.0, sd };
                    let detectable = (DETECTION_LIMIT / share).ln() - 7.0;
                    let quick = expected(rate, detectable, log_sd, INTERVALS).sd;
                    let slow = expected(rate, detectable, log_sd, 2000).sd;
                    assert!((quick - slow).abs() < 0.01 * sd, "{sd} {log_sd} {share}: {quick} {slow}");
                }
            }
        }
    }

    #[test]
    fn the_short_form_is_the_robust_update() {
        for sd in [0.05, 0.6, 3.0] {
            for log_sd in [0.01, 0.3, 1.2, 2.0] {
                for off in [-40.0, -2.0, -0.3, 0.0, 0.5, 4.0] {
                    let rate = Rate { mean: -7.0, sd };
                    let reading = Evidence::between(rate.mean + off, rate.mean + off, log_sd).unwrap();
                    let full = rate.updated_robustly(&reading).rate.sd;
                    let short = Readings::of(rate, log_sd).sd(off);
                    assert!((short - full).abs() < 1e-9 * full, "{sd} {log_sd} {off}: {short} {full}");
                }
            }
        }
    }
}
