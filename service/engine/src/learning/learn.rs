//! Learns a rate from inspections, one after the other.

use super::finding::{Inspection, TaughtNothing};
use super::rate::{LARGEST_LN, LARGEST_LOG_SD, Rate};
use crate::calendar::Day;
use crate::error::{EngineError, require};

/// The most by which one finding may multiply the median limit. Judgement. Shortening has no such bound.
pub const LONGEST_STRETCH: f64 = 2.0;

/// Days in a year, over the leap cycle of the calendar.
const YEAR_DAYS: f64 = 365.2425;

/// What one inspection did to the belief.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// Index of the inspection in the given list, from 0.
    pub inspection: usize,
    /// Day of the inspection.
    pub day: Day,
    /// Belief on that day before the finding, including the drift since the step before.
    pub before: Rate,
    /// Belief after the finding.
    pub after: Rate,
    /// How much the finding counted, 0 to 1. See [`Update::weight`](super::Update::weight).
    pub weight: f64,
    /// Chance, 0 to 1, that the finding was wild, given the belief before it.
    pub wild: f64,
    /// Whether the finding asked for more than [`LONGEST_STRETCH`] and was limited to it.
    pub held_back: bool,
    /// Why the finding taught nothing, if it taught nothing.
    pub taught_nothing: Option<TaughtNothing>,
}

/// What the inspections of a part have taught.
#[derive(Debug, Clone, PartialEq)]
pub struct Learned {
    /// The belief at the start.
    pub prior: Rate,
    /// The belief on [`as_of`](Learned::as_of), after the last inspection.
    pub posterior: Rate,
    /// The day of the last inspection. The prior's day when that is later, or without inspections.
    pub as_of: Day,
    /// Variance that ln rate gains in a year.
    pub drift_per_year: f64,
    /// One step for each inspection, by day.
    pub steps: Vec<Step>,
}

impl Learned {
    /// The belief as of a later day. A day before [`as_of`](Learned::as_of) gives the posterior unchanged.
    pub fn drifted_to(&self, day: Day) -> Rate {
        self.posterior.drifted(years(self.as_of, day), self.drift_per_year)
    }

    /// How many findings taught something.
    pub fn findings(&self) -> usize {
        self.steps.iter().filter(|step| step.taught_nothing.is_none()).count()
    }
}

/// Learns a part's rate from its inspections.
///
/// `since` is the day of the prior, usually that of the installation. `drift_per_year` is the variance that ln rate
/// gains in a year, 0 to 1. Use [`DRIFT_PER_YEAR`](super::DRIFT_PER_YEAR) for parts that leaves, dust and weather
/// fill, and 0 for parts that do not drift. Inspections may come in any order; those of one day are used in the given
/// order. Each is judged by itself, so leaving one out gives the belief without it.
pub fn learn(
    prior: Rate,
    since: Day,
    drift_per_year: f64,
    inspections: &[Inspection],
) -> Result<Learned, EngineError> {
    prior.check()?;
    require((0.0..=1.0).contains(&drift_per_year), "drift_per_year", drift_per_year, "0 to 1")?;
    let mut order: Vec<usize> = (0..inspections.len()).collect();
    order.sort_by_key(|&i| inspections[i].day);

    let mut learned = Learned {
        prior,
        posterior: prior,
        as_of: since,
        drift_per_year,
        steps: Vec::with_capacity(order.len()),
    };
    for i in order {
        let inspection = &inspections[i];
        let before = learned.drifted_to(inspection.day);
        let step = take(i, inspection, before)?;
        learned.posterior = step.after;
        learned.as_of = learned.as_of.max(inspection.day);
        learned.steps.push(step);
    }
    Ok(learned)
}

fn take(place: usize, inspection: &Inspection, before: Rate) -> Result<Step, EngineError> {
    let mut step = Step {
        inspection: place,
        day: inspection.day,
        before,
        after: before,
        weight: 0.0,
        wild: 0.0,
        held_back: false,
        taught_nothing: None,
    };
    match inspection.evidence()? {
        Err(why) => step.taught_nothing = Some(why),
        Ok(_) if before.sd == 0.0 => step.taught_nothing = Some(TaughtNothing::RateIsKnown),
        Ok(evidence) => {
            let update = before.updated_robustly(&evidence);
            (step.after, step.held_back) = capped(before, update.rate);
            step.weight = update.weight;
            step.wild = update.wild;
        }
    }
    Ok(step)
}

/// Limits a lengthening to [`LONGEST_STRETCH`], and says whether it had to.
///
/// What is cut off stays as doubt. Of all normal laws with the allowed mean, one is nearest to the full posterior
/// (least relative entropy). Its variance is that of the posterior plus the square of the shift. The doubt before the
/// finding bounds this, unless the finding itself raised it.
fn capped(before: Rate, full: Rate) -> (Rate, bool) {
    let mean = full.mean.clamp(-LARGEST_LN, LARGEST_LN);
    let slowest = before.mean - LONGEST_STRETCH.ln();
    let sd = full.sd.min(LARGEST_LOG_SD);
    if mean >= slowest {
        return (Rate { mean, sd }, false);
    }
    let doubt = sd.hypot(slowest - mean).min(before.sd);
    (Rate { mean: slowest, sd: doubt.max(sd) }, true)
}

fn years(from: Day, to: Day) -> f64 {
    f64::from(to.since(from)) / YEAR_DAYS
}
