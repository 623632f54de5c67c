//! The unread days of a path, month by month.
//!
//! The variance of an accumulated amount needs sums over calendar months. Searches need them on days all over the
//! horizon. Months are added up once, as far as any search has looked. A day within a month starts from the sums
//! before that month. Without a sampling error the season of a month does not matter, so whole years are added up at
//! once.

use crate::calendar::month_length;

use super::law::Law;
use super::path::Path;
use super::sums::Sums;

/// K K: what an amount in one month adds to the twice smoothed sums of that month, its neighbours and their
/// neighbours.
const SMOOTHED_TWICE: [f64; 3] = [0.375, 0.25, 0.0625];

/// Consecutive unread days, and the sums before them.
#[derive(Debug, Clone, Copy)]
struct Row {
    /// Day numbers.
    first: i32,
    last: i32,
    /// Sums before `first`. Months are those that have ended by then.
    before: Sums,
    of: Span,
}

#[derive(Debug, Clone, Copy)]
enum Span {
    /// A calendar month, or its unread part.
    Month {
        /// Mean of a day.
        daily: f64,
        /// The month's amount before this row, when read days divide the month.
        open: f64,
        /// K K M of this month before this row.
        smoothed_before: f64,
    },
    /// A whole calendar year.
    Year { is_leap: bool },
}

/// A calendar year by its months: days, amounts and squared amounts before each month.
#[derive(Debug, Clone, Copy, Default)]
struct YearSums {
    days: [i32; 13],
    means: [f64; 13],
    squares: [f64; 13],
}

impl YearSums {
    fn new(daily: &[f64; 12], is_leap: bool) -> YearSums {
        let mut year = YearSums::default();
        for (m, daily) in daily.iter().enumerate() {
            let days = month_length(if is_leap { 4 } else { 1 }, m as u32 + 1) as i32;
            let amount = daily * f64::from(days);
            year.days[m + 1] = year.days[m] + days;
            year.means[m + 1] = year.means[m] + amount;
            year.squares[m + 1] = year.squares[m] + amount * amount;
        }
        year
    }
}

/// The unread days of a path, as far as any search has looked.
#[derive(Debug, Default)]
pub(crate) struct MonthlySums {
    rows: Vec<Row>,
    /// Common and leap years, once they were needed.
    years: [YearSums; 2],
    /// Stretches processed so far.
    stretches: usize,
    /// Year and index of the month after the last row, and of the month of the last row.
    next: (i32, usize),
    closed: (i32, usize),
    /// K K M by month, including the last row.
    smoothed: [f64; 12],
}

impl MonthlySums {
    /// Sums of the unread days of a path up to and including a day number. Pass the same path every time.
    pub(crate) fn sums(&mut self, path: &Path, number: i32) -> Sums {
        let Some(law) = path.law() else { return Sums::default() };
        while self.rows.last().is_none_or(|row| row.last < number) && self.grow(path, law, number) {}
        let begun = self.rows.partition_point(|row| row.first <= number);
        begun.checked_sub(1).map_or(Sums::default(), |at| self.through(&self.rows[at], law, number))
    }

    /// Sums up to and including a day number within a row or after it.
    fn through(&self, row: &Row, law: &Law, number: i32) -> Sums {
        let days = number.min(row.last) - row.first + 1;
        let before = &row.before;
        match row.of {
            Span::Month { daily, open, smoothed_before } => {
                let amount = daily * f64::from(days);
                let month = open + amount;
                Sums {
                    mean: before.mean + amount,
                    months: before.months + month * month,
                    // Growth of a squared sum by a piece in one month.
                    sampling: before.sampling + amount * (2.0 * smoothed_before + SMOOTHED_TWICE[0] * amount),
                    days: before.days + days,
                }
            }
            Span::Year { is_leap } => {
                let year = &self.years[usize::from(is_leap)];
                // The first guess takes all months as 31 days long. It is right or one month too early.
                let mut m = (days - 1) as usize / 31;
                m += usize::from(days > year.days[m + 1]);
                let amount = law.daily[m] * f64::from(days - year.days[m]);
                Sums {
                    mean: before.mean + year.means[m] + amount,
                    months: before.months + year.squares[m] + amount * amount,
                    sampling: 0.0,
                    days: before.days + days,
                }
            }
        }
    }

