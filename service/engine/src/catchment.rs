//! What runs off one kind of roof under one gauge, day by day.
//!
//! Question answered: on which days did anything run off, how many mm, and what solids went with it?
//!
//! `runoff = coefficient x max(0, store + rain - loss)` in mm over the plan area ([`crate::runoff`]; equation and check
//! against EPA SWMM there); solids in g per m2 of roof by exponential build-up and wash-off ([`crate::washoff`]).
//! Ranges: those of [`Roof`]. After days that nobody read the roof counts as dry and a fifth of the most solids lie on it
//! (judgement: about what lies there between two rains).
//!
//! Roofs of one wetting loss and coefficient under one gauge share their days with runoff, whatever their size: how much
//! ran off, how long nothing had, what lay on the roof and how much of it was washed off. They are worked out once; a new
//! reading adds to them ([`Catchment::extend`]), with the same bits as working out everything anew.
//!
//! Known failures: a day's rain in one short burst, snow, two storms in one day of the gauge; after a long gap the first
//! event washes off what is only guessed.
//! Invariants: nothing runs off on a day without rain; more rain on a day never lessens the runoff of any day; what was
//! washed off was lying there; working on after a new reading equals working out everything anew.

use std::sync::Arc;

use crate::calendar::Day;
use crate::error::EngineError;
use crate::first_flush::{WASH_OFF_PER_MM, washed_share};
use crate::gauge::{BLOCK_DAYS, Gauge};
use crate::rain::RainRecord;
use crate::runoff::WettingStore;
use crate::site::Roof;
use crate::special::{LANES, exp_each};
use crate::washoff::{BUILD_UP_PER_DAY, MOST_G_M2};

/// Solids on a roof after days that nobody read, as a share of the limit: about what lies there between two rains.
/// Judgement.
const SOLIDS_AFTER_GAP: f64 = 0.2;

/// Roofs of one kind under one gauge.
#[derive(Debug, Clone, PartialEq)]
pub struct Catchment {
    wetting_loss_mm: f64,
    coefficient: f64,
    own: Events,
    modelled: Option<Events>,
}

/// Days with runoff in a record, in order.
///
/// Meters keep the days and the runoff that they count: these are shared, and copied when a reading comes while they are
/// still in use.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Events {
    /// The day.
    pub day: Arc<Vec<i32>>,
    /// Runoff in mm up to and with the day, coefficient taken off.
    pub total: Arc<Vec<f64>>,
    /// Runoff in mm, coefficient taken off.
    pub mm: Vec<f64>,
    /// Solids lying on the roof before the rain, g/m2.
    pub lying: Vec<f64>,
    /// Solids washed off, g/m2.
    pub washed: Vec<f64>,
    /// The calendar months that have any.
    pub months: Vec<Run>,
    /// Where readings begin anew: the number of the first event after a gap and the day before the readings, on which
    /// nobody knows what lay on the roof.
    pub starts: Vec<(usize, i32)>,
    /// How many events there are by the end of each whole block of 30 days from the first reading on.
    pub blocks: Vec<usize>,
    /// Sum of the squares of the runoff, mm2.
    pub squares: f64,
    /// Sum and sum of squares of the days waited for each.
    waits: (f64, f64),
    store: WettingStore,
    on_roof: f64,
    since: i32,
    after_gap: bool,
    /// Days of the record gone through.
    passed: usize,
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
    /// How many events there are by the end of it.
    pub end: usize,
}

