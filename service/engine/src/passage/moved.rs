//! What waits on a roof after the last reading, until runoff moves it.
//!
//! **All of it moves** with each runoff, as leaves do. By day t, what counts is what fell up to the last day with
//! runoff, L(t). So the chance to have reached the limit is
//!
//! `P(T <= t) = sum over k <= t of P(L(t) = k) C(k)`, with `C(k) = P(known + pile + F(k) >= limit)`
//!
//! `pile` lies there on the last day with a reading, and F(k) falls from then to day k. Without any runoff since, the
//! known part alone counts. The chances of L(t) come from [`crate::climate::RunoffWalk`]. The fall is a sum as in
//! [`crate::passage`], with its own law. C rises slowly where the limit is uncertain. So the sum takes stretches of
//! days at once, with C as a straight line between their ends, and halves a stretch until the line moves the sum by
//! no more than [`ENOUGH`].
//!
//! **More than usual moves** with the first runoff, as solids do. The means of months count what usually lies there.
//! So only the rest is added, and nothing counts before the first runoff:
//!
//! `P(T <= t) = P(no runoff) P(known >= limit) + P(runoff) P(known + extra + X(t) >= limit)`
//!
//! **Storm by storm**: where the limit is a few storms away, [`super::storms`] counts them.
//!
//! Invariant: a larger pile never lowers a chance.

use std::collections::BTreeMap;

use crate::climate::{LastRunoff, RunoffWalk};
use crate::error::EngineError;
use crate::limit::Limit;

use super::chance::{UncertainAccumulated, chance_reached};
use super::monthly_sums::MonthlySums;
use super::path::{Known, Path};
use super::storms::StormCount;
use super::waiting::{Moves, Waiting};

/// A stretch is split while its chance times the rise of C is above this.
const ENOUGH: f64 = 4e-4;

/// The chances of one path with something that waits, as far as they were computed.
#[derive(Debug)]
pub(super) struct WaitingChances {
    /// The day number of the last reading.
    from: i32,
    walk: RunoffWalk,
    /// What has moved, with the days without a reading up to the last reading.
    moved: UncertainAccumulated,
    limit: Limit,
    /// The chance that this alone reaches the limit, once it was needed.
    unmoved: Option<f64>,
    moves: Movement,
}

#[derive(Debug)]
enum Movement {
    All(Box<Falling>),
    BeyondUsual { extra: f64 },
    Storms(Box<StormCount>),
}

/// What falls, and the chances C.
#[derive(Debug)]
struct Falling {
    fall: Path,
    rows: MonthlySums,
    pile: f64,
    /// C by days ahead.
    reached: BTreeMap<i32, f64>,
    last: Vec<LastRunoff>,
}

/// The chance by a day in two parts: `base + share x chance of the accumulated amount`.
pub(super) struct Mixed {
    pub base: f64,
    pub share: f64,
    pub accumulated: UncertainAccumulated,
}

impl Mixed {
    /// The chance by the day, with that of the accumulated amount.
    pub(super) fn of(&self, chance: f64) -> f64 {
        self.base + self.share * chance
    }

    pub(super) fn chance(&self, limit: Limit) -> Result<f64, EngineError> {
        let UncertainAccumulated { known, mean, variance } = self.accumulated;
        Ok(self.of(chance_reached(known, mean, variance, limit)?))
    }
}

impl WaitingChances {
    /// `moved` is the accumulated amount on the day of the last reading, which has number `from`.
    pub(super) fn new(
        waiting: &Waiting,
        from: i32,
        horizon: i32,
        moved: UncertainAccumulated,
        limit: Limit,
    ) -> Result<Option<WaitingChances>, EngineError> {
        let walk = RunoffWalk::new(&waiting.runoff, waiting.day, waiting.weather);
        let moves = match waiting.moves {
            Moves::All { pile, fall } => Movement::All(Box::new(Falling {
                fall: Path::new(Known::nothing(waiting.day), Vec::new(), Some(fall), (horizon - from).max(1)),
                rows: MonthlySums::default(),
                pile,
                reached: BTreeMap::new(),
                last: Vec::new(),
            })),
            Moves::BeyondUsual { extra } => Movement::BeyondUsual { extra },
            // A gap before the last reading leaves the known part uncertain.
            Moves::Storms(_) if moved.mean > 0.0 => return Ok(None),
            Moves::Storms(storms) => match StormCount::new(&storms, &walk, moved.known, limit)? {
                Some(count) => Movement::Storms(Box::new(count)),
                None => return Ok(None),
            },
        };
        Ok(Some(WaitingChances { from, walk, moved, limit, unmoved: None, moves }))
    }

