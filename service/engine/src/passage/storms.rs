//! A limit of the size of a few storms: the chance counts the storms one by one.
//!
//! `P(T <= t) = sum over n of P(N(t) = n) G(n)`, with `G(n) = P(f S_n >= limit - known)`
//!
//! N(t) is the number of days with runoff up to day t, from the chain of the climate ([`crate::climate::RunoffWalk`]).
//! S_n is the runoff of n such days, gamma distributed. The factor f is that of months, years and the short record,
//! log-normal with mean 1. Its doubt and that of the limit are one number, taken at the points of [`NODES`].
//!
//! The gamma law of [`crate::passage`] takes over as the limit grows: it has all the weight from [`MANY`] storms on,
//! and none up to [`FEW`]. Judgement: at [`FEW`] storms the two agree within the error of a window.
//!
//! Known failures: the amounts of later months. All storms have the law of those months in which the first one is
//! expected.
//! Invariant: a smaller limit never lowers a chance.

use crate::climate::RunoffWalk;
use crate::error::EngineError;
use crate::limit::Limit;
use crate::special::gamma_above;

use super::waiting::Storms;

/// Storms up to which they are counted one by one alone, and from which on not at all.
const FEW: f64 = 4.0;
const MANY: f64 = 8.0;
/// Most storms that are counted. More of them reach any limit of [`MANY`].
const MOST: usize = 48;
/// Points and weights for a standard normal number: Gauss-Hermite with nine points (Abramowitz & Stegun 25.10).
const NODES: [(f64, f64); 9] = [
    (-4.512_745_863_4, 2.234_584_400_8e-5),
    (-3.205_429_002_9, 2.789_141_321_2e-3),
    (-2.076_847_978_7, 4.991_640_676_5e-2),
    (-1.023_255_663_8, 0.244_097_502_895),
    (0.0, 0.406_349_206_349),
    (1.023_255_663_8, 0.244_097_502_895),
    (2.076_847_978_7, 4.991_640_676_5e-2),
    (3.205_429_002_9, 2.789_141_321_2e-3),
    (4.512_745_863_4, 2.234_584_400_8e-5),
];

/// Storms counted one by one, as far as any search has looked.
#[derive(Debug)]
pub(super) struct StormCount {
    /// 0 to 1: the weight of this law beside the gamma law.
    pub weight: f64,
    /// G by the number of storms.
    reached: Vec<f64>,
    /// Chance of each number of storms by the last day looked at, with that day dry, and with it wet.
    dry: Vec<f64>,
    wet: Vec<f64>,
    /// The chance by 0, 1, ... days ahead.
    chances: Vec<f64>,
}

impl StormCount {
    /// `None` where the limit is many storms away.
    pub(super) fn new(
        storms: &Storms,
        walk: &RunoffWalk,
        known: f64,
        limit: Limit,
    ) -> Result<Option<StormCount>, EngineError> {
        let left = (limit.median - known).max(0.0);
        let weight = 1.0 - smooth_step((left / storms.mean - FEW) / (MANY - FEW));
        if !(weight > 0.0) {
            return Ok(None);
        }
        let mut reached = Vec::new();
        while reached.len() <= MOST && reached.last().is_none_or(|last| *last < 1.0 - 1e-9) {
            reached.push(chance_after(reached.len(), storms, known, limit)?);
        }
        let wet = walk.starts_wet();
        let mut counts = (vec![0.0; reached.len()], vec![0.0; reached.len()]);
        counts.0[0] = 1.0 - wet;
        counts.1[0] = wet;
        let chances = vec![reached[0]];
        Ok(Some(StormCount { weight, reached, dry: counts.0, wet: counts.1, chances }))
    }

