//! How good a forecast was: where a finding falls within the prediction for its day.
//!
//! Question answered: how full was a part expected to be on the day of a visit, and where in that prediction is
//! the finding? The answer is the predictive distribution at the finding. It is the probability integral transform
//! (Dawid 1984, Journal of the Royal Statistical Society A 147:278; from memory). `X` is what the part takes, `M`
//! its limit and `F = X / M` its fullness:
//!
//! `u(f) = P(F <= f) = 1 - P(X reaches f M by that day)`
//!
//! This is the passage of [`Meter::forecast`] at another limit. The error of the finding widens the doubt of the
//! limit: the squares of the two log-sds are added. A class, "nothing" and "blocked" are ranges of `f`, so they
//! give a range of `u`. Each point of that range counts alike (Czado, Gneiting and Held 2009, Biometrics 65:1254;
//! from memory).
//!
//! For good forecasts `u` is uniform: eight findings in ten fall between 10 and 90 %, the ends of the window, and
//! the mean is one half. More findings below: dates come too early. More above: they come too late.
//!
//! A visit after a partial cleaning gets no position. What was left is itself a reading by eye, and two such
//! readings say little about the time between them.
//!
//! Known failures: Visits often happen because the forecast said so. A part that was cleaned without a note seems
//! to fill slowly.
//! Invariants: `u` never falls as the finding grows. The shares below, inside and above add up to 1.

use crate::calendar::Day;
use crate::duty::Question;
use crate::error::EngineError;
use crate::learning::{Finding, ShareRange};
use crate::limit::Limit;
use crate::meter::Meter;
use crate::passage::{Curve, Path};

/// The ends of the range that forecasts show: 10 and 90 %.
const ENDS: (f64, f64) = (0.1, 0.9);
/// Above this fullness all values count as the same.
const MOST: f64 = 1e6;
/// Below this fullness all values count as the same.
const LEAST: f64 = 1e-6;
/// Halvings of the search for a fullness: they narrow twelve decades to one part in 10^9.
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

/// Where a finding falls in the predictive distribution, as a range of positions from 0 to 1. A number has one
/// position.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Placed {
    /// Lower end.
    pub from: f64,
    /// Upper end.
    pub to: f64,
}

impl Placed {
    /// The share of the range below the predicted 10 %: found emptier than expected.
    pub fn below(&self) -> f64 {
        self.share(0.0, ENDS.0)
    }

    /// The share of the range within the predicted 10 to 90 %.
    pub fn inside(&self) -> f64 {
        // Taken as the rest, so that the three shares add up to 1.
        (1.0 - self.below() - self.above()).max(0.0)
    }

    /// The share of the range above the predicted 90 %: found fuller than expected.
    pub fn above(&self) -> f64 {
        self.share(ENDS.1, 1.0)
    }

    /// The middle of the range.
    pub fn middle(&self) -> f64 {
        0.5 * (self.from + self.to)
    }

    /// The share of the range between two positions, one of which is 0 or 1.
    fn share(&self, from: f64, to: f64) -> f64 {
        let width = self.to - self.from;
        if width > 0.0 {
            return ((self.to.min(to) - self.from.max(from)) / width).clamp(0.0, 1.0);
        }
        // A number exactly at 10 or 90 % counts as inside.
        let outside = if from == 0.0 { self.from < to } else { self.from > from };
        f64::from(u8::from(outside))
    }
}

impl Meter<'_> {
    /// Where the finding of a day after `as_of` falls within the prediction of the question's forecast.
    ///
    /// `None` without rain to predict from, or after a partial cleaning. The horizon of the question does not
    /// matter.
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

    /// How full the part was expected to be on a day after `as_of`. `None` as for [`Meter::placed`].
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
        // Readings alone say nothing about the days after them.
        let known = path.law().is_some() && q.left_share == 0.0;
        Ok(known.then_some(Prediction { path, number, limit: q.limit }))
    }

    /// The chance that the part is at most this full.
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
        // Near the least fullness the part counts as empty.
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
