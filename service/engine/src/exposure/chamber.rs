//! The chamber of a first-flush diverter, from event to event.
//!
//! The chamber takes the first water of an event until it is full. How much it can take depends on what is still in
//! it. A weep hole of 2 to 3 mm empties it within the hour, so on daily rain it is empty each morning. A drip takes
//! days, so storms within that time share one flush. A chamber emptied by hand stays full until a visit drains it. A
//! blocked hole keeps the chamber full without a visible sign, and the chamber then protects nothing.
//!
//! Invariant: a chamber never takes more of an event than the event, its volume, or its free room.

use crate::calendar::Day;
use crate::error::{EngineError, require};

/// A first-flush chamber as one roof fills it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chamber<'a> {
    /// Volume as mm of runoff over the roof: litres over m2 of plan area. 0 to 1000.
    pub volume_mm: f64,
    /// How it empties.
    pub emptying: Emptying<'a>,
    /// Times when its hole was blocked, in order, both days included.
    pub blocked: &'a [Stretch],
}

/// How a chamber empties.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Emptying<'a> {
    /// Before the next day's rain.
    WithinTheDay,
    /// By this much a day, mm over the roof, above 0.
    Trickle {
        /// Runoff that drips away in a day.
        mm_per_day: f64,
    },
    /// By hand, at the end of these days, in order. Before the first of them, and in the future, the chamber counts
    /// as emptied in time.
    ByHand {
        /// The days.
        drained: &'a [Day],
    },
}

/// From one day to another, both included. `to` is `None` when it still lasts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stretch {
    /// First day.
    pub from: Day,
    /// Last day.
    pub to: Option<Day>,
}

impl Chamber<'_> {
    /// A chamber that is empty whenever rain begins.
    pub fn emptied(volume_mm: f64) -> Chamber<'static> {
        Chamber { volume_mm, emptying: Emptying::WithinTheDay, blocked: &[] }
    }

    pub(crate) fn check(&self) -> Result<(), EngineError> {
        let volume_ok = (0.0..=1000.0).contains(&self.volume_mm);
        require(volume_ok, "chamber volume_mm", self.volume_mm, "0 to 1000")?;
        if let Emptying::Trickle { mm_per_day } = self.emptying {
            require(mm_per_day > 0.0, "chamber mm_per_day", mm_per_day, "above 0")?;
        }
        Ok(())
    }

    /// Whether its history affects what it takes.
    pub(super) fn has_history(&self) -> bool {
        !self.blocked.is_empty() || matches!(self.emptying, Emptying::ByHand { .. })
    }

    /// The same chamber as it can be expected from `today` on.
    pub(super) fn expected(&self) -> Chamber<'static> {
        let blocked_still = self.blocked.last().is_some_and(|stretch| stretch.to.is_none());
        let emptying = match self.emptying {
            Emptying::Trickle { mm_per_day } => Emptying::Trickle { mm_per_day },
            _ => Emptying::WithinTheDay,
        };
        Chamber { volume_mm: if blocked_still { 0.0 } else { self.volume_mm }, emptying, blocked: &[] }
    }
}

/// What a chamber takes of each event, mm, and whether that fills it, combined into one number each.
pub(super) fn pass(
    chamber: Chamber<'_>,
    day: &[i32],
    mm: &[f64],
    amount: impl Fn(f64, bool) -> f64,
) -> Vec<f64> {
    let volume = chamber.volume_mm;
    match chamber.emptying {
        Emptying::WithinTheDay if chamber.blocked.is_empty() => {
            mm.iter().map(|mm| amount(mm.min(volume), *mm >= volume && volume > 0.0)).collect()
        }
        Emptying::Trickle { mm_per_day } if chamber.blocked.is_empty() => {
            let mut made = vec![0.0; mm.len()];
            // A loop keeps the room in a register. A closure would keep it in memory from event to event.
            let (mut room, mut before) = (volume, i32::MIN / 2);
            for ((made, &day), &mm) in made.iter_mut().zip(day).zip(mm) {
                room = trickled(room, mm_per_day, day.saturating_sub(before), volume);
                before = day;
                let taken = lesser(mm, room);
                room -= taken;
                *made = amount(taken, taken > 0.0 && room == 0.0);
            }
            made
        }
        _ => {
            let mut filling = Filling::new(chamber);
            let one = |(day, mm): (&i32, &f64)| {
                let taken = filling.take(*day, *mm);
                amount(taken, taken > 0.0 && (filling.room_mm == 0.0 || taken >= volume))
            };
            day.iter().zip(mm).map(one).collect()
        }
    }
}

/// Room after some days in a chamber that drips.
fn trickled(room: f64, mm_per_day: f64, days: i32, volume: f64) -> f64 {
    lesser(room + mm_per_day * f64::from(days), volume)
}

/// The lesser of two numbers that are not NaN: one instruction, where [`f64::min`] takes five.
fn lesser(a: f64, b: f64) -> f64 {
    if a < b { a } else { b }
}

/// A chamber from event to event.
#[derive(Debug)]
struct Filling<'a> {
    chamber: Chamber<'a>,
    /// Free room, mm.
    room_mm: f64,
    day: i32,
    next_block: usize,
    next_drain: usize,
}

