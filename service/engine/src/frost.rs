//! When frost comes and goes, from monthly mean minima.
//!
//! Question answered: before which day must what frost would split be drained, and from which day may it be filled
//! again?
//!
//! The minimum of a day is taken as normal around a mean that runs straight from the middle of one month to the
//! middle of the next, with a spread of `1 + 0.32 (w - m)` K, at least 2.5 and at most 5, where m is that day's mean
//! and w that of the warmest month: minima stray further in the cold season. A day freezes below [`FROST_BELOW_C`].
//! Cold nights come in runs, so the chance of none among many is the product of the days' chances to the power
//! 0.5. The first frost day is the one on which the chance of having had a frost since midsummer passes 10 %,
//! the last one that after which less than 10 % remains. Both are the cautious end: half of all years freeze some two
//! weeks later, and earlier in spring.
//!
//! Spread and runs are judgement, set to published figures: the spread to the yearly count of days at or under 32 F
//! at 35 stations of the US climate normals 1981 to 2010 (root mean square error 6.7 days; counts from 0 to 273), the
//! runs to the dates of first and last freeze in the normals of 1991 to 2020 at Albany, with those of Cleveland in
//! view. Tests hold the counts to twelve stations that set nothing; no dates were left over for that.
//! Known failures: some 20 days too many on far northern coasts, whose minima crowd just above freezing, and 10 in
//! hot deserts; too few where polar air breaks out over a subtropical plain (a tenth of a day a year in the south of
//! Florida, where 0.9 are counted); hollows and roofs freeze when a screen two metres above the grass does not; a
//! warming climate.
//! Invariants: minima colder by the same step all year never bring the drain-down later or the restart earlier (but
//! for the shift of a single day's season in a lopsided winter); shifting the months by half a year shifts the dates
//! alike.

use crate::calendar::{DAYS_BEFORE_MONTH, Day, MONTH_DAYS};
use crate::error::{EngineError, require};
use crate::special::normal_below;

/// Minimum under which a day counts as frost, degrees C: what is read as 32 F in whole degrees.
pub const FROST_BELOW_C: f64 = 0.28;

/// Days between drain-down and the first frost day. Judgement.
pub const DRAIN_DAYS_BEFORE: u32 = 14;

/// Mean minimum that a week must stay above before restart, degrees C. Judgement.
pub const RESTART_ABOVE_C: f64 = 2.0;

/// Chance by which the first and the last frost day are set.
const CAUTION: f64 = 0.1;

/// How far cold nights come in runs: 1 if each were on its own, less the longer the runs. Judgement, see above.
const RUNS: f64 = 0.5;

/// Chance of a frost in a year under which a place has none. Judgement, low because of the subtropical failure above.
const NEGLIGIBLE: f64 = 0.01;

/// Range of the monthly means in K under which a place has no season to speak of. Judgement.
const LEAST_RANGE_K: f64 = 2.0;

const YEAR: usize = 365;

/// What frost does to a place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Frost {
    /// Less than one year in a hundred has any.
    None,
    /// Less than one year in ten has any: too rare for a date, so go by the forecast of the day.
    Rare {
        /// Chance of a frost in a year, 0.01 to 0.1.
        yearly_chance: f64,
    },
    /// It may come at any time, so that no part of the year is left between restart and drain-down.
    AnyTime,
    /// It has its season.
    Season(Season),
}

/// The frost season in days of a year of 365, 1 January = 1; 29 February counts as the 28th.
///
/// In the north the first day is usually later in the calendar than the last, as the season runs over the new year.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Season {
    /// Drain what is exposed on this day at the latest.
    pub drain_by: u32,
    /// First day with frost to reckon with.
    pub first: u32,
    /// Last day with frost to reckon with.
    pub last: u32,
    /// Fill again from this day on, if the week before was above 2 degrees C.
    pub restart: u32,
}

impl Frost {
    /// From monthly mean minima in degrees C, January first, -70 to 50 each.
    ///
    /// Takes some 20 microseconds and depends on nothing else, so work it out once per place.
    ///
    /// Twelve equal means are a climate too, near the equator: they give `None`, `Rare` or `AnyTime`, never a season.
    pub fn from_minima(mean_min_c: &[f64; 12]) -> Result<Frost, EngineError> {
        let year = Minima::new(mean_min_c)?;
        let logs = year.log_chances_of_none();
        let yearly_chance = -logs.iter().sum::<f64>().exp_m1();
        if yearly_chance < NEGLIGIBLE {
            return Ok(Frost::None);
        }
        if yearly_chance < CAUTION {
            return Ok(Frost::Rare { yearly_chance });
        }
        if year.range() < LEAST_RANGE_K {
            return Ok(Frost::AnyTime);
        }
        let midsummer = year.warmest();
        let (Some(after), Some(before)) = (
            days_to_caution((1..=YEAR).map(|k| logs[(midsummer + k) % YEAR])),
            days_to_caution((1..=YEAR).map(|k| logs[(midsummer + YEAR - k) % YEAR])),
        ) else {
            // Only the midsummer day itself lifts the year over the line.
            return Ok(Frost::Rare { yearly_chance });
        };
        // Where frost comes in one year out of five to ten, the chance of a first frost fills up only after the last
        // one is past. Any day between the two satisfies both; the coldest is taken for the whole season.
        let (after, before) = if after + before > YEAR {
            let coldest = (year.coldest() + YEAR - midsummer) % YEAR;
            let day = coldest.clamp(YEAR - before, after);
            (day, YEAR - day)
        } else {
            (after, before)
        };
        Ok(year.season(midsummer, after, before))
    }

