//! Questions to a law alone, where all days are unread.

use crate::calendar::Day;
use crate::error::EngineError;
use crate::limit::Limit;

use super::curve::Curve;
use super::law::{Law, Moments};
use super::monthly_sums::MonthlySums;
use super::path::{Known, Path};

impl Law {
    /// The first day on which the sum has reached `amount` with chance `p`. The day after `since` is day 1.
    ///
    /// All days are unread. `None` when it takes more than `horizon_days`. For checks and for questions without a
    /// record.
    pub fn days_to(
        &self,
        amount: f64,
        since: Day,
        horizon_days: i32,
        p: f64,
    ) -> Result<Option<i32>, EngineError> {
        let limit = Limit { median: amount, log_sd: 0.0 };
        limit.check()?;
        let path = Path::new(Known::nothing(since), Vec::new(), Some(*self), horizon_days.max(1));
        Curve::new(&path, limit).day_of(p)
    }

    /// Mean and variance of the sum over the `days` after `since`, all of them unread.
    pub fn moments(&self, since: Day, days: i32) -> Moments {
        let path = Path::new(Known::nothing(since), Vec::new(), Some(*self), days.max(1));
        let sums = MonthlySums::default().sums(&path, days.max(0));
        Moments { mean: sums.mean, variance: path.variance(&sums) }
    }
}
