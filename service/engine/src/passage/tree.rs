//! Dates and chances that never contradict each other.
//!
//! The closed form is nearly monotone in time, not quite: where a season sets in, its spread can grow faster than its
//! mean, and the yearly term steps down every year. Searching each date by itself could then give a late day before an early one. Here every search walks the same
//! fixed tree of days (1, 2, 4, ... and bisection between), so that a higher chance never gives an earlier day, whatever
//! the function does. The chance by a day is defined as the inverse: the largest chance whose day is no later. Where the
//! closed form rises all the way, both are exactly its own.

use std::cell::RefCell;
use std::collections::BTreeMap;

use crate::error::EngineError;
use crate::mark::Mark;

use super::accumulate::Path;

/// A path looked at through one mark, with the chances computed so far.
pub(crate) struct Curve<'a> {
    path: &'a Path,
    mark: Mark,
    seen: RefCell<BTreeMap<i32, f64>>,
}

impl<'a> Curve<'a> {
    pub(crate) fn new(path: &'a Path, mark: Mark) -> Curve<'a> {
        Curve { path, mark, seen: RefCell::new(BTreeMap::new()) }
    }

    fn raw(&self, number: i32) -> Result<f64, EngineError> {
        if let Some(&value) = self.seen.borrow().get(&number) {
            return Ok(value);
        }
        let value = self.path.raw_chance(number, self.mark)?;
        self.seen.borrow_mut().insert(number, value);
        Ok(value)
    }

    /// The first day number with at least the chance `p`, `None` beyond the horizon. `p` above 0.
    pub(crate) fn day_of(&self, p: f64) -> Result<Option<i32>, EngineError> {
        let horizon = self.path.horizon();
        let mut low = 0;
        let mut high = 1.min(horizon);
        while self.raw(high)? < p {
            if high >= horizon {
                return Ok(None);
            }
            low = high;
            high = high.saturating_mul(2).min(horizon);
        }
        while high - low > 1 {
            let middle = low + (high - low) / 2;
            if self.raw(middle)? < p {
                low = middle;
            } else {
                high = middle;
            }
        }
        Ok(Some(high))
    }

    /// The chance by a day number: the largest `p` with `day_of(p)` no later.
    pub(crate) fn chance_by(&self, number: i32) -> Result<f64, EngineError> {
        let horizon = self.path.horizon();
        let target = number.min(horizon);
        if target < 1 {
            return Ok(0.0);
        }
        let (mut floor, mut cap) = (0.0_f64, 1.0_f64);
        let mut low = 0;
        let mut high = 1.min(horizon);
        // Along the doublings every node passed on the left is a floor.
        while high < target {
            floor = floor.max(self.raw(high)?);
            low = high;
            high = high.saturating_mul(2).min(horizon);
        }
        let mut node = high;
        loop {
            let value = self.raw(node)?;
            if node == target {
                return Ok(value.max(floor).min(cap));
            }
            if node < target {
                floor = floor.max(value.min(cap));
                low = node;
            } else {
                cap = cap.min(value.max(floor));
                high = node;
            }
            node = low + (high - low) / 2;
        }
    }
}