    /// The chance that what has moved reaches the limit alone.
    fn unmoved(&mut self) -> Result<f64, EngineError> {
        if let Some(chance) = self.unmoved {
            return Ok(chance);
        }
        let UncertainAccumulated { known, mean, variance } = self.moved;
        let chance = chance_reached(known, mean, variance, self.limit)?;
        self.unmoved = Some(chance);
        Ok(chance)
    }

    /// The chance by a day number after the last reading, where all of it moves.
    pub(super) fn by(&mut self, number: i32) -> Option<Result<f64, EngineError>> {
        let ahead = number - self.from;
        let Movement::All(falling) = &mut self.moves else { return None };
        let mut last = std::mem::take(&mut falling.last);
        let none = self.walk.last_runoff(ahead, &mut last);
        last.reverse();
        let to = (ahead.max(1) as u32).next_power_of_two() as i32;
        let moved = falling.over((0, to), &Cumulated::new(&last), self.moved, self.limit);
        falling.last = last;
        let unmoved = if none > 0.0 { self.unmoved().map(|chance| none * chance) } else { Ok(0.0) };
        Some(moved.and_then(|moved| Ok((unmoved? + moved).clamp(0.0, 1.0))))
    }

    /// The parts of the chance by a day number after the last reading, where more than usual moves. `accumulated` is
    /// what counts by then in usual years.
    pub(super) fn mixed(
        &mut self,
        number: i32,
        accumulated: UncertainAccumulated,
    ) -> Option<Result<Mixed, EngineError>> {
        let extra = match &mut self.moves {
            Movement::All(_) => return None,
            Movement::BeyondUsual { extra } => *extra,
            Movement::Storms(count) => {
                let base = count.weight * count.by(&mut self.walk, number - self.from);
                return Some(Ok(Mixed { base, share: 1.0 - count.weight, accumulated }));
            }
        };
        let none = self.walk.none_by(number - self.from);
        let base = if none > 0.0 { self.unmoved().map(|chance| none * chance) } else { Ok(0.0) };
        let UncertainAccumulated { known, mean, variance } = accumulated;
        let accumulated = if extra > 0.0 {
            UncertainAccumulated { known: known + extra, mean, variance }
        } else {
            UncertainAccumulated { known, mean: (mean + extra).max(0.0), variance }
        };
        Some(base.map(|base| Mixed { base, share: 1.0 - none, accumulated }))
    }
}

impl Falling {
    /// The sum over the days with runoff after the first and up to the second of two days ahead.
    fn over(
        &mut self,
        (from, to): (i32, i32),
        days: &Cumulated<'_>,
        moved: UncertainAccumulated,
        limit: Limit,
    ) -> Result<f64, EngineError> {
        let (chance, moment) = days.between(from, to);
        if !(chance > 0.0) {
            return Ok(0.0);
        }
        let (low, high) = (self.reached(from, moved, limit)?, self.reached(to, moved, limit)?);
        let length = to - from;
        if length == 1 {
            return Ok(chance * high);
        }
        if chance * (high - low).abs() <= ENOUGH {
            let along = (moment - chance * f64::from(from)) / f64::from(length);
            return Ok(chance * low + along * (high - low));
        }
        let middle = from + length / 2;
        Ok(self.over((from, middle), days, moved, limit)? + self.over((middle, to), days, moved, limit)?)
    }

    /// C of a day ahead.
    fn reached(&mut self, ahead: i32, moved: UncertainAccumulated, limit: Limit) -> Result<f64, EngineError> {
        if let Some(chance) = self.reached.get(&ahead) {
            return Ok(*chance);
        }
        let sums = self.rows.sums(&self.fall, ahead.min(self.fall.horizon()));
        let UncertainAccumulated { known, mean, variance } = moved;
        let variance = variance + self.fall.variance(&sums);
        let chance = chance_reached(known + self.pile, mean + sums.mean, variance, limit)?;
        self.reached.insert(ahead, chance);
        Ok(chance)
    }
}

/// Days with runoff in order, with the sums of chance and of chance times days ahead up to each.
struct Cumulated<'a> {
    last: &'a [LastRunoff],
    chances: Vec<f64>,
    moments: Vec<f64>,
}

impl Cumulated<'_> {
    fn new(last: &[LastRunoff]) -> Cumulated<'_> {
        let (mut chance, mut moment) = (0.0, 0.0);
        let mut chances = vec![0.0];
        let mut moments = vec![0.0];
        for day in last {
            chance += day.chance;
            moment += day.chance * f64::from(day.ahead);
            chances.push(chance);
            moments.push(moment);
        }
        Cumulated { last, chances, moments }
    }

    /// Chance and moment of the days after `from`, up to `to`.
    fn between(&self, from: i32, to: i32) -> (f64, f64) {
        let by = |ahead: i32| self.last.partition_point(|day| day.ahead <= ahead);
        let (from, to) = (by(from), by(to));
        (self.chances[to] - self.chances[from], self.moments[to] - self.moments[from])
    }
}
