//! Events, in order: days with runoff off one kind of roof, with the runoff, the solids on the roof and those
//! washed off.
//!
//! Events grow with the record of a gauge. They are the same bits whether readings came one by one or all at once.
//! [`crate::catchment`] has the equation and the ranges.

use std::sync::Arc;

use crate::calendar::Day;
use crate::error::EngineError;
use crate::first_flush::{WASH_OFF_PER_MM, washed_share};
use crate::gauge::BLOCK_DAYS;
use crate::rain::RainRecord;
use crate::runoff::WettingStore;
use crate::special::{LANES, exp_each};
use crate::washoff::{BUILD_UP_PER_DAY, MOST_G_M2};

/// Solids on a roof after days without a reading, as a share of the most it holds. Judgement: the mean evening of five
/// temperate climates has 0.25 to 0.45.
pub(crate) const SOLIDS_AFTER_GAP: f64 = 0.35;

/// Days with runoff in a record, in order.
///
/// Meters share the lists of days and runoff that they count. A list is copied if a reading comes while a meter
/// uses it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Events {
    /// The day.
    pub day: Arc<Vec<i32>>,
    /// Runoff up to and including the day, mm, after the coefficient.
    pub total: Arc<Vec<f64>>,
    /// Runoff of the day, mm, after the coefficient.
    pub mm: Vec<f64>,
    /// Solids on the roof that the runoff finds, g/m2.
    pub lying: Vec<f64>,
    /// Solids washed off, g/m2.
    pub washed: Vec<f64>,
    /// The calendar months with events.
    pub months: Vec<Run>,
    /// Where readings begin again after a gap: the number of the first event, and the day before the readings.
    /// What was on the roof on that day is unknown.
    pub starts: Vec<(usize, i32)>,
    /// Number of events by the end of each whole block of 30 days from the first reading on.
    pub blocks: Vec<usize>,
    /// Sum of the squares of the runoff, mm2.
    pub squares: f64,
    /// Sum, and sum of squares, of the days waited before each event.
    waits: (f64, f64),
    store: WettingStore,
    on_roof: f64,
    since: i32,
    after_gap: bool,
    /// Days of the record processed so far.
    pub passed: usize,
}

/// Days with runoff of one calendar month.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Run {
    /// Month index.
    pub month0: u8,
    /// The last day of the month before.
    pub before: i32,
    /// The last day of the month.
    pub last: i32,
    /// Number of events by the end of the month.
    pub end: usize,
}

impl Events {
    pub(crate) fn new(wetting_loss_mm: f64) -> Result<Events, EngineError> {
        Ok(Events {
            day: Arc::default(),
            total: Arc::default(),
            mm: Vec::new(),
            lying: Vec::new(),
            washed: Vec::new(),
            months: Vec::new(),
            starts: Vec::new(),
            blocks: Vec::new(),
            squares: 0.0,
            waits: (0.0, 0.0),
            store: WettingStore::new(wetting_loss_mm)?,
            on_roof: 0.0,
            since: 0,
            after_gap: true,
            passed: 0,
        })
    }

    /// Processes the days of a record that were added since the last call.
    pub(crate) fn extend(&mut self, record: &RainRecord, coefficient: f64) {
        let Some(first) = record.first() else { return };
        let mm = record.dense();
        let had = self.mm.len();
        self.run_off(first, mm, coefficient);
        self.passed = mm.len();
        self.wash(had);
        let mut end = self.blocks.last().copied().unwrap_or(0);
        while (self.blocks.len() + 1) * BLOCK_DAYS <= mm.len() {
            let last = first.0 + ((self.blocks.len() + 1) * BLOCK_DAYS) as i32 - 1;
            end += self.day[end..].iter().take_while(|day| **day <= last).count();
            self.blocks.push(end);
        }
    }

