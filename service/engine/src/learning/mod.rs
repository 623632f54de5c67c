//! What findings teach about the rate at which a part fills, clogs or perishes.
//!
//! **Question.** A part was looked at. How fast does it fill, and how sure is that now?
//!
//! **Equation.** A part's fullness is `y = rho X`: `X` is the exposure since it was last clean, in the unit of the
//! duty's tally, and it wants care at `y = 1`, so its mark is `1 / rho`. All physics meets in the one rate `rho`, and
//! fullness shows nothing finer. `theta = ln rho` is normal with mean `m` and standard deviation `s`; the prior mark
//! gives the first, and `s^2` grows by [`DRIFT_PER_YEAR`] because trees and roofs change. A finding says that
//! `ln(y / X)`, known to a normal error `sigma`, is a number or lies between two:
//!
//! - a reading `z = ln(y / X)`: `K = s^2 / (s^2 + sigma^2)`, `m' = m + K (z - m)`, `s'^2 = (1 - K) s^2`;
//! - a range from `lo` to `hi`, either end open: with `S^2 = s^2 + sigma^2`, `a = (lo - m) / S`, `b = (hi - m) / S`,
//!   `Z = Phi(b) - Phi(a)`, `l = (phi(a) - phi(b)) / Z`: `m' = m + s^2 l / S` and
//!   `s'^2 = s^2 - (s^4 / S^2) (l^2 + (b phi(b) - a phi(a)) / Z)`, the moments of a normal law cut at both ends.
//!
//! The first is the textbook update of a normal mean, the second follows from the moments of the truncated normal law
//! (Johnson, Kotz & Balakrishnan, Continuous Univariate Distributions 1, chapter 13; from memory). Doubt about the
//! exposure, a coefficient of variation, adds to `sigma` in squares.
//!
//! **Robust.** People look at the wrong tank and forget to note a cleaning. A share [`WILD_SHARE`] of findings is taken
//! to have the error [`WILD_LOG_SD`] instead; the two posteriors are weighed by how well each foresaw the finding, and
//! replaced by one normal law of the same mean and variance. Without it a single "nothing found" makes the interval
//! nine times as long; with it about twice, and only repetition is believed. On top of that no single finding makes the
//! median mark longer than [`LONGEST_STRETCH`] times what it was, since a date too late costs more than one too early.
//!
//! **Judgement.** Every constant of this module, and every prior it starts from. The shares and errors are plausible
//! and were not estimated from inspections; the number of steps behind a mark belongs beside its date.
//!
//! **Known failure.** One normal law cannot hold two peaks: after a finding far from what was believed the truth is
//! "either the finding is wild or the belief was", and the answer is a compromise with a wide window. The cap makes
//! parts that really fill very slowly look too fast for the first findings. A rate that changed for good (a felled
//! tree) is followed as slowly as the drift allows. Fullness in proportion to exposure is itself an approximation:
//! settled solids consolidate and screens shed some of what they catch.
//!
//! **Invariant.** A plain update never raises `s` (the robust one may, rightly). A finding above what was expected
//! raises the rate, one below lowers it. Of two nested ranges the narrower leaves no more doubt. A range without ends
//! changes nothing. Exposure in another unit shifts `m` by the logarithm of the unit and changes nothing else. No
//! finding gives NaN, however far out or narrow.
//!
//! ```
//! use eavesward_engine::learning::{DRIFT_PER_YEAR, Finding, Inspection, Rate, Start, learn};
//! use eavesward_engine::{Day, Mark};
//!
//! let prior = Rate::of(Mark { median: 1200.0, log_sd: 0.6 }); // mm of runoff
//! let visit = Inspection {
//!     day: Day(18_400),
//!     exposure: 850.0,
//!     exposure_cv: 0.1,
//!     start: Start::Clean,
//!     finding: Finding::measured(0.35),
//! };
//! let learned = learn(prior, Day(18_000), DRIFT_PER_YEAR, &[visit])?;
//! let mark = learned.posterior.mark();
//! assert!(mark.median > 1900.0 && mark.log_sd < 0.4); // fills more slowly than was thought, and surer of it
//! # Ok::<(), eavesward_engine::EngineError>(())
//! ```

mod finding;
mod tail;
mod update;
mod worth;

pub use finding::{Evidence, Finding, Inspection, Start, TaughtNothing};
pub use update::Update;
pub use worth::{Worth, next_finding};

use crate::calendar::Day;
use crate::error::{EngineError, require};
use crate::mark::Mark;

/// Variance that the logarithm of a rate gains in a year where trees grow and roofs age. Judgement: about 14 % a year.
///
/// Pass 0 for what does not drift, such as a material that perishes or a chamber of known volume.
pub const DRIFT_PER_YEAR: f64 = 0.02;

/// Log-sd of a measured depth or level. Judgement: within a third of the truth two times in three.
pub const MEASURED_LOG_SD: f64 = 0.3;

/// Log-sd of a fullness estimated by eye. Judgement.
pub const BY_EYE_LOG_SD: f64 = 0.4;

