//! How well a forecast was: where what a visit found falls among what had been predicted for that day.
//!
//! Question answered: when a part is looked at, how full was it expected to be, and at which point of that prediction
//! does the finding lie? The answer is the predictive distribution at the finding, the probability integral transform
//! (Dawid 1984, Journal of the Royal Statistical Society A 147:278; from memory). With fullness `F = X / M`, `X` what the
//! part takes and `M` its limit,
//!
//! `u(f) = P(F <= f) = 1 - P(X reaches f M by that day)`,
//!
//! which is the passage of [`Meter::forecast`] at another limit; the error of the finding widens the doubt of the limit:
//! the two log-sds are squared and added. A class, "nothing" and "blocked" are ranges of `f`, so they give a range of `u`,
//! of which each point counts alike (Czado, Gneiting and Held 2009, Biometrics 65:1254; from memory).
//!
//! Of good forecasts `u` is uniform: eight findings in ten fall between 10 and 90 %, where the window's ends lie, and the
//! mean is one half. More below: dates come too early. More above: they come too late.
//!
//! After a cleaning in part nothing is said: what was left is a reading by eye as well, and two of them say little of what
//! came between.
//!
//! Known failures: findings are made when somebody comes, often because the forecast said so, and a part that was
//! cleaned on the way without a note looks as if it filled slowly. Invariants: `u` never falls as the finding grows; the
//! shares below, inside and above add up to 1.

use crate::calendar::Day;
use crate::duty::Question;
use crate::error::EngineError;
use crate::learning::{Finding, ShareRange};
use crate::limit::Limit;
use crate::meter::Meter;
use crate::passage::{Curve, Path};

/// The ends of the range that forecasts show: 10 and 90 %.
const ENDS: (f64, f64) = (0.1, 0.9);
/// Fullness beyond which nothing is told apart.
const MOST: f64 = 1e6;
/// Fullness below which nothing is told apart.
const LEAST: f64 = 1e-6;
/// Halvings of a search for a fullness: from twelve decades to one part in 10^9.
const HALVINGS: u32 = 36;

/// How full a part was expected to be on a day, as shares of its limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fullness {
    /// 10 %.
    pub low: f64,
    /// 50 %.
    pub likely: f64,
    /// 90 %.
    pub high: f64,
}

/// Where a finding falls in the predictive distribution: from one position to another, 0 to 1. A number has one position.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Placed {
    /// Lower end.
    pub from: f64,
    /// Upper end.
    pub to: f64,
}

impl Placed {
    /// The share of it that lies below the predicted 10 %: found emptier than expected.
    pub fn below(&self) -> f64 {
        self.share(0.0, ENDS.0)
    }

    /// The share of it within the predicted 10 to 90 %.
    pub fn inside(&self) -> f64 {
        // What is left, so that the three add up.
        (1.0 - self.below() - self.above()).max(0.0)
    }

    /// The share of it above the predicted 90 %: found fuller than expected.
    pub fn above(&self) -> f64 {
        self.share(ENDS.1, 1.0)
    }

    /// Its middle.
    pub fn middle(&self) -> f64 {
        0.5 * (self.from + self.to)
    }

    /// The share between two positions, one of which is an end.
    fn share(&self, from: f64, to: f64) -> f64 {
        let width = self.to - self.from;
        if width > 0.0 {
            return ((self.to.min(to) - self.from.max(from)) / width).clamp(0.0, 1.0);
        }
        // A number at an end of the range is in the range.
        let outside = if from == 0.0 { self.from < to } else { self.from > from };
        f64::from(u8::from(outside))
    }
}

impl Meter<'_> {
    /// Where what was found on a day, after `as_of`, falls among what the question's forecast had predicted for it; `None`
    /// without rain to predict from, or after a cleaning in part. The horizon of the question does not matter.
    pub fn placed(
        &self,
        q: &Question,
        found_on: Day,
        finding: Finding,
    ) -> Result<Option<Placed>, EngineError> {
        let Some(prediction) = Prediction::new(self, q, found_on)? else { return Ok(None) };
        let ShareRange { low, high, log_sd } = finding.range()?;
        Ok(Some(Placed { from: prediction.at(low, log_sd)?, to: prediction.at(high, log_sd)? }))
    }

    /// How full the part was expected to be on a day after `as_of`; `None` as for [`Meter::placed`].
    pub fn fullness(&self, q: &Question, on: Day) -> Result<Option<Fullness>, EngineError> {
        let Some(prediction) = Prediction::new(self, q, on)? else { return Ok(None) };
        let of = |chance: f64| prediction.fullness(chance);
        Ok(Some(Fullness { low: of(ENDS.0)?, likely: of(0.5)?, high: of(ENDS.1)? }))
    }
}

/// A question's path to the day of a finding.
struct Prediction {
    path: Path,
    number: i32,
    limit: Limit,
}

impl Prediction {
    fn new(meter: &Meter<'_>, q: &Question, on: Day) -> Result<Option<Prediction>, EngineError> {
        let number = on.since(q.since);
        meter.check(&Question { horizon_days: on.since(q.as_of), ..*q })?;
        let path = meter.path(q.since, q.as_of, number, 0.0);
        // Readings alone say nothing of the days after them.
        let known = path.law().is_some() && q.left_share == 0.0;
        Ok(known.then_some(Prediction { path, number, limit: q.limit }))
    }

    /// The chance that the part is no fuller than that.
    fn at(&self, fullness: f64, log_sd: f64) -> Result<f64, EngineError> {
        if !(fullness > LEAST) {
            return Ok(0.0);
        }
        if fullness >= MOST {
            return Ok(1.0);
        }
        let limit = Limit { median: self.limit.median * fullness, log_sd: self.limit.log_sd.hypot(log_sd) };
        Ok(1.0 - Curve::new(&self.path, limit).chance_by(self.number)?)
    }

    fn fullness(&self, chance: f64) -> Result<f64, EngineError> {
        let (mut low, mut high) = (LEAST.ln(), MOST.ln());
        for _ in 0..HALVINGS {
            let middle = 0.5 * (low + high);
            if self.at(middle.exp(), 0.0)? < chance { low = middle } else { high = middle }
        }
        // What can be told from nothing.
        let fullness = high.exp();
        Ok(if fullness > 2.0 * LEAST { fullness } else { 0.0 })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shares_of_a_range_are_those_of_its_length() {
        let placed = Placed { from: 0.05, to: 0.25 };
        assert!((placed.below() - 0.25).abs() < 1e-12 && placed.above() == 0.0);
        assert!((placed.inside() - 0.75).abs() < 1e-12 && (placed.middle() - 0.15).abs() < 1e-12);
        let all = Placed { from: 0.0, to: 1.0 };
        assert!((all.below() - 0.1).abs() < 1e-12 && (all.above() - 0.1).abs() < 1e-12);
        let late = Placed { from: 0.95, to: 1.0 };
        assert_eq!((late.below(), late.inside(), late.above()), (0.0, 0.0, 1.0));
    }

    #[test]
    fn a_number_is_in_one_of_three_places() {
        for (at, shares) in [
            (0.0, (1.0, 0.0, 0.0)),
            (0.0999, (1.0, 0.0, 0.0)),
            (0.1, (0.0, 1.0, 0.0)),
            (0.5, (0.0, 1.0, 0.0)),
            (0.9, (0.0, 1.0, 0.0)),
            (0.9001, (0.0, 0.0, 1.0)),
            (1.0, (0.0, 0.0, 1.0)),
        ] {
            let placed = Placed { from: at, to: at };
            assert_eq!((placed.below(), placed.inside(), placed.above()), shares, "{at}");
        }
    }
}
