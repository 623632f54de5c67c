//! Dates and chances that never contradict each other.
//!
//! The closed form nearly always rises with time, but not quite. At the start of a season its spread can grow faster
//! than its mean, and the yearly term drops every year. Separate searches could then put a late day before an early
//! one.
//!
//! Here every search walks the same fixed tree of days: today, then 7, 30, 90, 180, 360, ... days ahead, and halves
//! between them. So a higher chance never gives an earlier day, whatever the function does. The chance by a day is
//! the inverse: the largest chance whose day is no later. Where the closed form rises all the way, both equal the
//! closed form.
//!
//! Most nodes of a search are far from the chance asked for. There the bounds of a short expansion decide which way
//! to go, without the integral.

use std::cell::RefCell;
use std::cmp::Ordering;

use crate::error::EngineError;
use crate::limit::Limit;

use super::chance::{Between, UncertainAccumulated, bounds};
use super::monthly_sums::MonthlySums;
use super::moved::{Mixed, WaitingChances};
use super::path::Path;
use super::sums::Sums;

/// Days ahead of the first nodes, whose chances every answer gives. After the last one, the days double.
const AHEAD: [i32; 3] = [7, 30, 90];

/// One path seen with one limit, and the chances computed so far.
pub(crate) struct Curve<'a> {
    path: &'a Path,
    today: i32,
    limit: Limit,
    rows: RefCell<MonthlySums>,
    /// In order of day.
    computed: RefCell<Vec<ChanceBounds>>,
    /// Laws of what waits for runoff, if there are any.
    waiting: RefCell<Waits>,
}

/// Bounds of the chance by one day number. They are equal once the chance was computed.
#[derive(Debug, Clone, Copy)]
pub(crate) struct ChanceBounds {
    number: i32,
    low: f64,
    high: f64,
}

/// Laws of what waits for runoff.
enum Waits {
    /// Not needed so far.
    Unbuilt,
    Built(Box<WaitingChances>),
    /// The law of sums is the better one.
    None,
}

/// The chance by a day number.
enum Parts {
    Whole(f64),
    Mixed(Mixed),
}

