//! What runs off one kind of roof under one gauge, day by day.
//!
//! Question answered: on which days was there runoff, how many mm, and how many solids did it wash off?
//!
//! `runoff = coefficient x max(0, store + rain - loss)` in mm over the plan area. [`crate::runoff`] has the
//! equation and its check against EPA SWMM. Solids are in g per m2 of roof, by exponential build-up and wash-off
//! ([`crate::washoff`]). Ranges are those of [`Roof`]. After days without a reading the roof counts as dry and
//! holds 0.35 of the most solids (judgement).
//!
//! All roofs with one wetting loss and coefficient under one gauge share their events, whatever their area. An event is
//! a day with runoff: how much ran off, after how many days, what was on the roof, and what was washed off. Events are
//! computed once. [`Catchment::extend`] adds a new reading and gives the same bits as computing everything again.
//!
//! Known failures: A day's rain in one short burst, snow, and two storms within one day of the gauge. After a long
//! gap the first event washes off a guessed amount.
//! Invariants: A day without rain has no runoff. More rain on a day never lowers the runoff of any day. No more is
//! washed off than was on the roof. Adding a reading equals computing everything again.

use crate::calendar::Day;
use crate::error::EngineError;
use crate::events::Events;
use crate::gauge::Gauge;
use crate::site::Roof;

/// Roofs of one kind under one gauge.
#[derive(Debug, Clone, PartialEq)]
pub struct Catchment {
    wetting_loss_mm: f64,
    coefficient: f64,
    own: Events,
    modelled: Option<Events>,
}

impl Catchment {
    /// The days with runoff off roofs of this kind. Area and trees do not matter.
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

    /// Adds the readings that were pushed to the gauge since. It must be the same gauge.
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

    /// Runoff in mm on the read days after `since`, up to and including `through`.
    pub fn runoff_mm(&self, since: Day, through: Day) -> f64 {
        let by = |day: Day| {
            let passed = self.own.day.partition_point(|event| *event <= day.0);
            passed.checked_sub(1).map_or(0.0, |last| self.own.total[last])
        };
        (by(through) - by(since)).max(0.0)
    }

    /// Days with runoff from a day on, with their runoff in mm.
    pub(crate) fn events_from(&self, from: Day) -> impl Iterator<Item = (Day, f64)> {
        let start = self.own.day.partition_point(|day| *day < from.0);
        self.own.day[start..].iter().zip(&self.own.mm[start..]).map(|(day, mm)| (Day(*day), *mm))
    }

    /// About how much memory it holds, in bytes.
    pub fn bytes(&self) -> usize {
        const PER_EVENT: usize = size_of::<i32>() + 4 * size_of::<f64>();
        PER_EVENT * (self.own.day.capacity() + self.modelled.as_ref().map_or(0, |m| m.day.capacity()))
    }

    /// Events of the days that were read.
    pub(crate) fn own(&self) -> &Events {
        &self.own
    }

    /// Events of generated years, when the climate rests on too few readings.
    pub(crate) fn model(&self) -> Option<&Events> {
        self.modelled.as_ref()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::events::SOLIDS_AFTER_GAP;
    use crate::gauge::BLOCK_DAYS;
    use crate::rain::RainRecord;
    use crate::runoff::WettingStore;
    use crate::washoff::MOST_G_M2;

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
        Roof { wetting_loss_mm: 0.6, ..Roof::new(80.0, 0.85) }
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

    /// Compared with the roof computed day by day.
    #[test]
    fn events_are_those_of_the_days() {
        let gauge = gauge(1400);
        let events = Catchment::new(&gauge, &roof()).unwrap().own;
        let mut store = WettingStore::new(0.6).unwrap();
        let mut build_up = crate::washoff::BuildUp::clean(crate::washoff::WashoffLaw::roof());
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
                build_up =
                    crate::washoff::BuildUp::holding(crate::washoff::WashoffLaw::roof(), held).unwrap();
                gap = false;
            }
            let runoff = 0.85 * store.day(*rain);
            build_up.lay();
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
            }
        }
        assert_eq!((at, events.months.last().map(|run| run.end)), (events.len(), Some(events.len())));
    }
}