/// Log-sd with which a class, "nothing found" or "blocked" is put to its edges. Judgement, as for a measured depth.
pub const CLASS_LOG_SD: f64 = 0.3;

/// Fullness below which people report that they found nothing. Judgement: 2.5 mm of a mark of 50 mm
/// go unnoticed.
pub const DETECTION_LIMIT: f64 = 0.05;

/// Share of findings that are taken to be wild: wrong tank, unrecorded cleaning, slip of the pen. Judgement.
pub const WILD_SHARE: f64 = 0.15;

/// Log-sd of a wild finding. Judgement: off by a factor of three is nothing unusual for one.
pub const WILD_LOG_SD: f64 = 1.2;

/// The most by which one finding may multiply the median mark. Judgement; shortening has no such limit.
pub const LONGEST_STRETCH: f64 = 2.0;

/// The largest log-sd of a rate, that of a [`Mark`]: beyond it the likely range spans a factor of 2000.
const LARGEST_LOG_SD: f64 = 3.0;

/// Mean of ln rate beyond which a median would leave the range of a double; nothing real comes near.
const LARGEST_LN: f64 = 700.0;

/// Days in a year, over the leap cycle of the calendar.
const YEAR_DAYS: f64 = 365.2425;

/// How fast a part fills: the natural logarithm of its fullness per unit of exposure, normally distributed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rate {
    /// Mean of ln rate, the rate in fullness per unit of exposure; -700 to 700.
    pub mean: f64,
    /// Standard deviation of ln rate, 0 to 3; 0 when the rate is known exactly.
    pub sd: f64,
}

impl Rate {
    /// The rate of a part that wants care at `mark`.
    pub fn of(mark: Mark) -> Rate {
        Rate { mean: -mark.median.ln(), sd: mark.log_sd }
    }

    /// The exposure at which the part wants care.
    pub fn mark(self) -> Mark {
        Mark { median: (-self.mean.clamp(-LARGEST_LN, LARGEST_LN)).exp(), log_sd: self.sd }
    }

    /// The rate as of `years` later, its doubt grown by the variance `per_year`, up to a standard deviation of 3.
    ///
    /// A time that is not above 0 changes nothing.
    pub fn drifted(self, years: f64, per_year: f64) -> Rate {
        let gained = years.max(0.0) * per_year.max(0.0);
        if !(gained > 0.0) {
            return self;
        }
        let sd = (self.sd * self.sd + gained).sqrt().min(LARGEST_LOG_SD);
        Rate { mean: self.mean, sd: sd.max(self.sd) }
    }

    fn check(self) -> Result<(), EngineError> {
        let mean_ok = (-LARGEST_LN..=LARGEST_LN).contains(&self.mean);
        require(mean_ok, "mean of ln rate", self.mean, "-700 to 700")?;
        require((0.0..=LARGEST_LOG_SD).contains(&self.sd), "sd of ln rate", self.sd, "0 to 3")
    }
}

/// What one inspection did to the belief.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// Place of the inspection in the list that was given, from 0.
    pub inspection: usize,
    /// Day of the inspection.
    pub day: Day,
    /// Belief on that day before the finding, with the drift since the step before.
    pub before: Rate,
    /// Belief after the finding.
    pub after: Rate,
    /// How much the finding counted, 0 to 1: see [`Update::weight`].
    pub weight: f64,
    /// Chance, 0 to 1, that the finding was a wild one, in the light of what was believed before.
    pub wild: f64,
    /// Whether the finding asked for more than [`LONGEST_STRETCH`] and was held to it.
    pub held_back: bool,
    /// Why the finding taught nothing, if so.
    pub taught_nothing: Option<TaughtNothing>,
}

/// What a part's inspections have taught.
#[derive(Debug, Clone, PartialEq)]
pub struct Learned {
    /// Where it started.
    pub prior: Rate,
    /// The belief on [`as_of`](Learned::as_of), after the last inspection.
    pub posterior: Rate,
    /// The day of the last inspection, or the prior's day when that is later or there was none.
    pub as_of: Day,
    /// Variance that ln rate gains in a year.
    pub drift_per_year: f64,
    /// One step for each inspection, by day.
    pub steps: Vec<Step>,
}

impl Learned {
    /// The belief as of a later day; a day before [`as_of`](Learned::as_of) gives the posterior as it is.
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
/// `since` is the day for which the prior holds, usually that of the installation. `drift_per_year` is the variance that
/// ln rate gains in a year, 0 to 1: [`DRIFT_PER_YEAR`] for what leaves, dust and weather fill, 0 for what does not
/// drift. Inspections may come in any order; those of one day are taken in the order given. Each is judged by itself,
/// so leaving one out gives what would have been known without it.
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

/// Holds a lengthening to [`LONGEST_STRETCH`], and says whether it had to.
///
/// What is held back stays as doubt: of all normal laws with the mean that is allowed, the one nearest to the full
/// posterior (least relative entropy) has its variance plus the square of the shift. The doubt from before the finding
/// bounds that, unless the finding itself raised it.
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
