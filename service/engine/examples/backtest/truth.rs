//! The day on which an exposure, counted on the whole record, reached its limit.
//!
//! A record of rain does not show how leaf fall varies by month and by year, but the engine's windows allow for it.
//! So the true day of leaves is found several times, each time with other leaf fall after the origin: the engine's own
//! log-sds, as log-normal factors with mean 1 for every month and every calendar year. Leaves up to the origin count
//! as the engine counts them. The factors follow from the number of the draw, the year and the month alone, so one draw
//! is one world for all origins of all records.

use eavesward_engine::{Catchment, Day, Gauge, Meter, Setting};

use super::duty::Part;
use super::score;

/// Worlds of leaf fall.
pub const DRAWS: u64 = 24;

/// Why an origin is left out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LeftOut {
    /// The record ends before the limit is reached.
    Open,
    /// A day without a reading comes before it.
    Gap,
    /// Too few of the days before the origin have a reading.
    Thin,
    /// The limit was reached before the origin.
    Due,
}

/// What is known of the roof on a day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DrySpell {
    /// The day of the last runoff.
    pub since: Day,
    /// What waits for the next runoff, in the unit of the limit.
    pub pile: f64,
}

/// A part, counted on the whole record.
#[derive(Debug)]
pub struct Truth<'a> {
    part: &'a Part,
    gauge: &'a Gauge,
    meter: Meter<'a>,
    first: Day,
    last: Day,
    /// Days with runoff.
    runoff: Vec<Day>,
    /// What fell from the first day on, through each day: as expected, and in each world. Empty without leaves.
    fallen: Vec<f64>,
    worlds: Vec<Vec<f64>>,
}

impl<'a> Truth<'a> {
    /// Counts the part on the whole record. The catchment must belong to the gauge.
    pub fn new(part: &'a Part, gauge: &'a Gauge, catchment: &'a Catchment) -> Result<Truth<'a>, String> {
        let (first, last) = gauge.record().first().zip(gauge.record().last()).ok_or("no reading")?;
        let Part { site, roof, exposure, .. } = part;
        let meter = Meter::new(&Setting { site, roof, gauge, catchment, exposure: *exposure })
            .map_err(|e| e.to_string())?;
        let days = || (first.0..=last.0).map(Day);
        let runoff = days().filter(|day| catchment.runoff_mm(day.plus(-1), *day) > 0.0).collect();
        let mut truth =
            Truth { part, gauge, meter, first, last, runoff, fallen: Vec::new(), worlds: Vec::new() };
        if part.duty.gathers_leaves() {
            let law = truth.meter.law().ok_or("the record has no rain to expect any from")?;
            let spread = (law.sigma_month, law.sigma_year);
            let sum = |factor: &dyn Fn(Day) -> f64| -> Vec<f64> {
                let mut sum = 0.0;
                let through = |day: Day| {
                    sum += part.fall_of_day(day.month0()) * factor(day);
                    sum
                };
                days().map(through).collect()
            };
            truth.fallen = sum(&|_| 1.0);
            truth.worlds = (0..DRAWS).map(|draw| sum(&|day| leaf_factor(draw, day, spread))).collect();
        }
        Ok(truth)
    }

    /// Log-sd of leaf fall by month and by year.
    pub fn leaf_spread(&self) -> Option<(f64, f64)> {
        self.meter.law().map(|law| (law.sigma_month, law.sigma_year))
    }

    /// The last runoff up to a day, and what waits since then. `None` before the first runoff, and when a day since
    /// then has no reading.
    pub fn dry_spell(&self, today: Day) -> Option<DrySpell> {
        let passed = self.runoff.partition_point(|day| *day <= today);
        let since = *self.runoff.get(passed.checked_sub(1)?)?;
        if !self.is_read(since, today) {
            return None;
        }
        let pile = if self.fallen.is_empty() { 0.0 } else { between(&self.fallen, self.first, since, today) };
        Some(DrySpell { since, pile })
    }

    /// The days from `today` to the day on which the limit was reached, after a service on `since`. One number, or one
    /// for each world of leaf fall. An origin is left out when one of its worlds is.
    pub fn days(&self, since: Day, today: Day) -> Result<Vec<i32>, LeftOut> {
        if self.accumulated(since, today) >= self.part.limit {
            return Err(LeftOut::Due);
        }
        let came = if self.fallen.is_empty() {
            vec![self.came(since, today)]
        } else {
            self.leaves_came(since, today)
        };
        let dated = came.into_iter().map(|day| match day {
            Some(day) if self.is_read(since, day) => Ok(day.since(today)),
            None if self.is_read(since, self.last) => Err(LeftOut::Open),
            _ => Err(LeftOut::Gap),
        });
        dated.collect()
    }

    fn accumulated(&self, since: Day, through: Day) -> f64 {
        // Out of range only when it is asked for days before `since`.
        self.meter.accumulated(since, through).map_or(0.0, |accumulated| accumulated.value)
    }

    fn is_read(&self, since: Day, through: Day) -> bool {
        i64::from(self.gauge.days_read(since, through)) == i64::from(through.since(since))
    }

    /// The first day after `today` on which the accumulated amount is not below the limit.
    fn came(&self, since: Day, today: Day) -> Option<Day> {
        let (mut below, mut reached) = (today, self.last);
        if self.accumulated(since, reached) < self.part.limit {
            return None;
        }
        while reached.since(below) > 1 {
            let middle = below.plus(reached.since(below) / 2);
            if self.accumulated(since, middle) >= self.part.limit {
                reached = middle;
            } else {
                below = middle;
            }
        }
        Some(reached)
    }

    /// The same in each world. Runoff moves all leaves, so by a day with runoff everything has moved.
    fn leaves_came(&self, since: Day, today: Day) -> Vec<Option<Day>> {
        let ahead = &self.runoff[self.runoff.partition_point(|day| *day <= today)..];
        let Some(next) = ahead.first() else { return vec![None] };
        // What the next runoff brings from days up to the origin, with what moved before.
        let known = self.accumulated(since, *next) - between(&self.fallen, self.first, today, *next);
        let still = self.part.limit - known;
        let came = self.worlds.iter().map(|fallen| {
            let short =
                |day: &Day| between(fallen, self.first, today, *day) < still - 1e-12 * self.part.limit;
            ahead.get(ahead.partition_point(short)).copied()
        });
        came.collect()
    }
}

/// What fell on the days after `after`, up to and including `through`.
fn between(fallen: &[f64], first: Day, after: Day, through: Day) -> f64 {
    fallen[through.since(first) as usize] - fallen[after.since(first) as usize]
}

/// The factor of leaf fall on a day, with mean 1.
pub fn leaf_factor(draw: u64, day: Day, (month, year): (f64, f64)) -> f64 {
    let (y, m, _) = day.ymd();
    let key = draw * 1_000_000 + (y as u64) * 13;
    let factor = |log_sd: f64, key: u64| (log_sd * normal(key) - 0.5 * log_sd * log_sd).exp();
    factor(month, key + u64::from(m)) * factor(year, key)
}

/// A standard normal number of a key (Box and Muller 1958).
fn normal(key: u64) -> f64 {
    let mut state = key.wrapping_mul(0xD134_2543_DE82_EF95);
    let mut uniform = || (score::next(&mut state) >> 11) as f64 / (1_u64 << 53) as f64;
    let (radius, angle) = ((-2.0 * (1.0 - uniform()).ln()).sqrt(), std::f64::consts::TAU * uniform());
    radius * angle.cos()
}