    /// From dates the user gives: first and last day with frost, days of the year 1 to 365.
    pub fn from_dates(first: u32, last: u32) -> Result<Frost, EngineError> {
        for (name, day) in [("first frost day of the year", first), ("last frost day of the year", last)] {
            require((1..=YEAR as u32).contains(&day), name, f64::from(day), "1 to 365")?;
        }
        let free = (first + 2 * YEAR as u32 - last - 1) % YEAR as u32;
        if free <= DRAIN_DAYS_BEFORE {
            return Ok(Frost::AnyTime);
        }
        Ok(Frost::Season(Season {
            drain_by: shifted(first, -i64::from(DRAIN_DAYS_BEFORE)),
            first,
            last,
            restart: shifted(last, 1),
        }))
    }
}

/// Mean number of days with frost in a year, 0 to 365, from monthly mean minima as in [`Frost::from_minima`].
pub fn frost_days_per_year(mean_min_c: &[f64; 12]) -> Result<f64, EngineError> {
    let year = Minima::new(mean_min_c)?;
    Ok(year.days.iter().map(|mean| year.chance_of_frost(*mean)).sum())
}

/// The first day on or after `from` that has this day of the year, 1 to 365; `None` outside the calendar's years.
pub fn on_or_after(day_of_year: u32, from: Day) -> Option<Day> {
    let before = |month0: usize| DAYS_BEFORE_MONTH[month0] < day_of_year;
    let month0 = (0..12).rev().find(|m| before(*m))?;
    let day_of_month = day_of_year - DAYS_BEFORE_MONTH[month0];
    let year = from.ymd().0;
    let in_year = |y| Day::from_ymd(y, month0 as u32 + 1, day_of_month);
    in_year(year).filter(|day| *day >= from).or_else(|| in_year(year + 1))
}

/// Days until the chance of a frost passes the caution, taking days in order.
fn days_to_caution(log_chances_of_none: impl Iterator<Item = f64>) -> Option<usize> {
    let mut none = 0.0;
    let passed = |log: f64| {
        none += log;
        -f64::exp_m1(none) >= CAUTION
    };
    log_chances_of_none.map(passed).position(|is| is).map(|index| index + 1)
}

/// A day of the year some days on.
fn shifted(day_of_year: u32, days: i64) -> u32 {
    ((i64::from(day_of_year) - 1 + days).rem_euclid(YEAR as i64) + 1) as u32
}

/// Mean minima of every day of the year.
struct Minima {
    days: [f64; YEAR],
    low: f64,
    high: f64,
}

impl Minima {
    fn new(mean_min_c: &[f64; 12]) -> Result<Minima, EngineError> {
        for mean in *mean_min_c {
            require((-70.0..=50.0).contains(&mean), "mean minimum in C", mean, "-70 to 50")?;
        }
        let days = std::array::from_fn(|index| between_months(mean_min_c, index));
        let low = mean_min_c.iter().copied().fold(f64::INFINITY, f64::min);
        let high = mean_min_c.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        Ok(Minima { days, low, high })
    }

    fn range(&self) -> f64 {
        self.high - self.low
    }

    /// Standard deviation of a day's minimum whose mean is given.
    fn spread(&self, mean: f64) -> f64 {
        (1.0 + 0.32 * (self.high - mean)).clamp(2.5, 5.0)
    }

    fn chance_of_frost(&self, mean: f64) -> f64 {
        normal_below((FROST_BELOW_C - mean) / self.spread(mean))
    }

    /// Logarithm of each day's part in the chance of no frost.
    fn log_chances_of_none(&self) -> [f64; YEAR] {
        self.days.map(|mean| RUNS * normal_below((mean - FROST_BELOW_C) / self.spread(mean)).ln())
    }

    /// Index of the warmest day, the last one of equals.
    fn warmest(&self) -> usize {
        (1..YEAR).fold(0, |best, index| if self.days[index] >= self.days[best] { index } else { best })
    }

    /// Index of the coldest day, the first one of equals.
    fn coldest(&self) -> usize {
        (1..YEAR).fold(0, |best, index| if self.days[index] < self.days[best] { index } else { best })
    }

    /// The season that begins `after` days after midsummer and ended `before` days before it.
    fn season(&self, midsummer: usize, after: usize, before: usize) -> Frost {
        let at = |offset: i64| shifted(midsummer as u32 + 1, offset);
        let (first, last) = (after as i64, -(before as i64));
        let drain_by = first - i64::from(DRAIN_DAYS_BEFORE);
        let week_is_warm = |day: i64| (day - 7..day).all(|d| self.days[at(d) as usize - 1] > RESTART_ABOVE_C);
        match (last + 1..drain_by).find(|day| week_is_warm(*day)) {
            Some(restart) => Frost::Season(Season {
                drain_by: at(drain_by),
                first: at(first),
                last: at(last),
                restart: at(restart),
            }),
            None => Frost::AnyTime,
        }
    }
}

/// Mean of the day with this index, 0 to 364, straight between the middles of the months.
fn between_months(monthly: &[f64; 12], index: usize) -> f64 {
    let middle = |m: usize| f64::from(DAYS_BEFORE_MONTH[m % 12]) + MONTH_DAYS[m % 12] / 2.0;
    let place = index as f64 + 0.5;
    let month0 = (0..12).rev().find(|m| middle(*m) <= place).unwrap_or(11);
    let length = (middle(month0 + 1) - middle(month0)).rem_euclid(YEAR as f64);
    let share = (place - middle(month0)).rem_euclid(YEAR as f64) / length;
    monthly[month0] + share * (monthly[(month0 + 1) % 12] - monthly[month0])
}