impl Events {
    fn new(wetting_loss_mm: f64) -> Result<Events, EngineError> {
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

    /// Goes on over the days of a record that it has not gone through yet.
    fn extend(&mut self, record: &RainRecord, coefficient: f64) {
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

    /// Days, runoff and months of the events that the new days bring.
    fn run_off(&mut self, first: Day, mm: &[f64], coefficient: f64) {
        let days = Arc::make_mut(&mut self.day);
        let mut count = days.len();
        // Every day is written where the next event goes and stays there if it is one: no branch on the weather.
        let most = count + mm.len() - self.passed;
        // No more room than that: many catchments are kept, and each grows by a day at a time.
        days.reserve_exact(most - count);
        self.mm.reserve_exact(most - count);
        days.resize(most, 0);
        self.mm.resize(most, 0.0);
        // Kept here and not in memory, from day to day.
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
                    // Readings that bring no event before the next gap say nothing.
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

    /// What lay on the roof and what was washed off it, for the events from `from` on.
    fn wash(&mut self, from: usize) {
        const SPELLS: usize = 32;
        let kept = 1.0 - washed_share(BUILD_UP_PER_DAY, 1.0);
        let mut missing = [1.0; SPELLS];
        for dry in 1..SPELLS {
            missing[dry] = missing[dry - 1] * kept;
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
                // On dry days what is missing to the most shrinks by a constant share.
                let dry = wait as usize - 1;
                let missing = missing.get(dry).copied().unwrap_or_else(|| kept.powi(dry as i32));
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

    /// Gives back the room that was taken for days without an event.
    fn trim(&mut self) {
        Arc::make_mut(&mut self.day).shrink_to_fit();
        self.mm.shrink_to_fit();
    }

    /// How many there are.
    pub(crate) fn len(&self) -> usize {
        self.day.len()
    }

    /// Mean square over mean of the runoff, mm: the amount that a typical mm belongs to.
    pub(crate) fn lump(&self) -> f64 {
        self.total.last().map_or(0.0, |total| self.squares / total)
    }

    /// Days that the last runoff lies back on a day taken at random.
    pub(crate) fn days_back(&self) -> f64 {
        if self.waits.0 > 0.0 { self.waits.1 / self.waits.0 / 2.0 } else { 0.0 }
    }
}

impl Catchment {
    /// The days with runoff off roofs of this one's kind. The area does not matter, nor the trees.
    pub fn new(gauge: &Gauge, roof: &Roof) -> Result<Catchment, EngineError> {
        roof.check()?;
        let mut own = Events::new(roof.wetting_loss_mm)?;
        own.extend(gauge.record(), roof.coefficient);
        own.trim();
        let modelled = Catchment::modelled(gauge, roof.wetting_loss_mm, roof.coefficient)?;
        let (wetting_loss_mm, coefficient) = (roof.wetting_loss_mm, roof.coefficient);
        Ok(Catchment { wetting_loss_mm, coefficient, own, modelled })
    }

    fn modelled(gauge: &Gauge, loss_mm: f64, coefficient: f64) -> Result<Option<Events>, EngineError> {
        let Some(record) = gauge.modelled_years() else { return Ok(None) };
        let mut events = Events::new(loss_mm)?;
        events.extend(&record, coefficient);
        events.trim();
        Ok(Some(events))
    }

    /// Takes in what was pushed to the gauge since. It must be the same gauge.
    pub fn extend(&mut self, gauge: &Gauge) -> Result<(), EngineError> {
        if self.own.passed < gauge.record().dense().len() {
            self.own.extend(gauge.record(), self.coefficient);
            self.modelled = Catchment::modelled(gauge, self.wetting_loss_mm, self.coefficient)?;
        }
        Ok(())
    }

    /// Whether a roof is of this kind.
    pub fn suits(&self, roof: &Roof) -> bool {
        self.wetting_loss_mm == roof.wetting_loss_mm && self.coefficient == roof.coefficient
    }

    /// Runoff in mm after one day and up to and with another, on the days that were read.
    pub fn runoff_mm(&self, since: Day, through: Day) -> f64 {
        let by = |day: Day| {
            let passed = self.own.day.partition_point(|event| *event <= day.0);
            passed.checked_sub(1).map_or(0.0, |last| self.own.total[last])
        };
        (by(through) - by(since)).max(0.0)
    }

    /// Days with runoff from a day on, with their mm.
    pub(crate) fn events_from(&self, from: Day) -> impl Iterator<Item = (Day, f64)> {
        let start = self.own.day.partition_point(|day| *day < from.0);
        self.own.day[start..].iter().zip(&self.own.mm[start..]).map(|(day, mm)| (Day(*day), *mm))
    }

    /// About how much memory it holds, in bytes.
    pub fn bytes(&self) -> usize {
        const PER_EVENT: usize = size_of::<i32>() + 4 * size_of::<f64>();
        PER_EVENT * (self.own.day.capacity() + self.modelled.as_ref().map_or(0, |m| m.day.capacity()))
    }

    /// What was read.
    pub(crate) fn own(&self) -> &Events {
        &self.own
    }

    /// What a climate that rests on too few readings would bring.
    pub(crate) fn model(&self) -> Option<&Events> {
        self.modelled.as_ref()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::Canopy;

    fn reading(n: i32) -> Option<f64> {
        match n % 5 {
            _ if n % 190 > 180 || n == 61 || (700..780).contains(&n) => None,
            0 | 3 => Some(f64::from(n % 17) * 0.7),
            1 => Some(0.3),
            _ => Some(0.0),
        }
    }

    fn gauge(days: i32) -> Gauge {
        let first = Day::from_ymd(2015, 11, 25).unwrap();
        let readings = (0..days).filter_map(|n| Some((first.plus(n), reading(n)?)));
        Gauge::new(RainRecord::from_readings(readings), None)
    }

    fn roof() -> Roof {
        Roof {
            plan_area_m2: 80.0,
            coefficient: 0.85,
            wetting_loss_mm: 0.6,
            canopy: Canopy::None,
            canopy_share: 0.0,
        }
    }

    #[test]
    fn a_catchment_that_grew_equals_one_that_was_made_at_once() {
        let whole = Catchment::new(&gauge(1400), &roof()).unwrap();
        for start in [1, 29, 30, 31, 181, 366, 690, 705, 1399] {
            let mut gauge = gauge(start);
            let mut grown = Catchment::new(&gauge, &roof()).unwrap();
            let first = gauge.record().first().unwrap();
            for n in start..1400 {
                if let Some(mm) = reading(n) {
                    gauge.push([(first.plus(n), mm)]);
                    grown.extend(&gauge).unwrap();
                }
            }
            assert_eq!(grown.own, whole.own, "from {start} days on");
        }
    }

    /// Against the roof gone through day by day.
    #[test]
    fn events_are_those_of_the_days() {
        let gauge = gauge(1400);
        let events = Catchment::new(&gauge, &roof()).unwrap().own;
        let mut store = WettingStore::new(0.6).unwrap();
        let mut build_up = crate::washoff::BuildUp::clean(crate::washoff::Law::roof());
        let (mut at, mut total, mut gap) = (0, 0.0, true);
        let first = gauge.record().first().unwrap();
        for (n, rain) in (0..).zip(gauge.record().dense()) {
            if n > 0 && (n as usize).is_multiple_of(BLOCK_DAYS) {
                assert_eq!(events.blocks[n as usize / BLOCK_DAYS - 1], at, "day {n}");
            }
            if rain.is_nan() {
                gap = true;
                continue;
            }
            if gap {
                store.dry_out();
                let held = SOLIDS_AFTER_GAP * MOST_G_M2;
                build_up = crate::washoff::BuildUp::holding(crate::washoff::Law::roof(), held).unwrap();
                gap = false;
            }
            let runoff = 0.85 * store.day(*rain);
            if runoff > 0.0 {
                let lying = build_up.held();
                let washed = build_up.wash(runoff);
                total += runoff;
                assert_eq!((events.day[at], events.mm[at]), (first.0 + n, runoff));
                for (ours, slow) in
                    [(events.lying[at], lying), (events.washed[at], washed), (events.total[at], total)]
                {
                    assert!((ours - slow).abs() < 1e-12 * slow.max(1.0), "day {n}: {ours} {slow}");
                }
                at += 1;
            } else {
                build_up.dry_day();
            }
        }
        assert_eq!((at, events.months.last().map(|run| run.end)), (events.len(), Some(events.len())));
    }
}
