//! Daily rain from one gauge.
//!
//! Question answered: how much rain fell on a day, and was there a reading at all?
//! Unit: mm per civil day, 0 or more, on days from 1700 to 2300. A day without a reading is unknown, never zero.
//! Nothing is computed here, so nothing is judgement.
//!
//! Known failures that this type cannot see: sums of several days on one day, depths in 0.1 mm or inches, and a
//! station that reports zero while it rains. Negative and non-finite values count as no reading. Such values are
//! missing-value codes (-9900) and traces coded below zero.
//!
//! Invariants: The first and the last day of a record have a reading. The order of readings does not matter; of
//! several values for one day the last one counts. A record cut off at a day holds nothing of later days.

use crate::calendar::Day;

/// 1700-01-01. Earlier readings are ignored, so that one bad date cannot ask for a giant array.
const EARLIEST: i32 = -98_615;
/// 2300-01-01.
const LATEST: i32 = 120_530;

/// Daily rain depths of one gauge, with gaps.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct RainRecord {
    start: i32,
    mm: Vec<f64>,
    known: usize,
}

impl RainRecord {
    /// A record without readings.
    pub fn empty() -> RainRecord {
        RainRecord::default()
    }

    /// Builds a record from (day, mm) pairs in any order.
    ///
    /// Of two values for one day the later in the iteration counts, even if it is "no reading" (negative or not
    /// finite). Days outside 1700 to 2300 are ignored.
    pub fn from_readings(readings: impl IntoIterator<Item = (Day, f64)>) -> RainRecord {
        let pairs: Vec<(i32, f64)> = readings
            .into_iter()
            .filter(|(day, _)| (EARLIEST..LATEST).contains(&day.0))
            .map(|(day, mm)| (day.0, if mm.is_finite() && mm >= 0.0 { mm } else { f64::NAN }))
            .collect();
        let (Some(low), Some(high)) = (pairs.iter().map(|p| p.0).min(), pairs.iter().map(|p| p.0).max())
        else {
            return RainRecord::empty();
        };
        let mut mm = vec![f64::NAN; (high - low) as usize + 1];
        for (day, value) in pairs {
            mm[(day - low) as usize] = value;
        }
        let Some(head) = mm.iter().position(|v| !v.is_nan()) else {
            return RainRecord::empty();
        };
        mm.drain(..head);
        while mm.last().is_some_and(|v| v.is_nan()) {
            mm.pop();
        }
        let known = mm.iter().filter(|v| !v.is_nan()).count();
        RainRecord { start: low + head as i32, mm, known }
    }

    /// Adds a reading after the last one. Days between them stay without a reading. Returns whether it was added.
    ///
    /// It is not added when the day is not later, when the day is outside 1700 to 2300, or when the depth is no
    /// reading.
    pub fn push(&mut self, day: Day, mm: f64) -> bool {
        let later = self.last().is_none_or(|last| day > last);
        if !later || !(EARLIEST..LATEST).contains(&day.0) || !mm.is_finite() || !(mm >= 0.0) {
            return false;
        }
        if self.mm.is_empty() {
            self.start = day.0;
        }
        self.mm.resize((day.0 - self.start) as usize, f64::NAN);
        self.mm.push(mm);
        self.known += 1;
        true
    }

    /// The readings up to and including a day.
    pub fn until(&self, day: Day) -> RainRecord {
        let mut mm = self.mm.clone();
        mm.truncate((i64::from(day.0) - i64::from(self.start) + 1).max(0) as usize);
        while mm.last().is_some_and(|v| v.is_nan()) {
            mm.pop();
        }
        let known = mm.iter().filter(|v| !v.is_nan()).count();
        RainRecord { start: self.start, mm, known }
    }

    /// The reading of a day in mm. `None` when the gauge gave none.
    pub fn get(&self, day: Day) -> Option<f64> {
        let index = usize::try_from(i64::from(day.0) - i64::from(self.start)).ok()?;
        self.mm.get(index).copied().filter(|v| !v.is_nan())
    }

    /// The first day with a reading.
    pub fn first(&self) -> Option<Day> {
        (!self.mm.is_empty()).then_some(Day(self.start))
    }

    /// The last day with a reading.
    pub fn last(&self) -> Option<Day> {
        (!self.mm.is_empty()).then(|| Day(self.start + self.mm.len() as i32 - 1))
    }

    /// The last day with a reading, up to and including a day.
    pub(crate) fn last_until(&self, day: Day) -> Option<Day> {
        let days = (i64::from(day.0) - i64::from(self.start) + 1).clamp(0, self.mm.len() as i64) as usize;
        self.mm[..days].iter().rposition(|mm| !mm.is_nan()).map(|index| Day(self.start + index as i32))
    }

    /// How many days have a reading.
    pub fn known_days(&self) -> usize {
        self.known
    }

    /// Whether there is no reading at all.
    pub fn is_empty(&self) -> bool {
        self.known == 0
    }

    /// Depths from the first to the last reading, NaN where there is none.
    pub(crate) fn dense(&self) -> &[f64] {
        &self.mm
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn later_duplicate_wins_and_codes_are_gaps() {
        let record = RainRecord::from_readings([
            (Day(12), 3.0),
            (Day(10), 1.0),
            (Day(12), 4.0),
            (Day(11), -9900.0),
            (Day(13), f64::NAN),
            (Day(9), f64::INFINITY),
            (Day(i32::MAX), 5.0),
        ]);
        assert_eq!(record.first(), Some(Day(10)));
        assert_eq!(record.last(), Some(Day(12)));
        assert_eq!(record.get(Day(11)), None);
        assert_eq!(record.get(Day(12)), Some(4.0));
        assert_eq!(record.known_days(), 2);
        assert_eq!(record.get(Day(i32::MIN)), None);
    }

    #[test]
    fn nothing_but_gaps_is_empty() {
        assert!(RainRecord::from_readings([(Day(1), f64::NAN)]).is_empty());
        assert_eq!(RainRecord::empty().last(), None);
    }
}