    /// Days, runoff and months of the events on the new days.
    fn run_off(&mut self, first: Day, mm: &[f64], coefficient: f64) {
        let days = Arc::make_mut(&mut self.day);
        let mut count = days.len();
        // Every day is written to the place of the next event, and stays there if it is one. This avoids a branch
        // on the weather.
        let most = count + mm.len() - self.passed;
        // Reserves no more than that: many catchments are stored, and each grows by one day at a time.
        days.reserve_exact(most - count);
        self.mm.reserve_exact(most - count);
        days.resize(most, 0);
        self.mm.resize(most, 0.0);
        // Local copies keep these in registers from day to day.
        let (mut store, mut after_gap) = (self.store, self.after_gap);
        let mut passed = self.passed;
        while passed < mm.len() {
            let from = first.plus(passed as i32);
            let (_, month, day_of_month) = from.ymd();
            let last = from.month_end();
            let to = mm.len().min(passed + last.since(from) as usize + 1);
            let before = count;
            for (day, &rain) in (from.0..).zip(&mm[passed..to]) {
                if rain.is_nan() {
                    after_gap = true;
                    continue;
                }
                if after_gap {
                    after_gap = false;
                    store.dry_out();
                    // Readings without an event before the next gap say nothing.
                    self.starts.pop_if(|start| start.0 == count);
                    self.starts.push((count, day - 1));
                }
                let runoff = coefficient * store.day(rain);
                days[count] = day;
                self.mm[count] = runoff;
                count += usize::from(runoff > 0.0);
            }
            if count > before {
                let before = from.0 - day_of_month as i32;
                self.months.pop_if(|run| run.before == before);
                self.months.push(Run { month0: month as u8 - 1, before, last: last.0, end: count });
            }
            passed = to;
        }
        days.truncate(count);
        self.mm.truncate(count);
        (self.store, self.after_gap) = (store, after_gap);
    }

    /// Solids on the roof and solids washed off, for the events from `from` on.
    fn wash(&mut self, from: usize) {
        const SPELLS: usize = 32;
        let kept = 1.0 - washed_share(BUILD_UP_PER_DAY, 1.0);
        let mut missing = [1.0; SPELLS];
        for days in 1..SPELLS {
            missing[days] = missing[days - 1] * kept;
        }
        let totals = Arc::make_mut(&mut self.total);
        let new = self.mm.len() - from;
        totals.reserve_exact(new);
        self.lying.reserve_exact(new);
        self.washed.reserve_exact(new);
        let mut starts = self.starts.partition_point(|start| start.0 < from);
        let mut total = totals.last().copied().unwrap_or(0.0);
        let (mut on_roof, mut since, mut waits) = (self.on_roof, self.since, self.waits);
        let mut next_start = self.starts.get(starts).map_or(usize::MAX, |start| start.0);
        let mut at = from;
        while at < self.mm.len() {
            let several = &self.mm[at..self.mm.len().min(at + LANES)];
            let mut left = [0.0; LANES];
            for (left, mm) in left.iter_mut().zip(several) {
                *left = -WASH_OFF_PER_MM * mm;
            }
            exp_each(&mut left);
            for ((&day, &runoff), left) in self.day[at..].iter().zip(several).zip(left) {
                if at == next_start {
                    since = self.starts[starts].1;
                    on_roof = SOLIDS_AFTER_GAP * MOST_G_M2;
                    starts += 1;
                    next_start = self.starts.get(starts).map_or(usize::MAX, |start| start.0);
                }
                let wait = day - since;
                // Each day, this one too, adds a constant share of what is missing to the most the roof holds.
                let missing = missing.get(wait as usize).copied().unwrap_or_else(|| kept.powi(wait));
                let lying = MOST_G_M2 - (MOST_G_M2 - on_roof) * missing;
                on_roof = lying * left;
                since = day;
                total += runoff;
                totals.push(total);
                self.lying.push(lying);
                self.washed.push(lying - on_roof);
                self.squares += runoff * runoff;
                let wait = f64::from(wait);
                waits = (waits.0 + wait, waits.1 + wait * wait);
                at += 1;
            }
        }
        (self.on_roof, self.since, self.waits) = (on_roof, since, waits);
    }

    /// Frees the memory reserved for days without an event.
    pub(crate) fn trim(&mut self) {
        Arc::make_mut(&mut self.day).shrink_to_fit();
        self.mm.shrink_to_fit();
    }

    /// Number of events.
    pub(crate) fn len(&self) -> usize {
        self.day.len()
    }

    /// Mean square of the runoff over its mean, mm: the size of the event that a typical mm belongs to.
    pub(crate) fn typical_mm(&self) -> f64 {
        self.total.last().map_or(0.0, |total| self.squares / total)
    }

    /// Mean number of days since the last runoff, on a random day.
    pub(crate) fn days_back(&self) -> f64 {
        if self.waits.0 > 0.0 { self.waits.1 / self.waits.0 / 2.0 } else { 0.0 }
    }
}
