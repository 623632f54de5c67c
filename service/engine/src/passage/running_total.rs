//! An accumulated amount as it grew over the readings.

use std::sync::Arc;

use crate::calendar::Day;

/// An accumulated amount as it grew over the readings.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct RunningTotal {
    days: GrowthDays,
    /// What it was on each of the days, from the first reading on.
    totals: Arc<Vec<f64>>,
}

/// The days on which an accumulated amount grew.
#[derive(Debug, Clone, PartialEq)]
enum GrowthDays {
    /// These, in order.
    Some(Arc<Vec<i32>>),
    /// Every day from one on.
    From(i32),
}

impl Default for GrowthDays {
    fn default() -> GrowthDays {
        GrowthDays::From(0)
    }
}

impl RunningTotal {
    /// Totals that are known already, on these days in order.
    pub(crate) fn of_totals(days: Arc<Vec<i32>>, totals: Arc<Vec<f64>>) -> RunningTotal {
        RunningTotal { days: GrowthDays::Some(days), totals }
    }

    /// What was added on each of these days, in order.
    pub(crate) fn on_days(days: Arc<Vec<i32>>, mut amounts: Vec<f64>) -> RunningTotal {
        add_up(&mut amounts);
        RunningTotal { days: GrowthDays::Some(days), totals: Arc::new(amounts) }
    }

    /// What was added on every day from one on.
    pub(crate) fn daily_from(first: Day, mut amounts: Vec<f64>) -> RunningTotal {
        add_up(&mut amounts);
        RunningTotal { days: GrowthDays::From(first.0), totals: Arc::new(amounts) }
    }

    /// What all days together brought.
    pub(crate) fn whole(&self) -> f64 {
        self.totals.last().copied().unwrap_or(0.0)
    }

    /// What each part of the days brought, given how many of them there are by the end of each.
    pub(crate) fn between(&self, ends: impl Iterator<Item = usize>) -> impl Iterator<Item = f64> {
        let mut before = 0.0;
        ends.map(move |end| {
            let total = end.checked_sub(1).map_or(0.0, |last| self.totals[last]);
            total - std::mem::replace(&mut before, total)
        })
    }

    /// The total up to and with a day.
    pub(crate) fn total(&self, day: Day) -> f64 {
        let passed = match &self.days {
            GrowthDays::Some(days) => days.partition_point(|d| *d <= day.0),
            GrowthDays::From(first) => (day.since(Day(*first)) + 1).max(0) as usize,
        };
        let last = passed.min(self.totals.len()).checked_sub(1);
        last.map_or(0.0, |last| self.totals[last])
    }
}

/// Turns amounts into totals.
///
/// Four at a time, so that the sum of one does not wait for that of the three before it.
fn add_up(amounts: &mut [f64]) {
    let mut total = 0.0;
    let mut chunks = amounts.chunks_exact_mut(4);
    for four in &mut chunks {
        let [a, b, c, d] = [four[0], four[1], four[2], four[3]];
        let two = a + b;
        let three = two + c;
        four.copy_from_slice(&[total + a, total + two, total + three, total + (two + (c + d))]);
        total = four[3];
    }
    for x in chunks.into_remainder() {
        total += *x;
        *x = total;
    }
}
