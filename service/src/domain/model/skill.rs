//! Skill: how well past forecasts agreed with later findings, so that people can see how far to trust the dates.
//!
//! Every finding answers the forecast of the inspection before it (`rules::forecast::answered`). The prediction and
//! the finding are stored. Neither later rain nor later findings change them, only a change of the visits they are
//! based on.

use crate::domain::base::check::Check;
use crate::domain::base::error::Result;
use crate::domain::base::ids::{AnswerId, ComponentId, SystemId, VisitId};
use crate::domain::model::duty::Duty;
use crate::domain::model::forecast::Window;
use crate::domain::model::sentence::Sentence;
use crate::domain::model::visit::Finding;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// The share of findings that should fall inside the predicted range.
pub const AIM: f64 = 0.8;

/// Findings below which no verdict is given on a duty. Judgement: with fewer, an expected four in five can turn out
/// as all or as three in five.
const FEWEST: i64 = 8;

/// A fingerprint of the inspections that an answer is based on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LooksHash(pub [u8; 32]);

/// How full a part was expected to be, as shares of the limit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Fullness {
    /// The 10 % point.
    pub low: f64,
    /// The 50 % point.
    pub likely: f64,
    /// The 90 % point.
    pub high: f64,
}

/// Where a finding falls in the prediction, 0 to 1. A class is a range, and so is a finding below the least that
/// can be seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PositionRange {
    /// The low end.
    pub from: f64,
    /// The high end; the same as the low end for a number.
    pub to: f64,
}

/// Findings, or shares of one, by where they fall: below, inside and above the predicted 10 to 90 %.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shares {
    /// Emptier than the predicted 10 %.
    pub below: f64,
    /// Between the two.
    pub inside: f64,
    /// Fuller than the predicted 90 %.
    pub above: f64,
}

/// A forecast that a finding answered.
#[derive(Clone, Debug, PartialEq)]
pub struct Answered {
    /// Its id.
    pub id: AnswerId,
    /// The visit.
    pub visit_id: VisitId,
    /// The system.
    pub system_id: SystemId,
    /// The component.
    pub component_id: ComponentId,
    /// The component's name at the time.
    pub component_name: String,
    /// The duty that was predicted.
    pub duty: Duty,
    /// The day on which the forecast was made.
    pub made_on: NaiveDate,
    /// The day of the visit.
    pub visited_on: NaiveDate,
    /// When the limit was expected to be reached.
    pub window: Window,
    /// How full the part was expected to be on the day of the visit.
    pub expected: Fullness,
    /// What was found.
    pub finding: Finding,
    /// The finding as a share of the limit, if it is a number or a class.
    pub found: Option<f64>,
    /// Where the finding falls in the prediction.
    pub position: PositionRange,
    /// How much of the finding lies below, inside and above the predicted 10 to 90 %.
    pub shares: Shares,
    /// The inspections that the answer is based on.
    pub history: LooksHash,
}

impl Answered {
    /// The middle of its position.
    pub fn middle(&self) -> f64 {
        0.5 * (self.position.from + self.position.to)
    }

    /// Logarithm of found over expected fullness, if both are numbers above 0.
    pub fn log_ratio(&self) -> Option<f64> {
        let ratio = self.found? / self.expected.likely;
        (ratio > 0.0 && ratio.is_finite()).then(|| ratio.ln())
    }
}

/// The answers of one duty together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DutySkill {
    /// The duty.
    pub duty: Duty,
    /// The number of answers.
    pub answered: i64,
    /// Sums of the shares.
    pub sums: Shares,
    /// Sum of the middles of the positions.
    pub middles: f64,
    /// How many of the findings are numbers or classes.
    pub measured: i64,
    /// Sum of the logarithms of found over expected fullness for these.
    pub log_ratios: f64,
}

impl DutySkill {
    fn mean(&self, sum: f64) -> f64 {
        sum / self.answered.max(1) as f64
    }

    /// Shares of findings emptier than the predicted 10 %, inside, and fuller than the predicted 90 %.
    pub fn shares(&self) -> Shares {
        let Shares { below, inside, above } = self.sums;
        Shares { below: self.mean(below), inside: self.mean(inside), above: self.mean(above) }
    }

    /// The standard error of the share inside, if forecasts are right.
    pub fn standard_error(&self) -> f64 {
        self.mean(AIM * (1.0 - AIM)).sqrt()
    }

    /// Mean position: one half without bias, less if dates come too early.
    pub fn mean_position(&self) -> f64 {
        self.mean(self.middles)
    }

