//! When frost comes and goes, from monthly mean minima.
//!
//! Question answered: by which day must exposed parts be drained, and from which day may they be filled again?
//!
//! The minimum of a day is normal around a mean. The mean runs straight from the middle of one month to the middle
//! of the next. The spread is `1.8 + g (0.09 (w - m) + 0.008 (w - m)^2)` K, at most 5. Here m is that day's mean and
//! w the mean of the warmest month: minima vary more in the cold season, and more the further the sea. The factor g is
//! 1 where the coldest month's mean is under 2 degrees C, falls straight, and is 0.4 from 6.2 degrees C on: cold air
//! seldom reaches mild winters. A day freezes below [`FROST_BELOW_C`].
//!
//! Cold nights come in runs. So the chance of no frost in many nights is the product of the days' chances to the
//! power 0.5. A place where fewer than half of the years have frost gets no dates. The first frost day is the day on which the chance of a frost since midsummer passes 10 %. After the
//! last frost day less than 10 % remains. Both days are cautious: in half of all years the first frost comes some
//! two weeks later, and the last one earlier in spring.
//!
//! Spread and runs are judgement, set to published figures. The spread is set to the yearly counts of frost days of
//! twelve stations (US climate normals 1981 to 2010) and of eleven daily series from Europe, Africa, India and South
//! America (climate files of the Python package aquacrop 3.1). Its root mean square error is 3.3 days on either, with
//! counts from 0 to 181. The runs are set to the dates of first and last freeze at Albany, with Cleveland in view
//! (normals of 1991 to 2020). No dates were left for a test.
//!
//! Known failures: It is too low where polar air breaks out over a subtropical plain: in the south of Florida it gives
//! none, and 0.9 days a year were counted. Hollows and roofs freeze when a thermometer screen
//! 2 m above the grass does not. A warming climate is not modelled.
//! Invariants: Minima that are colder by the same step all year never bring the drain-down later or the restart
//! earlier. The exception: in a lopsided winter a season of a single day may shift. Months shifted by half a year
//! shift the dates alike.

use crate::calendar::{DAYS_BEFORE_MONTH, Day, MONTH_DAYS};
use crate::error::{EngineError, require};
use crate::special::normal_below;

/// Minimum below which a day counts as frost, degrees C. A reading in whole degrees F shows 32 or less there.
pub const FROST_BELOW_C: f64 = 0.28;

/// Days between drain-down and the first frost day. Judgement.
pub const DRAIN_DAYS_BEFORE: u32 = 14;

/// The mean minima of a week must all be above this before restart, degrees C. Judgement.
pub const RESTART_ABOVE_C: f64 = 2.0;

/// Chance that sets the first and the last frost day.
const CAUTION: f64 = 0.1;

/// How much cold nights come in runs: 1 if each night were independent, less for longer runs. Judgement, see
/// above.
const RUNS: f64 = 0.5;

/// Yearly chance of a frost below which a place gets no dates.
const SELDOM: f64 = 0.5;

/// Yearly chance of a frost below which a place has no frost. Judgement, low because of the subtropical failure
/// above.
const NEGLIGIBLE: f64 = 0.01;

/// Range of the monthly means in K below which a place has no frost season. Judgement.
const LEAST_RANGE_K: f64 = 2.0;

const YEAR: usize = 365;

/// How frost comes at a place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Frost {
    /// Fewer than one year in a hundred has frost.
    None,
    /// Fewer than half of the years have frost. That is too rare for a date, so follow the daily weather forecast.
    Rare {
        /// Chance of a frost in a year, 0.01 to 0.5.
        yearly_chance: f64,
    },
    /// Frost may come at any time, so no part of the year is left between restart and drain-down.
    AnyTime,
    /// Frost has its season.
    Season(Season),
}

/// The frost season in days of a year of 365, 1 January = 1. 29 February counts as the 28th.
///
/// In the north the season runs over the new year, so the first day usually comes later in the calendar than the
/// last.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Season {
    /// Last day by which exposed parts must be drained.
    pub drain_by: u32,
    /// First day on which to expect frost.
    pub first: u32,
    /// Last day on which to expect frost.
    pub last: u32,
    /// First day on which parts may be filled again, if the week before stayed above 2 degrees C.
    pub restart: u32,
}

