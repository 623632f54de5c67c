//! Dates and chances that never contradict each other.
//!
//! The closed form is nearly monotone in time, not quite: where a season sets in, its spread can grow faster than its
//! mean, and the yearly term steps down every year. Searching each date by itself could then give a late day before an early one. Here every search walks the same
//! fixed tree of days (today, then 8, 16, 32, ... days on, and bisection between), so that a higher chance never gives an earlier day, whatever
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
    today: i32,
    mark: Mark,
    seen: RefCell<BTreeMap<i32, f64>>,
}

impl<'a> Curve<'a> {
    pub(crate) fn new(path: &'a Path, mark: Mark) -> Curve<'a> {
        Curve { path, today: path.past(), mark, seen: RefCell::new(BTreeMap::new()) }
    }

    /// The first node of the tree.
    fn root(&self) -> i32 {
        if self.today < 1 { self.next(self.today) } else { self.today.min(self.path.horizon()) }
    }

    /// The node to the right of a node that has none on its right so far.
    fn next(&self, node: i32) -> i32 {
        let ahead = (node - self.today).max(4);
        self.today.saturating_add(ahead.saturating_mul(2)).min(self.path.horizon())
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
        let mut high = self.root();
        while self.raw(high)? < p {
            if high >= horizon {
                return Ok(None);
            }
            low = high;
            high = self.next(high);
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
        let mut high = self.root();
        // Along the doublings every node passed on the left is a floor.
        while high < target {
            floor = floor.max(self.raw(high)?);
            low = high;
            high = self.next(high);
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
