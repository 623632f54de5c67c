//! An accumulated amount over the days of the readings.

use std::sync::Arc;

use crate::calendar::Day;

/// An accumulated amount over the days of the readings.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct RunningTotal {
    days: GrowthDays,
    /// The total on each of the days, from the first reading on.
    totals: Arc<Vec<f64>>,
}

/// The days on which an accumulated amount grew.
#[derive(Debug, Clone, PartialEq)]
enum GrowthDays {
    /// These days, in order.
    Some(Arc<Vec<i32>>),
    /// Every day from this one on.
    From(i32),
}

impl Default for GrowthDays {
    fn default() -> GrowthDays {
        GrowthDays::From(0)
    }
}

impl RunningTotal {
    /// From totals that are already known, on these days in order.
    pub(crate) fn of_totals(days: Arc<Vec<i32>>, totals: Arc<Vec<f64>>) -> RunningTotal {
        RunningTotal { days: GrowthDays::Some(days), totals }
    }

    /// From the amounts of each of these days, in order.
    pub(crate) fn on_days(days: Arc<Vec<i32>>, mut amounts: Vec<f64>) -> RunningTotal {
        add_up(&mut amounts);
        RunningTotal { days: GrowthDays::Some(days), totals: Arc::new(amounts) }
    }

    /// From the amounts of every day from `first` on.
    pub(crate) fn daily_from(first: Day, mut amounts: Vec<f64>) -> RunningTotal {
        add_up(&mut amounts);
        RunningTotal { days: GrowthDays::From(first.0), totals: Arc::new(amounts) }
    }

    /// The total over all days.
    pub(crate) fn whole(&self) -> f64 {
        self.totals.last().copied().unwrap_or(0.0)
    }

    /// The total of each part of the days. `ends` gives the number of days by the end of each part.
    pub(crate) fn between(&self, ends: impl Iterator<Item = usize>) -> impl Iterator<Item = f64> {
        let mut before = 0.0;
        ends.map(move |end| {
            let total = end.checked_sub(1).map_or(0.0, |last| self.totals[last]);
            total - std::mem::replace(&mut before, total)
        })
    }

    /// The total up to and including a day.
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
/// Adds four at a time, so that the sum of one does not wait for the three before it.
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
