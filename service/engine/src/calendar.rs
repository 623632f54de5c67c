//! Civil days without a clock.
//!
//! A [`Day`] is the number of days since 1970-01-01 in the proleptic Gregorian calendar. It has no time zone: the
//! caller decides which civil day a reading belongs to. The day of a rain gauge often runs from 9 a.m. to 9 a.m.
//! and may be filed one day off. That does no harm to sums, but it is wrong for single events.
//!
//! Conversions follow the era arithmetic of Howard Hinnant's public-domain `chrono` algorithms ("days from civil").
//! Invariant: `Day::from_ymd(y, m, d)` followed by [`Day::ymd`] gives back the same triple.

/// Days before the first of each month in a year of 365 days.
pub(crate) const DAYS_BEFORE_MONTH: [u32; 12] = [0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334];

/// Length of each month in days, February 28.
pub(crate) const MONTH_DAYS: [f64; 12] =
    [31.0, 28.0, 31.0, 30.0, 31.0, 30.0, 31.0, 31.0, 30.0, 31.0, 30.0, 31.0];

/// Mean length of each month in days over the leap cycle, February 28.25.
pub(crate) const MEAN_MONTH_DAYS: [f64; 12] =
    [31.0, 28.25, 31.0, 30.0, 31.0, 30.0, 31.0, 31.0, 30.0, 31.0, 30.0, 31.0];

/// A civil day, counted from 1970-01-01 = 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Day(pub i32);

impl Day {
    /// The day of a proleptic Gregorian date, or `None` when there is no such date.
    ///
    /// Years from -9999 to 9999, months 1 to 12, days from 1.
    pub fn from_ymd(y: i32, m: u32, d: u32) -> Option<Day> {
        if !(-9999..=9999).contains(&y) || !(1..=12).contains(&m) || d < 1 || d > month_length(y, m) {
            return None;
        }
        let shifted = if m <= 2 { y - 1 } else { y };
        let era = shifted.div_euclid(400);
        let year_of_era = shifted.rem_euclid(400);
        // March counts as month 0, so that the leap day is the last of its year.
        let month_from_march = (m + 9) % 12;
        let day_of_year = (153 * month_from_march + 2) / 5 + d - 1;
        let day_of_era = year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year as i32;
        Some(Day(era * 146_097 + day_of_era - 719_468))
    }

    /// Year, month 1 to 12, day of the month from 1.
    pub fn ymd(self) -> (i32, u32, u32) {
        let z = i64::from(self.0) + 719_468;
        let era = z.div_euclid(146_097);
        let doe = z.rem_euclid(146_097);
        let yoe = (doe - doe / 1460 + doe / 36_524 - doe / 146_096) / 365;
        let doy = doe - (365 * yoe + yoe / 4 - yoe / 100);
        let mp = (5 * doy + 2) / 153;
        let d = (doy - (153 * mp + 2) / 5 + 1) as u32;
        let m = if mp < 10 { mp + 3 } else { mp - 9 } as u32;
        let y = yoe + era * 400 + i64::from(m <= 2);
        (y as i32, m, d)
    }

    /// The calendar month as an index, January 0 to December 11.
    pub fn month0(self) -> usize {
        self.ymd().1 as usize - 1
    }

    /// The day of the year, 1 to 365, or 366 at the end of a leap year.
    pub fn day_of_year(self) -> u32 {
        let (y, m, d) = self.ymd();
        DAYS_BEFORE_MONTH[m as usize - 1] + d + u32::from(m > 2 && is_leap(y))
    }

    /// The day `days` later, or earlier when negative. Stops at the ends of the range instead of wrapping.
    pub fn plus(self, days: i32) -> Day {
        Day(self.0.saturating_add(days))
    }

    /// Days from `earlier` to this day, negative when `earlier` is the later day.
    pub fn since(self, earlier: Day) -> i32 {
        self.0.saturating_sub(earlier.0)
    }

    /// The last day of this day's calendar month.
    pub(crate) fn month_end(self) -> Day {
        let (y, m, d) = self.ymd();
        self.plus((month_length(y, m) - d) as i32)
    }
}

/// Steps through consecutive days and keeps month and day of the year, without a division per day.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Walker {
    day: Day,
    month0: usize,
    doy: u32,
    month_last: Day,
}

impl Walker {
    /// A walker standing on `day`.
    pub(crate) fn at(day: Day) -> Walker {
        Walker { day, month0: day.month0(), doy: day.day_of_year(), month_last: day.month_end() }
    }

    /// Month index 0 to 11 of the day it stands on.
    pub(crate) fn month0(&self) -> usize {
        self.month0
    }

    /// Whether it stands on 29 February.
    pub(crate) fn is_leap_day(&self) -> bool {
        self.month0 == 1 && self.doy == 60
    }

    /// Moves to the next day.
    pub(crate) fn step(&mut self) {
        self.day = self.day.plus(1);
        if self.day > self.month_last {
            *self = Walker::at(self.day);
        } else {
            self.doy += 1;
        }
    }
}

fn is_leap(y: i32) -> bool {
    y % 4 == 0 && (y % 100 != 0 || y % 400 == 0)
}

/// Days of month 1 to 12.
pub(crate) fn month_length(y: i32, m: u32) -> u32 {
    match m {
        2 if is_leap(y) => 29,
        2 => 28,
        4 | 6 | 9 | 11 => 30,
        _ => 31,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn known_days() {
        assert_eq!(Day::from_ymd(1970, 1, 1), Some(Day(0)));
        assert_eq!(Day::from_ymd(2000, 3, 1), Some(Day(11_017)));
        assert_eq!(Day::from_ymd(1900, 2, 29), None);
        assert_eq!(Day::from_ymd(2001, 13, 1), None);
        assert_eq!(Day::from_ymd(2024, 12, 31).map(Day::day_of_year), Some(366));
        assert_eq!(Day(-1).ymd(), (1969, 12, 31));
    }

    #[test]
    fn every_day_of_five_centuries_goes_there_and_back() {
        let first = Day::from_ymd(1700, 1, 1).unwrap();
        let mut walker = Walker::at(first);
        let mut day = first;
        while day.ymd().0 < 2200 {
            let (y, m, d) = day.ymd();
            assert_eq!(Day::from_ymd(y, m, d), Some(day));
            assert_eq!(walker.month0(), day.month0());
            assert_eq!(walker.doy, day.day_of_year());
            assert_eq!(walker.is_leap_day(), (m, d) == (2, 29));
            day = day.plus(1);
            walker.step();
        }
    }
}
