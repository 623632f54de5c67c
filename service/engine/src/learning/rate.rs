//! How fast a part fills, and how sure that is.

use crate::error::{EngineError, require};
use crate::limit::Limit;

/// Variance that the logarithm of a rate gains in a year where trees grow and roofs age. Judgement: about 14 % a year.
///
/// Use 0 for what does not drift, such as a material that perishes or a chamber of known volume.
pub const DRIFT_PER_YEAR: f64 = 0.02;

/// The largest log-sd of a rate, as of a [`Limit`]. Beyond it the likely range spans a factor of 2000.
pub(super) const LARGEST_LOG_SD: f64 = 3.0;

/// Beyond this mean of ln rate a median leaves the range of a double. Real rates are far from it.
pub(super) const LARGEST_LN: f64 = 700.0;

/// How fast a part fills: ln of its fullness per unit of exposure, normally distributed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rate {
    /// Mean of ln rate, -700 to 700. The rate is fullness per unit of exposure.
    pub mean: f64,
    /// Standard deviation of ln rate, 0 to 3. 0 when the rate is known exactly.
    pub sd: f64,
}

impl Rate {
    /// The rate of a part that needs care at `limit`.
    pub fn of(limit: Limit) -> Rate {
        Rate { mean: -limit.median.ln(), sd: limit.log_sd }
    }

    /// The exposure at which the part needs care.
    pub fn limit(self) -> Limit {
        Limit { median: (-self.mean.clamp(-LARGEST_LN, LARGEST_LN)).exp(), log_sd: self.sd }
    }

    /// The rate `years` later. Its variance grows by `per_year` each year, up to a standard deviation of 3.
    ///
    /// A time of 0 or less changes nothing.
    pub fn drifted(self, years: f64, per_year: f64) -> Rate {
        let gained = years.max(0.0) * per_year.max(0.0);
        if !(gained > 0.0) {
            return self;
        }
        let sd = (self.sd * self.sd + gained).sqrt().min(LARGEST_LOG_SD);
        Rate { mean: self.mean, sd: sd.max(self.sd) }
    }

    pub(super) fn check(self) -> Result<(), EngineError> {
        let mean_ok = (-LARGEST_LN..=LARGEST_LN).contains(&self.mean);
        require(mean_ok, "mean of ln rate", self.mean, "-700 to 700")?;
        require((0.0..=LARGEST_LOG_SD).contains(&self.sd), "sd of ln rate", self.sd, "0 to 3")
    }
}
