//! Scores of a forecast of a day, once the day is known.
//!
//! A forecast gives the chance of passage by each day. All scores except coverage are in days, and smaller is better.
//! An honest 10 to 90 % window has a coverage of 0.8.
//!
//! Sources: Continuous ranked probability score: Gneiting & Raftery 2007, "Strictly proper scoring rules", Journal of
//! the American Statistical Association 102:359. Loss of a quantile ("pinball"): Koenker & Bassett 1978, Econometrica
//! 46:33. Position of a count in its forecast, with ties halved: Czado, Gneiting & Held 2009, Biometrics 65:1254.

/// The chances that define the window.
pub const WINDOW: [f64; 3] = [0.1, 0.5, 0.9];

/// The chance of passage by day 1, 2, ... What is left after the last day passes on the last day.
#[derive(Debug, Clone)]
pub struct Forecast {
    by_day: Vec<f64>,
}

impl Forecast {
    /// All chance on one day, 1 or later.
    pub fn day(day: i32) -> Forecast {
        let mut by_day = vec![0.0; day.max(1) as usize];
        if let Some(last) = by_day.last_mut() {
            *last = 1.0;
        }
        Forecast { by_day }
    }

    /// From the chances by each day from 1 on. Dips are smoothed out.
    pub fn chances(by_day: Vec<f64>) -> Forecast {
        let mut most: f64 = 0.0;
        let by_day = by_day.into_iter().map(|chance| {
            most = most.max(chance);
            most
        });
        Forecast { by_day: by_day.collect() }
    }

    /// From equally likely days, 1 or later.
    pub fn paths(days: &[i32]) -> Forecast {
        let last = days.iter().copied().max().unwrap_or(1).max(1);
        let mut by_day = vec![0.0; last as usize];
        for day in days {
            by_day[(*day).max(1) as usize - 1] += 1.0;
        }
        let mut sum = 0.0;
        for share in &mut by_day {
            sum += *share;
            *share = sum / days.len() as f64;
        }
        Forecast { by_day }
    }

    /// The chance of passage by a day.
    pub fn by(&self, day: i32) -> f64 {
        if day < 1 {
            return 0.0;
        }
        let day = day as usize;
        if day >= self.by_day.len() { 1.0 } else { self.by_day[day - 1] }
    }

    /// The first day with at least the chance `p`.
    pub fn quantile(&self, p: f64) -> i32 {
        let before = self.by_day.partition_point(|chance| *chance < p);
        (before + 1).min(self.by_day.len().max(1)) as i32
    }

    /// The position of a day in the forecast, 0 to 1: the chance before it and half the chance on it.
    pub fn place(&self, day: i32) -> f64 {
        f64::midpoint(self.by(day - 1), self.by(day))
    }

    /// Continuous ranked probability score: the squared distance from the true day's certainty, summed over days.
    ///
    /// For a forecast of a single day it is the absolute error.
    pub fn ranked_score(&self, day: i32) -> f64 {
        let end = (self.by_day.len() as i32).max(day);
        (1..end)
            .map(|t| {
                let off = self.by(t) - f64::from(u8::from(t >= day));
                off * off
            })
            .sum()
    }

    /// All scores for the true day.
    pub fn score(&self, day: i32) -> Score {
        let place = self.place(day);
        let losses = WINDOW.map(|p| quantile_loss(self.quantile(p), p, day));
        Score {
            covered: f64::from(u8::from((WINDOW[0]..=WINDOW[2]).contains(&place))),
            pinball: losses.iter().sum::<f64>() / losses.len() as f64,
            crps: self.ranked_score(day),
        }
    }
}

/// Loss in days of a quantile at chance `p` for the true day.
pub fn quantile_loss(quantile: i32, p: f64, day: i32) -> f64 {
    let late = f64::from(day - quantile);
    if late >= 0.0 { p * late } else { (p - 1.0) * late }
}

/// The scores of one forecast.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Score {
    /// 1 when the day fell into the 10 to 90 % window, else 0.
    pub covered: f64,
    /// Mean loss of the three quantiles, days.
    pub pinball: f64,
    /// Ranked score, days.
    pub crps: f64,
}

/// Sums by year, for a mean and its standard error.
#[derive(Debug, Clone, Default)]
pub struct Yearly {
    /// Sum and count of each year. Compared tables have the years in the same order.
    years: Vec<(f64, f64)>,
}

impl Yearly {
    /// Empty sums for so many years.
    pub fn new(years: usize) -> Yearly {
        Yearly { years: vec![(0.0, 0.0); years] }
    }

    /// Adds a value to a year, counted from 0.
    pub fn add(&mut self, year: usize, value: f64) {
        let (sum, count) = &mut self.years[year];
        *sum += value;
        *count += 1.0;
    }

    fn mean_of(&self, years: &[usize]) -> Option<f64> {
        let (sum, count) = years.iter().fold((0.0, 0.0), |(sum, count), year| {
            let (s, c) = self.years[*year];
            (sum + s, count + c)
        });
        (count > 0.0).then(|| sum / count)
    }
}

/// A mean and its standard error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    pub mean: f64,
    pub error: f64,
}

/// The mean of the means of several tables. Its standard error comes from drawing whole years with replacement.
///
/// Whole years, because forecasts from neighbouring origins see the same rain. `None` when a table is empty. Every
/// call draws the same years (SplitMix64).
pub fn mean_and_error(tables: &[&Yearly]) -> Option<Estimate> {
    const DRAWS: usize = 500;
    let mean = |years: &[usize]| -> Option<f64> {
        let means: Option<Vec<f64>> = tables.iter().map(|table| table.mean_of(years)).collect();
        means.filter(|m| !m.is_empty()).map(|m| m.iter().sum::<f64>() / m.len() as f64)
    };
    let years = tables.first()?.years.len();
    let whole = mean(&(0..years).collect::<Vec<usize>>())?;
    // Years without an origin (before the first, after the last) are not drawn.
    let filled: Vec<usize> =
        (0..years).filter(|y| tables.iter().any(|table| table.years[*y].1 > 0.0)).collect();
    let mut state = 0_u64;
    let drawn: Vec<f64> = (0..DRAWS)
        .filter_map(|_| {
            let years: Vec<usize> =
                filled.iter().map(|_| filled[(next(&mut state) % filled.len() as u64) as usize]).collect();
            mean(&years)
        })
        .collect();
    let centre = drawn.iter().sum::<f64>() / drawn.len() as f64;
    let squares: f64 = drawn.iter().map(|m| (m - centre) * (m - centre)).sum();
    Some(Estimate { mean: whole, error: (squares / drawn.len() as f64).sqrt() })
}

/// SplitMix64: the next of a row of random numbers.
pub fn next(state: &mut u64) -> u64 {
    *state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
    let z = (*state ^ (*state >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    let z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}