    /// Geometric mean of found over expected fullness.
    pub fn found_to_expected(&self) -> Option<f64> {
        (self.measured > 0).then(|| (self.log_ratios / self.measured as f64).exp())
    }

    /// What the figures say, in words. A difference counts if it is more than two standard errors of a correct
    /// forecast. These are `1/sqrt(12 n)` for the mean position and `sqrt(0.8 x 0.2 / n)` for the share inside.
    pub fn reading(&self) -> Sentence {
        if self.answered < FEWEST {
            return Sentence::of("too_few_findings").say("Too few findings to say.");
        }
        let n = self.answered as f64;
        let shift = (self.mean_position() - 0.5) * (12.0 * n).sqrt();
        let spread = (self.shares().inside - AIM) / self.standard_error();
        match (shift, spread) {
            (shift, _) if shift < -2.0 => {
                Sentence::of("too_early").say("Parts fill more slowly than predicted: dates come too early.")
            }
            (shift, _) if shift > 2.0 => {
                Sentence::of("too_late").say("Parts fill faster than predicted: dates come too late.")
            }
            (_, spread) if spread < -2.0 => Sentence::of("too_narrow")
                .say("The windows are too narrow: the dates are less certain than they look."),
            (_, spread) if spread > 2.0 => Sentence::of("too_wide")
                .say("The windows are wider than needed: the dates are more certain than they look."),
            _ => Sentence::of("as_certain").say("The windows are about right."),
        }
    }
}

/// Which answers to read.
#[derive(Clone, Copy, Debug, Default)]
pub struct SkillFilter {
    /// Answers of this system.
    pub system_id: Option<SystemId>,
    /// Answers of this duty.
    pub duty: Option<Duty>,
    /// Visits on or after this day.
    pub from: Option<NaiveDate>,
    /// Visits on or before this day.
    pub to: Option<NaiveDate>,
}

impl SkillFilter {
    /// Checks that the days are in order.
    pub fn check(&self) -> Result<()> {
        let mut check = Check::new();
        check.range(self.from, self.to);
        check.done()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn skill(answered: i64, inside: f64, position: f64) -> DutySkill {
        let n = answered as f64;
        let rest = (1.0 - inside) / 2.0 * n;
        DutySkill {
            duty: Duty::CleanScreen,
            answered,
            sums: Shares { below: rest, inside: inside * n, above: rest },
            middles: position * n,
            measured: 0,
            log_ratios: 0.0,
        }
    }

    #[test]
    fn words_follow_two_standard_errors() {
        for (answered, inside, position, words) in [
            (7, 0.0, 0.0, "Too few"),
            (8, 0.8, 0.5, "about right"),
            // 2 / sqrt(12 x 100) = .0577.
            (100, 0.8, 0.443, "about right"),
            (100, 0.8, 0.441, "too early"),
            (100, 0.8, 0.559, "too late"),
            // 2 x sqrt(.16 / 100) = .08.
            (100, 0.73, 0.5, "about right"),
            (100, 0.71, 0.5, "too narrow"),
            (100, 0.89, 0.5, "wider"),
        ] {
            let reading = skill(answered, inside, position).reading().text;
            assert!(reading.contains(words), "{answered} {inside} {position}: {reading}");
        }
    }

    #[test]
    fn means_are_over_what_was_answered() {
        let one = skill(25, 0.8, 0.4);
        let Shares { below, inside, above } = one.shares();
        assert!((below - 0.1).abs() < 1e-12 && (inside - 0.8).abs() < 1e-12 && (above - 0.1).abs() < 1e-12);
        assert!((one.standard_error() - 0.08).abs() < 1e-12);
        assert_eq!(one.found_to_expected(), None);
        let twice = DutySkill { measured: 2, log_ratios: 4.0_f64.ln(), ..one };
        assert!((twice.found_to_expected().unwrap() - 2.0).abs() < 1e-12);
    }
}

/// Changes to the stored answers of a system.
#[derive(Debug, Default)]
pub struct AnswerChanges {
    /// Stored answers that are no longer valid.
    pub gone: Vec<AnswerId>,
    /// New answers, to be stored.
    pub new: Vec<Answered>,
}

impl AnswerId {
    /// The id of the answer that a visit's finding on a component gives for a duty. It is computed, so that two
    /// replicas make the same row.
    pub fn of(visit: VisitId, component: ComponentId, duty: Duty) -> Self {
        Self(Uuid::new_v5(&Uuid::new_v5(&visit.0, component.0.as_bytes()), duty.code().as_bytes()))
    }
}
