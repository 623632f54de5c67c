//! Adding up the unread days.

use crate::calendar::Day;
use crate::climate::{Climate, Spreads};
use crate::error::EngineError;
use crate::exposure::Steps;
use crate::mark::Mark;

use super::chance::Uncertain;
use super::rows::{Rows, Sums};
use super::tree::Curve;

/// What unread days bring, and how far it strays. Units are those of the exposure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Law {
    /// Mean of a day by calendar month, January first, 0 or more.
    pub daily: [f64; 12],
    /// Variance per unit of mean from day to day, 0 or more.
    pub kappa: f64,
    /// Log-sd of each month's own factor.
    pub sigma_month: f64,
    /// Log-sd of each year's own factor.
    pub sigma_year: f64,
    /// Log-sd of the error of the monthly means themselves.
    pub sampling_sd: f64,
    /// Log-sd of the error that the means of all months share.
    pub level_sd: f64,
}

impl Law {
    /// Days that bring nothing.
    pub const NOTHING: Law = Law {
        daily: [0.0; 12],
        kappa: 0.0,
        sigma_month: 0.0,
        sigma_year: 0.0,
        sampling_sd: 0.0,
        level_sd: 0.0,
    };

    /// What brings these means, with this dispersion and spread.
    pub fn new(daily: [f64; 12], kappa: f64, spreads: Spreads) -> Law {
        let Spreads { month, year, sampling, level } = spreads;
        Law { daily, kappa, sigma_month: month, sigma_year: year, sampling_sd: sampling, level_sd: level }
    }

    /// The runoff of a climate after its loss, at coefficient 1.
    pub fn of_runoff(climate: &Climate) -> Law {
        Law::new(climate.mean_runoff_by_month(), climate.kappa_mm, climate.spreads())
    }

    /// The first day, counted from the day after `since` as 1, on which the sum has reached `amount` with chance `p`.
    ///
    /// No day is read; `None` when it takes more than `horizon_days`. For checks and for questions without a record.
    pub fn days_to(
        &self,
        amount: f64,
        since: Day,
        horizon_days: i32,
        p: f64,
    ) -> Result<Option<i32>, EngineError> {
        let mark = Mark { median: amount, log_sd: 0.0 };
        mark.check()?;
        let path = Path::new(Known::nothing(since), Vec::new(), Some(*self), horizon_days.max(1));
        Curve::new(&path, mark).day_of(p)
    }

    /// Mean and variance of the sum over the `days` after `since`, none of them read.
    pub fn mean_and_variance(&self, since: Day, days: i32) -> (f64, f64) {
        let path = Path::new(Known::nothing(since), Vec::new(), Some(*self), days.max(1));
        let sums = Rows::default().sums(&path, days.max(0));
        (sums.mean, path.variance(&sums))
    }
}

/// Days of a year, after which a new yearly factor is drawn.
const YEAR: i32 = 365;

/// The read part of one tally.
#[derive(Debug, Clone)]
pub(crate) struct Known {
    steps: Steps,
    since: Day,
    past: i32,
    /// Total at `since`, and by the last day looked back on.
    before: f64,
    total: f64,
    /// What was left behind at the last service, in the unit of the tally; no part of the passage.
    carried: f64,
}

impl Known {
    /// What the steps say after `since`, up to `as_of`.
    pub(crate) fn new(steps: Steps, since: Day, as_of: Day, carried: f64) -> Known {
        let before = steps.total(since);
        let total = grown(&steps, before, as_of);
        Known { steps, since, past: as_of.since(since), before, total, carried }
    }

    fn nothing(since: Day) -> Known {
        Known::new(Steps::default(), since, since, 0.0)
    }

    fn total(&self, number: i32) -> f64 {
        if number >= self.past {
            return self.total;
        }
        grown(&self.steps, self.before, self.since.plus(number.max(0)))
    }
}

fn grown(steps: &Steps, before: f64, through: Day) -> f64 {
    // Adding up and taking away may leave a hair under 0.
    (steps.total(through) - before).max(0.0)
}

/// One tally from `since` to the horizon, day by day, read or expected.
#[derive(Debug, Clone)]
pub(crate) struct Path {
    known: Known,
    unread: Vec<(i32, i32)>,
    law: Option<Law>,
    /// Mean square less one of the factors of months, years, climatology and level.
    excess: [f64; 4],
    horizon: i32,
}

impl Path {
    /// Every day after the last one looked back on is unread, beside the `unread` stretches before. `horizon` is the
    /// last day number.
    pub(crate) fn new(known: Known, mut unread: Vec<(i32, i32)>, law: Option<Law>, horizon: i32) -> Path {
        let past = known.past;
        if horizon > past {
            match unread.last_mut() {
                // A gap that reaches the last day looked back on goes on into the future as one stretch.
                Some(last) if last.1 == past => last.1 = horizon,
                _ => unread.push((past + 1, horizon)),
            }
        }
        let excess = law.map_or([0.0; 4], |l| {
            [l.sigma_month, l.sigma_year, l.sampling_sd, l.level_sd].map(|sigma| (sigma * sigma).exp_m1())
        });
        Path { known, unread, law, excess, horizon }
    }

    /// The last day number.
    pub(crate) fn horizon(&self) -> i32 {
        self.horizon
    }

    /// The last day number looked back on.
    pub(crate) fn past(&self) -> i32 {
        self.known.past
    }

    /// The day of a day number.
    pub(crate) fn day(&self, number: i32) -> Day {
        self.known.since.plus(number)
    }

    /// Stretches of unread days, as first and last day number.
    pub(super) fn unread(&self) -> &[(i32, i32)] {
        &self.unread
    }

    /// The law of the unread days.
    pub(crate) fn law(&self) -> Option<&Law> {
        self.law.as_ref()
    }

    /// Exposure read up to a day number, with what was left at the last service.
    pub(crate) fn known(&self, number: i32) -> f64 {
        self.known.carried + self.known.total(number)
    }

    /// V.
    pub(crate) fn variance(&self, sums: &Sums) -> f64 {
        let Some(law) = &self.law else { return 0.0 };
        // Whole years begun; at least one, so that nothing unread divides by 1.
        let years = ((sums.days + YEAR - 1) / YEAR).max(1);
        let yearly = sums.mean * sums.mean / f64::from(years);
        law.kappa * sums.mean
            + self.excess[0] * sums.months
            + self.excess[1] * yearly
            + self.excess[2] * sums.sampling
            + self.excess[3] * sums.mean * sums.mean
    }

    /// The tally by a day number with these sums.
    pub(crate) fn tally(&self, number: i32, sums: &Sums) -> Uncertain {
        Uncertain { known: self.known.total(number), mean: sums.mean, variance: self.variance(sums) }
    }
}