    /// The chance by a number of days ahead.
    pub(super) fn by(&mut self, walk: &mut RunoffWalk, ahead: i32) -> f64 {
        let ahead = ahead.max(0) as usize;
        while self.chances.len() <= ahead {
            let open: f64 = self.dry.iter().chain(&self.wet).sum();
            if open < 1e-9 {
                return *self.chances.last().unwrap_or(&1.0);
            }
            let (chances, _) = walk.chances_of(self.chances.len());
            let most = self.reached.len() - 1;
            let (mut rained_before, mut chance) = (0.0, 1.0 - open);
            for n in 0..=most {
                let (dry, wet) = (self.dry[n], self.wet[n]);
                let rain = dry * chances.after_dry + wet * chances.after_wet;
                self.dry[n] = dry + wet - rain;
                self.wet[n] = rain * (1.0 - chances.runs_off) + rained_before;
                rained_before = rain * chances.runs_off;
                chance += (self.dry[n] + self.wet[n]) * self.reached[n];
            }
            // What has more storms than are counted has reached the limit.
            chance += rained_before;
            self.chances.push(chance.clamp(0.0, 1.0));
        }
        self.chances[ahead]
    }
}

/// G of a number of storms.
fn chance_after(storms: usize, law: &Storms, known: f64, limit: Limit) -> Result<f64, EngineError> {
    let log_sd = limit.log_sd.hypot(law.log_sd);
    let mut sum = 0.0;
    for (z, weight) in NODES {
        let needed = (limit.median * (limit.log_sd * z).exp() - known).max(0.0);
        // The factor of the runoff divides what is still needed. Where nothing is known yet, the two doubts are one.
        let needed = needed * ((log_sd - limit.log_sd) * z + 0.5 * law.log_sd * law.log_sd).exp();
        let reached = if needed <= 0.0 {
            1.0
        } else if storms == 0 {
            0.0
        } else {
            gamma_above(storms as f64 / law.cv2, needed / (law.mean * law.cv2))?
        };
        sum += weight * reached;
    }
    Ok(sum.min(1.0))
}

/// 0 up to 0, 1 from 1 on, without a corner.
fn smooth_step(x: f64) -> f64 {
    let x = x.clamp(0.0, 1.0);
    x * x * (3.0 - 2.0 * x)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calendar::Day;
    use crate::climate::{RunoffDays, Weather};

    /// The nodes are those of a standard normal number: its even moments are 1, 1, 3, 15 and 105.
    #[test]
    fn nodes_have_the_moments_of_a_normal_number() {
        for (power, moment) in [(0, 1.0), (1, 0.0), (2, 1.0), (4, 3.0), (6, 15.0), (8, 105.0)] {
            let sum: f64 = NODES.iter().map(|(z, weight)| weight * z.powi(power)).sum();
            assert!((sum - moment).abs() < 1e-6, "{power}: {sum}");
        }
    }

    /// Every day wet and exponential: the number of days to an amount is 1 + Poisson(amount / mean).
    #[test]
    fn exponential_storms_are_a_poisson_process() {
        let runoff = RunoffDays::even(1.0, 1.0, 1.0);
        let mut walk = RunoffWalk::new(&runoff, Day(0), Weather::Wet);
        let storms = Storms { mean: 5.0, cv2: 1.0, log_sd: 0.0 };
        let limit = Limit { median: 10.0, log_sd: 0.0 };
        let mut count = StormCount::new(&storms, &walk, 0.0, limit).unwrap().unwrap();
        assert_eq!(count.weight, 1.0);
        // P(Poisson(2) <= n - 1).
        let (mut poisson, mut sum) = ((-2.0_f64).exp(), 0.0);
        for days in 1..12 {
            sum += poisson;
            poisson *= 2.0 / f64::from(days);
            assert!((count.by(&mut walk, days) - sum).abs() < 1e-9, "{days}");
        }
    }

    #[test]
    fn many_storms_are_left_to_the_gamma_law() {
        let runoff = RunoffDays::even(0.3, 0.6, 0.9);
        let walk = RunoffWalk::new(&runoff, Day(0), Weather::Dry);
        let storms = Storms { mean: 5.0, cv2: 1.0, log_sd: 0.3 };
        let weight = |median| {
            let limit = Limit { median, log_sd: 0.2 };
            StormCount::new(&storms, &walk, 0.0, limit).unwrap().map(|count| count.weight)
        };
        assert_eq!((weight(1.0), weight(30.0), weight(40.0)), (Some(1.0), Some(0.5), None));
    }
}
