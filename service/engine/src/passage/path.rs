//! One accumulated amount from the last service to the horizon: what was read of it, and what is expected of the other days.

use crate::calendar::Day;

use super::chance::UncertainAccumulated;
use super::law::Law;
use super::running_total::RunningTotal;
use super::sums::Sums;

/// Days of a year, after which a new yearly factor is drawn.
const YEAR: i32 = 365;

/// The read part of one accumulated amount.
#[derive(Debug, Clone)]
pub(crate) struct Known {
    running: RunningTotal,
    since: Day,
    past: i32,
    /// Total at `since`, and by the last day looked back on.
    before: f64,
    total: f64,
    /// What was left behind at the last service, in the unit of the accumulated amount; no part of the passage.
    carried: f64,
}

impl Known {
    /// What the readings say after `since`, up to `as_of`.
    pub(crate) fn new(running: RunningTotal, since: Day, as_of: Day, carried: f64) -> Known {
        let before = running.total(since);
        let total = grown(&running, before, as_of);
        Known { running, since, past: as_of.since(since), before, total, carried }
    }

    pub(super) fn nothing(since: Day) -> Known {
        Known::new(RunningTotal::default(), since, since, 0.0)
    }

    fn total(&self, number: i32) -> f64 {
        if number >= self.past {
            return self.total;
        }
        grown(&self.running, self.before, self.since.plus(number.max(0)))
    }
}

fn grown(running: &RunningTotal, before: f64, through: Day) -> f64 {
    // Adding up and taking away may leave a hair under 0.
    (running.total(through) - before).max(0.0)
}

/// One accumulated amount from `since` to the horizon, day by day, read or expected.
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

    /// The accumulated amount by a day number with these sums.
    pub(crate) fn accumulated(&self, number: i32, sums: &Sums) -> UncertainAccumulated {
        UncertainAccumulated {
            known: self.known.total(number),
            mean: sums.mean,
            variance: self.variance(sums),
        }
    }
}
