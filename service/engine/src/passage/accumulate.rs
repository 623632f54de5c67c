//! Adding up the unread days.

use std::sync::Arc;

use crate::calendar::{Day, month_length};
use crate::climate::smooth;
use crate::error::EngineError;
use crate::exposure::Steps;
use crate::mark::Mark;

use super::chance::chance_reached;
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
}

impl Law {
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
        let sums = path.sums(days.max(0));
        (sums.mean, path.variance(&sums))
    }
}

/// Sums of the expectation over unread days, kept so that the next stretch can be added.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Sums {
    /// M.
    pub mean: f64,
    by_month: [f64; 12],
    closed_months: f64,
    open_month: f64,
    month_id: i64,
    days: i32,
}

impl Sums {
    /// Adds the days `from..=to`, all unread.
    fn add(&mut self, daily: &[f64; 12], from: Day, to: Day) {
        let (mut y, mut m, d) = from.ymd();
        let mut left = to.since(from) + 1;
        let mut in_month = (month_length(y, m) - d) as i32 + 1;
        while left > 0 {
            let days = in_month.min(left);
            let id = i64::from(y) * 12 + i64::from(m);
            if id != self.month_id {
                self.closed_months += self.open_month * self.open_month;
                self.open_month = 0.0;
                self.month_id = id;
            }
            let month = m as usize - 1;
            let amount = daily[month] * f64::from(days);
            self.mean += amount;
            self.by_month[month] += amount;
            self.open_month += amount;
            self.days += days;
            left -= days;
            (y, m) = if m == 12 { (y + 1, 1) } else { (y, m + 1) };
            in_month = month_length(y, m) as i32;
        }
    }
}

/// Days of a year, after which a new yearly factor is drawn; also the spacing of the stored sums.
const YEAR: i32 = 365;

/// The read part of one tally.
#[derive(Debug, Clone)]
pub(crate) struct Known {
    steps: Arc<Steps>,
    since: Day,
    past: i32,
    /// Total at `since`.
    before: f64,
    /// What was left behind at the last service, in the unit of the tally; no part of the passage.
    carried: f64,
}

impl Known {
    /// What the steps say after `since`, up to `as_of`.
    pub(crate) fn new(steps: Arc<Steps>, since: Day, as_of: Day, carried: f64) -> Known {
        let before = steps.total(since);
        Known { steps, since, past: as_of.since(since), before, carried }
    }

    fn nothing(since: Day) -> Known {
        Known::new(Arc::default(), since, since, 0.0)
    }

    fn total(&self, number: i32) -> f64 {
        // Adding up and taking away may leave a hair under 0.
        (self.steps.total(self.since.plus(number.clamp(0, self.past))) - self.before).max(0.0)
    }
}

/// One tally from `since` to the horizon, day by day, read or expected.
#[derive(Debug, Clone)]
pub(crate) struct Path {
    known: Known,
    unread: Vec<(i32, i32)>,
    law: Option<Law>,
    excess: [f64; 3],
    anniversaries: Vec<Sums>,
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
        let excess = law.map_or([0.0; 3], |l| {
            [l.sigma_month, l.sigma_year, l.sampling_sd].map(|sigma| (sigma * sigma).exp_m1())
        });
        let mut path = Path { known, unread, law, excess, anniversaries: Vec::new(), horizon };
        if law.is_some() {
            let mut sums = Sums::default();
            for k in 0..=(horizon - 1).max(0) / YEAR {
                path.anniversaries.push(sums);
                path.extend(&mut sums, k * YEAR + 1, (k + 1) * YEAR);
            }
        }
        path
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

    /// The law of the unread days.
    pub(crate) fn law(&self) -> Option<&Law> {
        self.law.as_ref()
    }

    /// Exposure read up to a day number, with what was left at the last service.
    pub(crate) fn known(&self, number: i32) -> f64 {
        self.known.carried + self.known.total(number)
    }

    /// Sums of the unread days up to and with a day number.
    pub(crate) fn sums(&self, number: i32) -> Sums {
        if number < 1 || self.law.is_none() {
            return Sums::default();
        }
        let k = ((number - 1) / YEAR).min(self.anniversaries.len() as i32 - 1);
        let mut sums = self.anniversaries[k as usize];
        self.extend(&mut sums, k * YEAR + 1, number);
        sums
    }

    fn extend(&self, sums: &mut Sums, from: i32, to: i32) {
        let Some(law) = &self.law else { return };
        let start = self.unread.partition_point(|stretch| stretch.1 < from);
        for &(low, high) in &self.unread[start..] {
            if low > to {
                break;
            }
            sums.add(&law.daily, self.day(low.max(from)), self.day(high.min(to)));
        }
    }

    /// V.
    pub(crate) fn variance(&self, sums: &Sums) -> f64 {
        let Some(law) = &self.law else { return 0.0 };
        let months = sums.closed_months + sums.open_month * sums.open_month;
        // Whole years begun; at least one, so that nothing unread divides by 1.
        let years = ((sums.days + YEAR - 1) / YEAR).max(1);
        let yearly = sums.mean * sums.mean / f64::from(years);
        let sampling: f64 = smooth(&sums.by_month).iter().map(|x| x * x).sum();
        law.kappa * sums.mean + self.excess[0] * months + self.excess[1] * yearly + self.excess[2] * sampling
    }

    /// Chance that the mark is reached by a day number, before dips are ironed out.
    pub(crate) fn raw_chance(&self, number: i32, mark: Mark) -> Result<f64, EngineError> {
        let sums = self.sums(number);
        chance_reached(self.known.total(number), sums.mean, self.variance(&sums), mark)
    }
}
