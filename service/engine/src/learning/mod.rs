//! What findings teach about the rate at which a part fills, clogs or perishes.
//!
//! **Question.** A visit looked at a part. How fast does the part fill, and how sure is that now?
//!
//! **Equation.** The fullness of a part is `y = rho X`. `X` is the exposure since the part was last clean, in the
//! unit of the duty's accumulated amount. The part needs care at `y = 1`, so its limit is `1 / rho`. The rate `rho`
//! combines all physics, and fullness alone cannot separate it further. `theta = ln rho` is normal with mean `m` and
//! standard deviation `s`. The prior limit gives both at the start. `s^2` grows by [`DRIFT_PER_YEAR`] because trees
//! and roofs change. A finding says that `ln(y / X)`, known to a normal error `sigma`, is a number or lies between
//! two numbers:
//!
//! - a reading `z = ln(y / X)`: `K = s^2 / (s^2 + sigma^2)`, `m' = m + K (z - m)`, `s'^2 = (1 - K) s^2`.
//! - a range from `lo` to `hi`, either end open: with `S^2 = s^2 + sigma^2`, `a = (lo - m) / S`, `b = (hi - m) / S`,
//!   `Z = Phi(b) - Phi(a)`, `l = (phi(a) - phi(b)) / Z`: `m' = m + s^2 l / S` and
//!   `s'^2 = s^2 - (s^4 / S^2) (l^2 + (b phi(b) - a phi(a)) / Z)`, the moments of a normal law cut at both ends.
//!
//! The first is the textbook update of a normal mean. The second follows from the moments of the truncated normal law
//! (Johnson, Kotz & Balakrishnan, Continuous Univariate Distributions 1, chapter 13; from memory). The square of the
//! exposure's coefficient of variation adds to `sigma^2`.
//!
//! **Robust.** People look at the wrong tank and forget to note a cleaning. So the share [`WILD_SHARE`] of findings
//! gets the error [`WILD_LOG_SD`] instead. Both posteriors are weighed by how well each predicted the finding, and
//! one normal law of the same mean and variance replaces them. Without this a single "nothing found" makes the interval
//! nine times as long. With this the interval is about twice as long, and only repetition is believed. In addition no
//! single finding makes the median limit longer than [`LONGEST_STRETCH`] times its value: a date too late costs more
//! than one too early.
//!
//! **Judgement.** Every constant of this module, and every prior it starts from. The shares and errors are plausible
//! and were not estimated from inspections. Show with each date how many findings its limit rests on.
//!
//! **Known failure.** One normal law cannot have two peaks. After a finding far from the belief, either the finding
//! is wild or the belief was wrong. The answer is then a compromise with a wide window. The cap makes parts that fill
//! very slowly look too fast for the first findings. After a lasting change of the rate (a felled tree) the belief
//! follows only as fast as the drift allows. Fullness in proportion to exposure is itself an approximation: settled
//! solids consolidate and screens shed some of their catch.
//!
//! **Invariant.** A plain update never raises `s`; the robust one may, rightly. A finding above the expectation
//! raises the rate, one below lowers it. Of two nested ranges the narrower leaves no more doubt. A range without ends
//! changes nothing. Exposure in another unit shifts `m` by the logarithm of the unit and changes nothing else. No
//! finding gives NaN, however far out or narrow.
//!
//! ```
//! use eavesward_engine::learning::{DRIFT_PER_YEAR, Finding, Inspection, Rate, Start, learn};
//! use eavesward_engine::{Day, Limit};
//!
//! let prior = Rate::of(Limit { median: 1200.0, log_sd: 0.6 }); // mm of runoff
//! let visit = Inspection {
//!     day: Day(18_400),
//!     exposure: 850.0,
//!     exposure_cv: 0.1,
//!     start: Start::Clean,
//!     finding: Finding::measured(0.35),
//! };
//! let learned = learn(prior, Day(18_000), DRIFT_PER_YEAR, &[visit])?;
//! let limit = learned.posterior.limit();
//! assert!(limit.median > 1900.0 && limit.log_sd < 0.4); // fills more slowly than was thought, and surer of it
//! # Ok::<(), eavesward_engine::EngineError>(())
//! ```

mod finding;
mod learn;
mod rate;
mod tail;
mod update;
mod worth;

pub use finding::{
    BY_EYE_LOG_SD, CLASS_LOG_SD, DETECTION_LIMIT, Evidence, Finding, Inspection, MEASURED_LOG_SD, Start,
    TaughtNothing,
};
pub use learn::{LONGEST_STRETCH, Learned, Step, learn};
pub use rate::{DRIFT_PER_YEAR, Rate};
pub use update::{Update, WILD_LOG_SD, WILD_SHARE};
pub use worth::{Worth, next_finding};

pub(crate) use finding::ShareRange;