impl Frost {
    /// From monthly mean minima in degrees C, January first, -70 to 50 each.
    ///
    /// Takes some 20 microseconds and depends on nothing else, so compute it once per place.
    ///
    /// Twelve equal means are valid, as near the equator. They give `None`, `Rare` or `AnyTime`, never a season.
    pub fn from_minima(mean_min_c: &[f64; 12]) -> Result<Frost, EngineError> {
        let year = Minima::new(mean_min_c)?;
        let logs = year.log_chances_of_none();
        let yearly_chance = -logs.iter().sum::<f64>().exp_m1();
        if yearly_chance < NEGLIGIBLE {
            return Ok(Frost::None);
        }
        if yearly_chance < SELDOM {
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
            // Only the midsummer day itself lifts the year that far.
            return Ok(Frost::Rare { yearly_chance });
        };
        // Where frost is on few days, the chance of a first frost may reach 10 % only after the last one is past.
        // Any day between the two satisfies both. The coldest day then stands for the whole season.
        let (after, before) = if after + before > YEAR {
            let coldest = (year.coldest() + YEAR - midsummer) % YEAR;
            let day = coldest.clamp(YEAR - before, after);
            (day, YEAR - day)
        } else {
            (after, before)
        };
        Ok(year.season(midsummer, after, before))
    }

    /// From dates that the user gives: first and last day with frost, as days of the year 1 to 365.
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

/// The first day on or after `from` that has this day of the year, 1 to 365. `None` outside the calendar's years.
pub fn on_or_after(day_of_year: u32, from: Day) -> Option<Day> {
    let before = |month0: usize| DAYS_BEFORE_MONTH[month0] < day_of_year;
    let month0 = (0..12).rev().find(|m| before(*m))?;
    let day_of_month = day_of_year - DAYS_BEFORE_MONTH[month0];
    let year = from.ymd().0;
    let in_year = |y| Day::from_ymd(y, month0 as u32 + 1, day_of_month);
    in_year(year).filter(|day| *day >= from).or_else(|| in_year(year + 1))
}

/// Days until the chance of a frost passes [`CAUTION`], in the given order of days.
fn days_to_caution(log_chances_of_none: impl Iterator<Item = f64>) -> Option<usize> {
    let mut none = 0.0;
    let passed = |log: f64| {
        none += log;
        -f64::exp_m1(none) >= CAUTION
    };
    log_chances_of_none.map(passed).position(|is| is).map(|index| index + 1)
}

/// The day of the year `days` later.
fn shifted(day_of_year: u32, days: i64) -> u32 {
    ((i64::from(day_of_year) - 1 + days).rem_euclid(YEAR as i64) + 1) as u32
}

/// Mean minimum of every day of the year.
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

    /// Standard deviation of the minimum of a day with this mean.
    fn spread(&self, mean: f64) -> f64 {
        let reach = ((9.0 - self.low) / 7.0).clamp(0.4, 1.0);
        let below = self.high - mean;
        (1.8 + reach * below * (0.09 + 0.008 * below)).min(5.0)
    }

    fn chance_of_frost(&self, mean: f64) -> f64 {
        normal_below((FROST_BELOW_C - mean) / self.spread(mean))
    }

    /// Logarithm of each day's factor in the chance of no frost.
    fn log_chances_of_none(&self) -> [f64; YEAR] {
        self.days.map(|mean| RUNS * normal_below((mean - FROST_BELOW_C) / self.spread(mean)).ln())
    }

    /// Index of the warmest day, the last one if several are equal.
    fn warmest(&self) -> usize {
        (1..YEAR).fold(0, |best, index| if self.days[index] >= self.days[best] { index } else { best })
    }

    /// Index of the coldest day, the first one if several are equal.
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

/// Mean of the day with this index, 0 to 364, on straight lines between the middles of the months.
fn between_months(monthly: &[f64; 12], index: usize) -> f64 {
    let middle = |m: usize| f64::from(DAYS_BEFORE_MONTH[m % 12]) + MONTH_DAYS[m % 12] / 2.0;
    let place = index as f64 + 0.5;
    let month0 = (0..12).rev().find(|m| middle(*m) <= place).unwrap_or(11);
    let length = (middle(month0 + 1) - middle(month0)).rem_euclid(YEAR as f64);
    let share = (place - middle(month0)).rem_euclid(YEAR as f64) / length;
    monthly[month0] + share * (monthly[(month0 + 1) % 12] - monthly[month0])
}