impl<'a> Filling<'a> {
    fn new(chamber: Chamber<'a>) -> Filling<'a> {
        let room_mm = chamber.volume_mm;
        Filling { chamber, room_mm, day: i32::MIN / 2, next_block: 0, next_drain: 0 }
    }

    /// What it takes of an event of `event_mm` on a day, mm. Days must be in order.
    fn take(&mut self, day: i32, event_mm: f64) -> f64 {
        let blocked = self.chamber.blocked;
        while self.next_block < blocked.len() && blocked[self.next_block].to.is_some_and(|to| to.0 < day) {
            self.next_block += 1;
        }
        if blocked.get(self.next_block).is_some_and(|stretch| stretch.from.0 <= day) {
            return 0.0;
        }
        let volume = self.chamber.volume_mm;
        match self.chamber.emptying {
            Emptying::WithinTheDay => return event_mm.min(volume),
            Emptying::Trickle { mm_per_day } => {
                self.room_mm = trickled(self.room_mm, mm_per_day, day.saturating_sub(self.day), volume);
            }
            Emptying::ByHand { drained } => {
                if drained.first().is_none_or(|first| first.0 >= day) {
                    return event_mm.min(volume);
                }
                while self.next_drain < drained.len() && drained[self.next_drain].0 < day {
                    self.room_mm = volume;
                    self.next_drain += 1;
                }
            }
        }
        self.day = day;
        let taken = event_mm.min(self.room_mm);
        self.room_mm -= taken;
        taken
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_drip_lets_storms_share_one_flush() {
        // A chamber of 2 mm that drips away 1 mm a day.
        let chamber = Chamber { emptying: Emptying::Trickle { mm_per_day: 1.0 }, ..Chamber::emptied(2.0) };
        let mut filling = Filling::new(chamber);
        assert_eq!(filling.take(10, 5.0), 2.0);
        assert_eq!(filling.room_mm, 0.0);
        assert_eq!(filling.take(11, 5.0), 1.0);
        assert_eq!(filling.take(20, 0.5), 0.5);
        assert_eq!(filling.take(21, 9.0), 2.0);
    }

    #[test]
    fn one_emptied_by_hand_takes_one_flush_a_visit() {
        let drained = [Day(10), Day(20)];
        let chamber = Chamber { emptying: Emptying::ByHand { drained: &drained }, ..Chamber::emptied(2.0) };
        let mut filling = Filling::new(chamber);
        // Before the first known visit it counts as emptied in time. On the day of a visit it is still full.
        assert_eq!(filling.take(5, 3.0), 2.0);
        assert_eq!(filling.take(10, 3.0), 2.0);
        assert_eq!(filling.take(11, 1.5), 1.5);
        assert_eq!(filling.take(12, 3.0), 0.5);
        assert_eq!(filling.take(20, 3.0), 0.0);
        assert_eq!(filling.take(21, 3.0), 2.0);
    }

    /// Every event is larger than the chamber, so the chamber is full after each, however its room came about.
    #[test]
    fn rounding_does_not_leave_a_chamber_unfilled() {
        let days: Vec<i32> = (0..500).collect();
        let mm = vec![5.0; 500];
        for rate in [0.1, 0.3, 0.7] {
            let emptying = Emptying::Trickle { mm_per_day: rate };
            let chamber = Chamber { emptying, ..Chamber::emptied(1.1) };
            let full = pass(chamber, &days, &mm, |_, brim| f64::from(u8::from(brim)));
            assert_eq!(full, vec![1.0; 500], "{rate}");
            let taken = pass(chamber, &days, &mm, |taken, _| taken);
            assert!(taken[1..].iter().all(|mm| (mm - rate).abs() < 1e-12), "{rate}");
        }
    }

    /// The fast ways for the usual chambers equal the way from event to event.
    #[test]
    fn shortcuts_are_the_same() {
        let days: Vec<i32> = (0..300).map(|n| n * 3 + n % 5).collect();
        let mm: Vec<f64> = (0..300).map(|n| 0.1 + f64::from(n * 7 % 13) * 0.3).collect();
        for emptying in [Emptying::WithinTheDay, Emptying::Trickle { mm_per_day: 0.2 }] {
            let chamber = Chamber { emptying, ..Chamber::emptied(1.5) };
            let mut filling = Filling::new(chamber);
            let slow: Vec<f64> = days.iter().zip(&mm).map(|(day, mm)| filling.take(*day, *mm)).collect();
            assert_eq!(pass(chamber, &days, &mm, |taken, _| taken), slow);
        }
    }

    #[test]
    fn a_blocked_hole_protects_nothing() {
        let blocked = [Stretch { from: Day(5), to: Some(Day(7)) }, Stretch { from: Day(9), to: None }];
        let chamber = Chamber { blocked: &blocked, ..Chamber::emptied(1.0) };
        let mut filling = Filling::new(chamber);
        let taken: Vec<f64> = (4..=10).map(|day| filling.take(day, 3.0)).collect();
        assert_eq!(taken, [1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0]);
        assert_eq!(chamber.expected().volume_mm, 0.0);
    }
}
