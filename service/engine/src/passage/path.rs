//! One accumulated amount from the last service to the horizon: what was read, and what is expected on the other
//! days.

use std::sync::Arc;

use crate::calendar::Day;

use super::chance::UncertainAccumulated;
use super::law::Law;
use super::running_total::RunningTotal;
use super::sums::Sums;
use super::waiting::Waiting;

/// Days of a year. A new yearly factor is drawn after each.
const YEAR: i32 = 365;

/// The read part of one accumulated amount.
#[derive(Debug, Clone)]
pub(crate) struct Known {
    running: RunningTotal,
    since: Day,
    past: i32,
    /// The running total at `since`, and what was added from then to today.
    before: f64,
    total: f64,
    /// What the last service left, in the unit of the accumulated amount. It is no part of the passage.
    carried: f64,
}

impl Known {
    /// The readings after `since`, up to `as_of`.
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
    // Rounding may leave slightly less than 0.
    (running.total(through) - before).max(0.0)
}

/// One accumulated amount from `since` to the horizon, day by day, read or expected.
#[derive(Debug, Clone)]
pub(crate) struct Path {
    known: Known,
    unread: Vec<(i32, i32)>,
    law: Option<Law>,
    /// Mean square less 1 of the factors of months, years, climatology and level.
    excess: [f64; 4],
    horizon: i32,
    waiting: Option<Arc<Waiting>>,
}

impl Path {
    /// `known` ends today. Every later day is unread, as are the `unread` stretches before. `horizon` is the last day
    /// number.
    pub(crate) fn new(known: Known, mut unread: Vec<(i32, i32)>, law: Option<Law>, horizon: i32) -> Path {
        let past = known.past;
        if horizon > past {
            match unread.last_mut() {
                // A gap that reaches today continues into the future as one stretch.
                Some(last) if last.1 == past => last.1 = horizon,
                _ => unread.push((past + 1, horizon)),
            }
        }
        let excess = law.map_or([0.0; 4], |l| {
            [l.sigma_month, l.sigma_year, l.sampling_sd, l.level_sd].map(|sigma| (sigma * sigma).exp_m1())
        });
        Path { known, unread, law, excess, horizon, waiting: None }
    }

    /// The same path with something that waits for runoff after the last reading.
    pub(crate) fn with_waiting(self, waiting: Option<Arc<Waiting>>) -> Path {
        Path { waiting, ..self }
    }

    /// What waits for runoff, and the day number of the last reading.
    pub(super) fn waiting(&self) -> Option<(&Waiting, i32)> {
        self.waiting.as_deref().map(|waiting| (waiting, waiting.day.since(self.known.since)))
    }

    /// The last day number.
    pub(crate) fn horizon(&self) -> i32 {
        self.horizon
    }

    /// The day number of today.
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

    /// Exposure read up to a day number, with what the last service left.
    pub(crate) fn known(&self, number: i32) -> f64 {
        self.known.carried + self.known.total(number)
    }

    /// V of [`crate::passage`].
    pub(crate) fn variance(&self, sums: &Sums) -> f64 {
        let Some(law) = &self.law else { return 0.0 };
        // Years begun, at least 1, so that no unread day does not divide by 0.
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
