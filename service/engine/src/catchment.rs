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

use crate::calendar::Day;
use crate::error::EngineError;
use crate::first_flush::{WASH_OFF_PER_MM, washed_share};
use crate::gauge::Gauge;
use crate::rain::RainRecord;
use crate::runoff::WettingStore;
use crate::site::Roof;
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
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Events {
    /// The day.
    pub day: Vec<i32>,
    /// The last day with runoff before it, or the last one before its stretch of readings began.
    pub before: Vec<i32>,
    /// Whether `before` is the start of a stretch of readings, so that what lay on the roof then is unknown.
    pub unknown_before: Vec<bool>,
    /// Month index.
    pub month0: Vec<u8>,
    /// Day of the month.
    pub day_of_month: Vec<u8>,
    /// Runoff in mm, coefficient taken off.
    pub mm: Vec<f64>,
    /// Solids lying on the roof before the rain, g/m2.
    pub lying: Vec<f64>,
    /// Solids washed off, g/m2.
    pub washed: Vec<f64>,
    /// Sum and sum of squares of the runoff, mm.
    sums: (f64, f64),
    /// Sum and sum of squares of the days waited for each.
    waits: (f64, f64),
    store: WettingStore,
    on_roof: f64,
    since: i32,
    after_gap: bool,
    /// Days of the record gone through.
    passed: usize,
}

impl Events {
    fn new(wetting_loss_mm: f64) -> Result<Events, EngineError> {
        Ok(Events {
            day: Vec::new(),
            before: Vec::new(),
            unknown_before: Vec::new(),
            month0: Vec::new(),
            day_of_month: Vec::new(),
            mm: Vec::new(),
            lying: Vec::new(),
            washed: Vec::new(),
            sums: (0.0, 0.0),
            waits: (0.0, 0.0),
            store: WettingStore::new(wetting_loss_mm)?,
            on_roof: 0.0,
            since: 0,
            after_gap: true,
            passed: 0,
        })
    }

    /// Goes on over the days of a record that it has not gone through yet, month by month.
    fn extend(&mut self, record: &RainRecord, coefficient: f64) {
        let mm = record.dense();
        let Some(first) = record.first() else { return };
        let grown = washed_share(BUILD_UP_PER_DAY, 1.0);
        while self.passed < mm.len() {
            let from = first.plus(self.passed as i32);
            let (_, month, day_of_month) = from.ymd();
            let rest = from.month_end().since(from) as usize + 1;
            let to = (self.passed + rest).min(mm.len());
            for (k, &rain) in mm[self.passed..to].iter().enumerate() {
                let day = from.0 + k as i32;
                if rain.is_nan() {
                    self.after_gap = true;
                    continue;
                }
                if self.after_gap {
                    self.store.dry_out();
                    self.on_roof = SOLIDS_AFTER_GAP * MOST_G_M2;
                    self.since = day - 1;
                }
                let runoff = coefficient * self.store.day(rain);
                if runoff > 0.0 {
                    self.push(day, month as u8 - 1, day_of_month as u8 + k as u8, runoff);
                } else {
                    self.on_roof += (MOST_G_M2 - self.on_roof) * grown;
                    // Readings have begun, but no event yet: what lay there before them stays unknown.
                    self.after_gap = false;
                }
            }
            self.passed = to;
        }
    }

    fn push(&mut self, day: i32, month0: u8, day_of_month: u8, runoff: f64) {
        let washed = self.on_roof * washed_share(WASH_OFF_PER_MM, runoff);
        let wait = f64::from(day - self.since);
        let follows = self.day.last().is_some_and(|last| *last == self.since);
        self.day.push(day);
        self.before.push(self.since);
        self.unknown_before.push(!follows);
        self.month0.push(month0);
        self.day_of_month.push(day_of_month);
        self.mm.push(runoff);
        self.lying.push(self.on_roof);
        self.washed.push(washed);
        self.sums = (self.sums.0 + runoff, self.sums.1 + runoff * runoff);
        self.waits = (self.waits.0 + wait, self.waits.1 + wait * wait);
        self.on_roof -= washed;
        self.since = day;
        self.after_gap = false;
    }

    /// How many there are.
    pub(crate) fn len(&self) -> usize {
        self.day.len()
    }

    /// Mean square over mean of the runoff, mm: the amount that a typical mm belongs to.
    pub(crate) fn lump(&self) -> f64 {
        if self.sums.0 > 0.0 { self.sums.1 / self.sums.0 } else { 0.0 }
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
        let modelled = Catchment::modelled(gauge, roof.wetting_loss_mm, roof.coefficient)?;
        let (wetting_loss_mm, coefficient) = (roof.wetting_loss_mm, roof.coefficient);
        Ok(Catchment { wetting_loss_mm, coefficient, own, modelled })
    }

    fn modelled(gauge: &Gauge, loss_mm: f64, coefficient: f64) -> Result<Option<Events>, EngineError> {
        let Some(record) = gauge.modelled_years() else { return Ok(None) };
        let mut events = Events::new(loss_mm)?;
        events.extend(&record, coefficient);
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
        let from = self.own.day.partition_point(|day| *day <= since.0);
        let to = self.own.day.partition_point(|day| *day <= through.0);
        self.own.mm.get(from..to).map_or(0.0, |mm| mm.iter().sum())
    }

    /// Days with runoff from a day on, with their mm.
    pub(crate) fn events_from(&self, from: Day) -> impl Iterator<Item = (Day, f64)> {
        let start = self.own.day.partition_point(|day| *day < from.0);
        self.own.day[start..].iter().zip(&self.own.mm[start..]).map(|(day, mm)| (Day(*day), *mm))
    }

    /// About how much memory it holds, in bytes.
    pub fn bytes(&self) -> usize {
        const PER_EVENT: usize = 4 + 4 + 1 + 1 + 1 + 3 * 8;
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