impl<'a> Curve<'a> {
    pub(crate) fn new(path: &'a Path, limit: Limit) -> Curve<'a> {
        Curve::resume(path, limit, Vec::new())
    }

    /// Continues from what an earlier curve of the same path and limit has computed.
    pub(crate) fn resume(path: &'a Path, limit: Limit, computed: Vec<ChanceBounds>) -> Curve<'a> {
        Curve {
            path,
            today: path.past(),
            limit,
            rows: RefCell::default(),
            computed: RefCell::new(computed),
            waiting: RefCell::new(Waits::Unbuilt),
        }
    }

    /// The chance by a day number: known at once, or in parts.
    fn parts(&self, number: i32) -> Result<Parts, EngineError> {
        let accumulated = self.accumulated(number);
        if let Some((waiting, from)) = self.path.waiting().filter(|(_, from)| number > *from) {
            let mut built = self.waiting.borrow_mut();
            if matches!(*built, Waits::Unbuilt) {
                let moved = self.accumulated(from);
                let chances = WaitingChances::new(waiting, from, self.path.horizon(), moved, self.limit)?;
                *built = chances.map_or(Waits::None, |chances| Waits::Built(Box::new(chances)));
            }
            if let Waits::Built(chances) = &mut *built {
                if let Some(chance) = chances.by(number) {
                    return chance.map(Parts::Whole);
                }
                if let Some(mixed) = chances.mixed(number, accumulated) {
                    return mixed.map(Parts::Mixed);
                }
            }
        }
        Ok(Parts::Mixed(Mixed { base: 0.0, share: 1.0, accumulated }))
    }

    /// The chances computed so far, for [`Curve::resume`].
    pub(crate) fn into_computed(self) -> Vec<ChanceBounds> {
        self.computed.into_inner()
    }

    /// Sums of the unread days up to and including a day number.
    pub(crate) fn sums(&self, number: i32) -> Sums {
        self.rows.borrow_mut().sums(self.path, number)
    }

    /// The first node of the tree.
    fn root(&self) -> i32 {
        if self.today < 1 { self.next(self.today) } else { self.today.min(self.path.horizon()) }
    }

    /// The next node to the right, for a node with nothing on its right yet.
    fn next(&self, node: i32) -> i32 {
        let ahead = node - self.today;
        let on = AHEAD.into_iter().find(|days| *days > ahead).unwrap_or_else(|| ahead.saturating_mul(2));
        self.today.saturating_add(on).min(self.path.horizon())
    }

    fn accumulated(&self, number: i32) -> UncertainAccumulated {
        self.path.accumulated(number, &self.sums(number))
    }

    /// The bounds at a node, and their index among the computed ones.
    fn bounds_by(&self, number: i32) -> Result<(usize, ChanceBounds), EngineError> {
        if let Ok(at) = self.place(number) {
            return Ok((at, self.computed.borrow()[at]));
        }
        let Between { low, high } = match self.parts(number)? {
            Parts::Whole(value) => Between { low: value, high: value },
            Parts::Mixed(mixed) => {
                if let Some(Between { low, high }) = bounds(mixed.accumulated, self.limit) {
                    Between { low: mixed.of(low), high: mixed.of(high) }
                } else {
                    let value = mixed.chance(self.limit)?;
                    Between { low: value, high: value }
                }
            }
        };
        let at = self.place(number).unwrap_or_else(|at| at);
        let bounds = ChanceBounds { number, low, high };
        self.computed.borrow_mut().insert(at, bounds);
        Ok((at, bounds))
    }

    /// The index of a day number among the computed ones.
    fn place(&self, number: i32) -> Result<usize, usize> {
        self.computed.borrow().binary_search_by_key(&number, |node| node.number)
    }

    fn closed_form_by(&self, number: i32) -> Result<f64, EngineError> {
        let (at, ChanceBounds { low, high, .. }) = self.bounds_by(number)?;
        if low == high {
            return Ok(low);
        }
        let value = match self.parts(number)? {
            Parts::Whole(value) => value,
            Parts::Mixed(mixed) => mixed.chance(self.limit)?,
        };
        // Clamped to the bounds of the expansion, so that the two agree even if one of them is wrong.
        let value = value.clamp(low, high);
        self.computed.borrow_mut()[at] = ChanceBounds { number, low: value, high: value };
        Ok(value)
    }

    /// How the chance by a node compares with `p`.
    fn compare(&self, number: i32, p: f64) -> Result<Ordering, EngineError> {
        let (_, ChanceBounds { low, high, .. }) = self.bounds_by(number)?;
        if high < p {
            Ok(Ordering::Less)
        } else if low > p {
            Ok(Ordering::Greater)
        } else {
            Ok(self.closed_form_by(number)?.total_cmp(&p))
        }
    }

    fn is_under(&self, number: i32, p: f64) -> Result<bool, EngineError> {
        Ok(self.compare(number, p)? == Ordering::Less)
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

    /// The chance by a day number: the largest `p` whose `day_of(p)` is no later.
    pub(crate) fn chance_by(&self, number: i32) -> Result<f64, EngineError> {
        let horizon = self.path.horizon();
        let target = number.min(horizon);
        if target < 1 {
            return Ok(0.0);
        }
        let value = self.closed_form_by(target)?;
        for node in self.way_to(target) {
            let against = if node < target { Ordering::Greater } else { Ordering::Less };
            if self.compare(node, value)? == against {
                return self.made_consistent(target, value);
            }
        }
        Ok(value)
    }

    /// The chance by a node, made consistent with the nodes on the way to it. Nodes on its left are floors, nodes on
    /// its right are caps.
    fn made_consistent(&self, target: i32, value: f64) -> Result<f64, EngineError> {
        let (mut floor, mut cap) = (0.0_f64, 1.0_f64);
        for node in self.way_to(target) {
            let passed = self.closed_form_by(node)?;
            if node < target {
                floor = floor.max(passed.min(cap));
            } else {
                cap = cap.min(passed.max(floor));
            }
        }
        Ok(value.max(floor).min(cap))
    }

    /// Nodes between two day numbers, in order. They are at most `step` days apart and, except in the first days
    /// ahead, at least half of that. Searches for them visit few other nodes.
    pub(crate) fn nodes_between(&self, from: i32, to: i32, step: i32) -> Vec<i32> {
        let mut nodes = Vec::new();
        let (mut low, mut high) = (0, self.root());
        loop {
            split((low, high), (from, to), step.max(1), &mut nodes);
            if high >= to || high >= self.path.horizon() {
                return nodes;
            }
            if high > from {
                nodes.push(high);
            }
            (low, high) = (high, self.next(high));
        }
    }

    /// The nodes that a search visits on its way to a day number from 1 to the horizon, without that day.
    fn way_to(&self, target: i32) -> impl Iterator<Item = i32> {
        let mut doubling = true;
        let (mut low, mut node, mut high) = (0, self.root(), i32::MAX);
        std::iter::from_fn(move || {
            if node == target {
                return None;
            }
            let passed = node;
            if node < target {
                low = node;
            } else {
                (high, doubling) = (node, false);
            }
            node = if doubling { self.next(node) } else { low + (high - low) / 2 };
            Some(passed)
        })
    }
}

/// Adds the nodes of a stretch within bounds, until the remaining stretches are at most `step` long.
fn split((low, high): (i32, i32), within: (i32, i32), step: i32, nodes: &mut Vec<i32>) {
    if high - low <= step || high <= within.0 || low >= within.1 {
        return;
    }
    let middle = low + (high - low) / 2;
    split((low, middle), within, step, nodes);
    if within.0 < middle && middle < within.1 {
        nodes.push(middle);
    }
    split((middle, high), within, step, nodes);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calendar::Day;
    use crate::climate::Spreads;
    use crate::passage::running_total::RunningTotal;
    use crate::passage::{Known, Law};

    #[test]
    fn nodes_are_near_each_other_and_on_the_way() {
        let spreads = Spreads { month: 0.3, year: 0.1, sampling: 0.1, level: 0.0 };
        let law = Law::new([1.0; 12], 2.0, spreads);
        for past in [0, 3, 400] {
            let known = Known::new(RunningTotal::default(), Day(0), Day(past), 0.0);
            let path = Path::new(known, Vec::new(), Some(law), past + 5000);
            let curve = Curve::new(&path, Limit { median: 700.0, log_sd: 0.4 });
            for (from, to) in [(1, 2), (1, past + 200), (past + 90, past + 91), (past + 50, past + 5000)] {
                let step = ((to - from) / 24).max(1);
                let nodes = curve.nodes_between(from, to, step);
                assert!(nodes.len() <= 56, "{} between {from} and {to}", nodes.len());
                let all: Vec<i32> = [from].into_iter().chain(nodes.iter().copied()).chain([to]).collect();
                assert!(all.windows(2).all(|pair| (1..=step).contains(&(pair[1] - pair[0]))), "{all:?}");
                for pair in nodes.windows(2) {
                    // Of two neighbours, one is on the way to the other.
                    let leads = |a, b| curve.way_to(b).any(|node| node == a);
                    assert!(leads(pair[0], pair[1]) || leads(pair[1], pair[0]), "{pair:?}");
                }
            }
        }
    }
}