    /// Adds the rows of a stretch up to a day number. Returns whether it added any.
    fn grow(&mut self, path: &Path, law: &Law, number: i32) -> bool {
        let reached = self.rows.last().map_or(i32::MIN, |row| row.last);
        let current = self.stretches.checked_sub(1).map(|at| path.unread()[at]);
        let goes_on = current.filter(|stretch| stretch.1 > reached);
        let Some((low, high)) = goes_on.or_else(|| path.unread().get(self.stretches).copied()) else {
            return false;
        };
        if low > number {
            return false;
        }
        let mut before = self.rows.last().map_or(Sums::default(), |row| self.through(row, law, row.last));
        let mut open = 0.0;
        let (mut first, mut month, mut length);
        if goes_on.is_some() {
            (first, month) = (reached + 1, self.next);
            length = month_length(month.0, month.1 as u32 + 1);
        } else {
            let (y, m, day) = path.day(low).ymd();
            (first, month) = (low, (y, m as usize - 1));
            length = month_length(y, m) + 1 - day;
            if let Some(row) = self.rows.last().filter(|_| self.closed == month)
                && let Span::Month { daily, open: held, .. } = row.of
            {
                // Read days within a month do not end it.
                open = held + daily * f64::from(row.last - row.first + 1);
                before.months = row.before.months;
            }
            self.stretches += 1;
        }
        let by_years = !(law.sampling_sd > 0.0);
        while first <= high.min(number) {
            let (year, month0) = month;
            let is_leap = month_length(year, 2) == 29;
            let year_last = first + 364 + i32::from(is_leap);
            let row = if by_years && month0 == 0 && length == 31 && year_last <= high {
                if self.years[0].days[12] == 0 {
                    self.years = [false, true].map(|is_leap| YearSums::new(&law.daily, is_leap));
                }
                month = (year, 11);
                Row { first, last: year_last, before, of: Span::Year { is_leap } }
            } else {
                let of =
                    Span::Month { daily: law.daily[month0], open, smoothed_before: self.smoothed[month0] };
                Row { first, last: high.min(first + length as i32 - 1), before, of }
            };
            self.rows.push(row);
            before = self.through(&row, law, row.last);
            if !by_years {
                self.smooth_in(month0, before.mean - row.before.mean);
            }
            self.closed = month;
            month = if month.1 == 11 { (year + 1, 0) } else { (year, month0 + 1) };
            length = month_length(month.0, month.1 as u32 + 1);
            (first, open) = (row.last + 1, 0.0);
        }
        self.next = month;
        true
    }

    fn smooth_in(&mut self, month0: usize, amount: f64) {
        self.smoothed[month0] += SMOOTHED_TWICE[0] * amount;
        for (away, share) in SMOOTHED_TWICE.into_iter().enumerate().skip(1) {
            self.smoothed[(month0 + away) % 12] += share * amount;
            self.smoothed[(month0 + 12 - away) % 12] += share * amount;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calendar::Day;
    use crate::climate::smooth;
    use crate::passage::path::Known;
    use crate::passage::running_total::RunningTotal;

    /// Sums by the definition, day by day.
    fn by_days(path: &Path, law: &Law, number: i32) -> Sums {
        let unread = |n: i32| path.unread().iter().any(|(low, high)| (*low..=*high).contains(&n));
        let mut months: Vec<((i32, u32), f64)> = Vec::new();
        let mut by_month = [0.0; 12];
        let mut sums = Sums::default();
        for n in (1..=number).filter(|n| unread(*n)) {
            let (y, m, _) = path.day(n).ymd();
            let mean = law.daily[m as usize - 1];
            sums.mean += mean;
            sums.days += 1;
            by_month[m as usize - 1] += mean;
            match months.last_mut() {
                Some((id, amount)) if *id == (y, m) => *amount += mean,
                _ => months.push(((y, m), mean)),
            }
        }
        sums.months = months.iter().map(|(_, amount)| amount * amount).sum();
        sums.sampling = smooth(&by_month).iter().map(|x| x * x).sum();
        sums
    }

    #[test]
    fn months_add_up_like_days() {
        let since = Day::from_ymd(2019, 12, 17).unwrap();
        // One day, the rest of a partly read month, a stretch over a leap day, and one that continues into the
        // future.
        let gaps = vec![(3, 3), (20, 24), (30, 33), (60, 110), (400, 430)];
        let known = Known::new(RunningTotal::default(), since, since.plus(430), 0.0);
        let close = |a: f64, b: f64| (a - b).abs() <= 1e-12 * b.abs();
        for sampling_sd in [0.0, 0.2] {
            let law = Law {
                daily: std::array::from_fn(|m| 0.3 + f64::from((m as i32 * 7) % 5)),
                kappa: 1.0,
                sigma_month: 0.3,
                sigma_year: 0.1,
                sampling_sd,
                level_sd: 0.0,
            };
            let path = Path::new(known.clone(), gaps.clone(), Some(law), 3000);
            // In order, and back and forth as in a search.
            let orders: [Vec<i32>; 3] =
                [(1..1900).collect(), vec![2900, 5, 430, 431, 1200, 33, 34, 61, 3000, 2, 1], vec![60, 2999]];
            for order in orders {
                let mut rows = MonthlySums::default();
                for number in order {
                    let (ours, slow) = (rows.sums(&path, number), by_days(&path, &law, number));
                    let same = close(ours.mean, slow.mean)
                        && close(ours.months, slow.months)
                        && (sampling_sd == 0.0 || close(ours.sampling, slow.sampling))
                        && ours.days == slow.days;
                    assert!(same, "{number}: {ours:?} {slow:?}");
                }
            }
        }
    }
}
