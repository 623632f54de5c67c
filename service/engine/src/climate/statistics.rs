//! Sums over a record by calendar month, from which everything else is fitted.
//!
//! They grow by one day at a time. So a new reading costs one step and does not go over earlier years. The sums of a
//! record are the same bits whether it came at once or day by day.

use crate::calendar::{Day, Walker};
use crate::rain::RainRecord;

/// Rain of a day from which it counts as wet, mm.
pub const WET_MM: f64 = 0.1;

/// Days of a block. Its total is compared with what the months lead one to expect.
const BLOCK_DAYS: u32 = 30;
/// Days of a year in a calendar without leap days.
const YEAR_DAYS: u32 = 365;

/// What a stretch of days brought, and how many of its days are in each month.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Block {
    /// Runoff after the daily loss on the days with a reading.
    pub observed: f64,
    /// Days with a reading, by month.
    pub days: [f64; 12],
}

impl Block {
    /// Days with a reading.
    pub(super) fn known(&self) -> f64 {
        self.days.iter().sum()
    }

    /// What monthly means lead one to expect on the days with a reading.
    pub(super) fn expected(&self, daily: &[f64; 12]) -> f64 {
        self.days.iter().zip(daily).map(|(days, mean)| days * mean).sum()
    }
}

/// Whole stretches of the same length, in order from the first reading on.
#[derive(Debug, Clone, PartialEq)]
struct Blocks {
    length: u32,
    whole: Vec<Block>,
    open: Block,
    open_days: u32,
}

impl Blocks {
    fn of(length: u32) -> Blocks {
        Blocks { length, whole: Vec::new(), open: Block::default(), open_days: 0 }
    }

    fn add(&mut self, runoff: Option<f64>, month0: usize) {
        if let Some(runoff) = runoff {
            self.open.observed += runoff;
            self.open.days[month0] += 1.0;
        }
        self.open_days += 1;
        if self.open_days == self.length {
            self.whole.push(std::mem::take(&mut self.open));
            self.open_days = 0;
        }
    }
}

/// Readings in a calendar of 365 days, summed by month.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Statistics {
    loss_mm: f64,
    /// Days with a reading.
    pub days: [f64; 12],
    /// Rain on those days.
    pub rain: [f64; 12],
    /// Runoff after the daily loss.
    pub runoff: [f64; 12],
    /// Wet days, their rain and its square.
    pub wet: [f64; 12],
    pub wet_mm: [f64; 12],
    pub wet_mm2: [f64; 12],
    /// Days after a dry day, and those of them that were wet.
    pub after_dry: [f64; 12],
    pub wet_after_dry: [f64; 12],
    /// Days after a wet day, and those of them that were wet.
    pub after_wet: [f64; 12],
    pub wet_after_wet: [f64; 12],
    /// Rain of the day before, NaN when it was not read.
    before: f64,
    months: Blocks,
    years: Blocks,
}

impl Statistics {
    fn new(loss_mm: f64) -> Statistics {
        let zero = [0.0; 12];
        Statistics {
            loss_mm,
            days: zero,
            rain: zero,
            runoff: zero,
            wet: zero,
            wet_mm: zero,
            wet_mm2: zero,
            after_dry: zero,
            wet_after_dry: zero,
            after_wet: zero,
            wet_after_wet: zero,
            // The first reading counts as following a dry day. After a gap no such guess is made.
            before: 0.0,
            months: Blocks::of(BLOCK_DAYS),
            years: Blocks::of(YEAR_DAYS),
        }
    }

    /// Adds the next day of the calendar, NaN without a reading.
    fn add(&mut self, day: FoldedDay) {
        let (p, m) = (day.mm, day.month0);
        let before = std::mem::replace(&mut self.before, p);
        if p.is_nan() {
            self.months.add(None, m);
            self.years.add(None, m);
            return;
        }
        let wet = f64::from(u8::from(p >= WET_MM));
        let runoff = (p - self.loss_mm).max(0.0);
        self.days[m] += 1.0;
        self.rain[m] += p;
        self.runoff[m] += runoff;
        self.wet[m] += wet;
        self.wet_mm[m] += wet * p;
        self.wet_mm2[m] += wet * p * p;
        if before >= WET_MM {
            self.after_wet[m] += 1.0;
            self.wet_after_wet[m] += wet;
        } else if !before.is_nan() {
            self.after_dry[m] += 1.0;
            self.wet_after_dry[m] += wet;
        }
        self.months.add(Some(runoff), m);
        self.years.add(Some(runoff), m);
    }

    /// Days with a reading.
    pub(super) fn known(&self) -> f64 {
        self.days.iter().sum()
    }

    /// Whole stretches of 30 days.
    pub(super) fn blocks(&self) -> &[Block] {
        &self.months.whole
    }

    /// Whole stretches of 365 days.
    pub(super) fn years(&self) -> &[Block] {
        &self.years.whole
    }
}

/// A day of the calendar without leap days.
#[derive(Debug, Clone, Copy, PartialEq)]
struct FoldedDay {
    mm: f64,
    month0: usize,
}

/// Statistics that can grow with a record.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct GrowingStatistics {
    statistics: Statistics,
    /// The last day so far. It is not in the statistics yet, because a leap day may still be added to it.
    last: Option<FoldedDay>,
}

impl GrowingStatistics {
    /// Without readings. `loss_mm` is taken off each day's rain for its runoff.
    pub(crate) fn new(loss_mm: f64) -> GrowingStatistics {
        GrowingStatistics { statistics: Statistics::new(loss_mm), last: None }
    }

    /// All readings of a record.
    pub(crate) fn of(record: &RainRecord, loss_mm: f64) -> GrowingStatistics {
        let mut statistics = GrowingStatistics::new(loss_mm);
        if let Some(first) = record.first() {
            statistics.extend(first, record.dense());
        }
        statistics
    }

    /// Adds consecutive days from `first` on, NaN where there is no reading. They must follow the days added before.
    pub(crate) fn extend(&mut self, first: Day, mm: &[f64]) {
        let mut walker = Walker::at(first);
        for &p in mm {
            self.push(p, walker.month0(), walker.is_leap_day());
            walker.step();
        }
    }

    /// Adds a leap day to the day before it when both were read.
    fn push(&mut self, mm: f64, month0: usize, is_leap_day: bool) {
        match &mut self.last {
            Some(last) if is_leap_day => {
                if !mm.is_nan() {
                    last.mm += mm;
                }
            }
            _ if is_leap_day => {}
            last => {
                if let Some(day) = last.replace(FoldedDay { mm, month0 }) {
                    self.statistics.add(day);
                }
            }
        }
    }

    /// The sums including the last day.
    pub(super) fn so_far(&self) -> Statistics {
        let mut statistics = self.statistics.clone();
        if let Some(last) = self.last {
            statistics.add(last);
        }
        statistics
    }
}
