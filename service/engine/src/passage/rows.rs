//! The unread days of a path, month by month.
//!
//! The variance of a tally needs sums over calendar months, and the searches ask for it on days all over the horizon. The
//! months are added up once, as far as anything looks; every day between follows from the sums before its month.

use crate::calendar::month_length;

use super::accumulate::{Law, Path};

/// Sums of the expectation over unread days.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Sums {
    /// M.
    pub mean: f64,
    /// Sum of the squares of M_j.
    pub months: f64,
    /// Sum of the squares of K M_c; nothing of use where the law has no sampling error.
    pub sampling: f64,
    pub days: i32,
}

/// K K: what an amount in a month adds to the smoothed-twice sums of that month, its neighbours and theirs.
const SMOOTHED_TWICE: [f64; 3] = [0.375, 0.25, 0.0625];

/// The unread days of one calendar month that follow each other, and what stands before them.
#[derive(Debug, Clone, Copy)]
struct Row {
    /// Day numbers.
    first: i32,
    last: i32,
    /// Mean of a day.
    daily: f64,
    /// Sums before `first`; months are those closed by then.
    before: Sums,
    /// What the month holds before `first`, when a stretch that was read parts it.
    open: f64,
    /// K K M of this month before `first`.
    tilt: f64,
}

impl Row {
    /// Sums up to and with a day number of the row or after it.
    fn sums(&self, number: i32) -> Sums {
        let days = number.min(self.last) - self.first + 1;
        let amount = self.daily * f64::from(days);
        let month = self.open + amount;
        Sums {
            mean: self.before.mean + amount,
            months: self.before.months + month * month,
            // The square of a sum, grown by a piece in one month.
            sampling: self.before.sampling + amount * (2.0 * self.tilt + SMOOTHED_TWICE[0] * amount),
            days: self.before.days + days,
        }
    }
}

/// The unread days of a path month by month, as far as anything looked.
#[derive(Debug, Default)]
pub(crate) struct Rows {
    rows: Vec<Row>,
    /// Stretches gone through, and the row with which the last of them began.
    stretches: usize,
    begun: usize,
    /// The month after that of the last row, and that one.
    next: (i32, usize),
    closed: (i32, usize),
    /// K K M by month, the last row included.
    tilts: [f64; 12],
}

impl Rows {
    /// Sums of the unread days of a path up to and with a day number. It must be the same path every time.
    pub(crate) fn sums(&mut self, path: &Path, number: i32) -> Sums {
        let Some(law) = path.law() else { return Sums::default() };
        while self.rows.last().is_none_or(|row| row.last < number) && self.grow(path, law, number) {}
        self.row(number).map_or(Sums::default(), |row| row.sums(number))
    }

    /// The last row that has begun by a day number.
    fn row(&self, number: i32) -> Option<&Row> {
        let Some(begun) = self.rows.get(self.begun).filter(|row| row.first <= number) else {
            let after =
                self.rows[..self.begun.min(self.rows.len())].partition_point(|row| row.first <= number);
            return after.checked_sub(1).map(|at| &self.rows[at]);
        };
        // Within a stretch, months follow each other: the row is where a mean month puts it, or next to it.
        let months = (number - begun.first) as usize * 12 / 366;
        let mut at = (self.begun + months).min(self.rows.len() - 1);
        while self.rows[at].first > number {
            at -= 1;
        }
        while self.rows.get(at + 1).is_some_and(|row| row.first <= number) {
            at += 1;
        }
        Some(&self.rows[at])
    }

    /// Adds the months of a stretch up to a day number; says whether it added any.
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
        let mut before = self.rows.last().map_or(Sums::default(), |row| row.sums(row.last));
        let mut open = 0.0;
        let (mut first, mut month, mut length);
        if goes_on.is_some() {
            (first, month) = (reached + 1, self.next);
            length = month_length(month.0, month.1 as u32 + 1);
        } else {
            let (y, m, day) = path.day(low).ymd();
            (first, month) = (low, (y, m as usize - 1));
            length = month_length(y, m) + 1 - day;
            if let Some(row) = self.rows.last().filter(|_| self.closed == month) {
                // Readings within a month: the month goes on.
                open = row.open + row.daily * f64::from(row.last - row.first + 1);
                before.months = row.before.months;
            }
            self.stretches += 1;
            self.begun = self.rows.len();
        }
        let to = high.min(number);
        self.rows.reserve(((to - first) / 28).max(0) as usize + 1);
        while first <= to {
            let month0 = month.1;
            let last = high.min(first + length as i32 - 1);
            let row = Row { first, last, daily: law.daily[month0], before, open, tilt: self.tilts[month0] };
            self.rows.push(row);
            before = row.sums(last);
            if law.sampling_sd > 0.0 {
                self.tilt(month0, before.mean - row.before.mean);
            }
            self.closed = month;
            month = if month0 == 11 { (month.0 + 1, 0) } else { (month.0, month0 + 1) };
            length = month_length(month.0, month.1 as u32 + 1);
            (first, open) = (last + 1, 0.0);
        }
        self.next = month;
        true
    }

    fn tilt(&mut self, month0: usize, amount: f64) {
        self.tilts[month0] += SMOOTHED_TWICE[0] * amount;
        for (away, share) in SMOOTHED_TWICE.into_iter().enumerate().skip(1) {
            self.tilts[(month0 + away) % 12] += share * amount;
            self.tilts[(month0 + 12 - away) % 12] += share * amount;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calendar::Day;
    use crate::climate::smooth;
    use crate::exposure::Steps;
    use crate::passage::accumulate::Known;

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
        let law = Law {
            daily: std::array::from_fn(|m| 0.3 + f64::from((m as i32 * 7) % 5)),
            kappa: 1.0,
            sigma_month: 0.3,
            sigma_year: 0.1,
            sampling_sd: 0.2,
        };
        let since = Day::from_ymd(2019, 12, 17).unwrap();
        // A day, the rest of a month that was read for a while, a stretch over a leap day, one that goes on into the future.
        let gaps = vec![(3, 3), (20, 24), (30, 33), (60, 110), (400, 430)];
        let known = Known::new(Steps::default(), since, since.plus(430), 0.0);
        let path = Path::new(known, gaps, Some(law), 3000);
        let close = |a: f64, b: f64| (a - b).abs() <= 1e-12 * b.abs();
        // In order, and there and back as a search goes.
        let orders: [Vec<i32>; 2] =
            [(1..900).collect(), vec![2900, 5, 430, 431, 1200, 33, 34, 61, 3000, 2, 1]];
        for order in orders {
            let mut rows = Rows::default();
            for number in order {
                let (ours, slow) = (rows.sums(&path, number), by_days(&path, &law, number));
                let same = close(ours.mean, slow.mean)
                    && close(ours.months, slow.months)
                    && close(ours.sampling, slow.sampling)
                    && ours.days == slow.days;
                assert!(same, "{number}: {ours:?} {slow:?}");
            }
        }
    }
}
