//! Dates and chances that never contradict each other.
//!
//! The closed form is nearly monotone in time, not quite: where a season sets in, its spread can grow faster than its
//! mean, and the yearly term steps down every year. Searching each date by itself could then give a late day before an early
//! one. Here every search walks the same fixed tree of days (today, then 7, 30, 90, 180, 360, ... days on, and bisection
//! between), so that a higher chance never gives an earlier day, whatever the function does. The chance by a day is defined
//! as the inverse: the largest chance whose day is no later. Where the closed form rises all the way, both are exactly its
//! own.
//!
//! Most nodes of a search lie far from the chance asked for; there the bounds that a short expansion gives settle which way
//! to go, and the integral is left out.

use std::cell::RefCell;

use crate::error::EngineError;
use crate::mark::Mark;

use super::accumulate::Path;
use super::chance::{Uncertain, bounds, chance_reached};
use super::rows::{Rows, Sums};

/// Days ahead at which the tree begins: those whose chances every answer gives. From the last on they double.
const AHEAD: [i32; 3] = [7, 30, 90];

/// A path looked at through one mark, with what was computed so far.
pub(crate) struct Curve<'a> {
    path: &'a Path,
    today: i32,
    mark: Mark,
    rows: RefCell<Rows>,
    /// Chances by day number, in order.
    seen: RefCell<Vec<(i32, f64)>>,
}

impl<'a> Curve<'a> {
    pub(crate) fn new(path: &'a Path, mark: Mark) -> Curve<'a> {
        Curve::resume(path, mark, Vec::new())
    }

    /// Goes on where another look at the same path through the same mark has ended.
    pub(crate) fn resume(path: &'a Path, mark: Mark, seen: Vec<(i32, f64)>) -> Curve<'a> {
        Curve { path, today: path.past(), mark, rows: RefCell::default(), seen: RefCell::new(seen) }
    }

    /// What was computed, for [`Curve::resume`].
    pub(crate) fn into_seen(self) -> Vec<(i32, f64)> {
        self.seen.into_inner()
    }

    /// Sums of the unread days up to and with a day number.
    pub(crate) fn sums(&self, number: i32) -> Sums {
        self.rows.borrow_mut().sums(self.path, number)
    }

    /// The first node of the tree.
    fn root(&self) -> i32 {
        if self.today < 1 { self.next(self.today) } else { self.today.min(self.path.horizon()) }
    }

    /// The node to the right of a node that has none on its right so far.
    fn next(&self, node: i32) -> i32 {
        let ahead = node - self.today;
        let on = AHEAD.into_iter().find(|days| *days > ahead).unwrap_or_else(|| ahead.saturating_mul(2));
        self.today.saturating_add(on).min(self.path.horizon())
    }

    /// The chance by a node, if it was computed before, else where it belongs.
    fn seen(&self, number: i32) -> Result<f64, usize> {
        let seen = self.seen.borrow();
        seen.binary_search_by_key(&number, |(seen, _)| *seen).map(|at| seen[at].1)
    }

    fn raw(&self, number: i32) -> Result<f64, EngineError> {
        match self.seen(number) {
            Ok(value) => Ok(value),
            Err(at) => {
                let tally = self.path.tally(number, &self.sums(number));
                self.compute(at, number, tally, bounds(tally, self.mark))
            }
        }
    }

    fn compute(
        &self,
        at: usize,
        number: i32,
        tally: Uncertain,
        bounds: Option<(f64, f64)>,
    ) -> Result<f64, EngineError> {
        let mut value = chance_reached(tally.known, tally.mean, tally.variance, self.mark)?;
        // Held to what the quick way says, so that the two agree whatever either of them gets wrong.
        if let Some((low, high)) = bounds {
            value = value.clamp(low, high);
        }
        self.seen.borrow_mut().insert(at, (number, value));
        Ok(value)
    }

    /// Whether the chance by a node is under `p`.
    fn is_under(&self, number: i32, p: f64) -> Result<bool, EngineError> {
        let at = match self.seen(number) {
            Ok(value) => return Ok(value < p),
            Err(at) => at,
        };
        let tally = self.path.tally(number, &self.sums(number));
        let bounds = bounds(tally, self.mark);
        match bounds {
            Some((_, high)) if high < p => Ok(true),
            Some((low, _)) if low >= p => Ok(false),
            _ => Ok(self.compute(at, number, tally, bounds)? < p),
        }
    }

    /// The first day number with at least the chance `p`, `None` beyond the horizon. `p` above 0.
    pub(crate) fn day_of(&self, p: f64) -> Result<Option<i32>, EngineError> {
        let horizon = self.path.horizon();
        let mut low = 0;
        let mut high = self.root();
        while self.is_under(high, p)? {
            if high >= horizon {
                return Ok(None);
            }
            low = high;
            high = self.next(high);
        }
        while high - low > 1 {
            let middle = low + (high - low) / 2;
            if self.is_under(middle, p)? {
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
