//! Walks from origin to origin along a record, and uses only the years before each origin.

use std::ops::Range;

use eavesward_engine::generate::Generator;
use eavesward_engine::passage::{Law, Moments, chance_reached};
use eavesward_engine::{Climate, Day, Limit, RainRecord};

use super::score::{Forecast, Score};

/// Daily loss of a smooth roof, mm. All rain above it runs off.
pub const LOSS_MM: f64 = 0.5;
/// Share of the training days that must have a reading. Judgement.
pub const LEAST_READ: f64 = 0.9;
/// Longest passage, days: sixty years. Longer passages count as this.
pub const LONGEST: i32 = 21_915;
/// About how many days of simulated rain a whole run may use. Each takes some 30 ns, so a run finishes in seconds.
const MOST_DAYS: f64 = 1.5e8;
/// Days between origins and simulated paths at each. The first that fits is used, otherwise the last.
const EFFORTS: [(i32, usize); 7] =
    [(7, 256), (14, 256), (28, 256), (28, 128), (56, 128), (112, 128), (224, 64)];
const SEED: u64 = 1;

/// The forecasters, in the order of [`Scored::scores`].
pub const FORECASTERS: [&str; 4] = ["straight line", "monthly line", "closed form", "simulator"];

/// A record laid out day by day.
#[derive(Debug)]
pub struct Rain {
    first: Day,
    /// mm, NaN without a reading.
    mm: Vec<f64>,
}

/// The plan of a walk.
#[derive(Debug, Clone)]
pub struct Plan {
    /// Years of readings before each origin.
    pub years: u32,
    /// Days from one origin to the next.
    pub step: i32,
    /// Paths of the simulator at each origin.
    pub paths: usize,
    /// Thresholds in mm, smallest first.
    pub thresholds: Vec<f64>,
    /// The origins: last days of training.
    pub origins: Vec<Day>,
}

/// The result for one threshold at one origin.
#[derive(Debug, Clone)]
pub enum CaseResult {
    /// The threshold was passed, and the forecasts are scored.
    Scored(Scored),
    /// A day without a reading came before the passage.
    Gap,
    /// The record ended before the passage.
    Open,
    /// Too few days before the origin have a reading.
    Thin,
}

/// A passage with the scores of all forecasters.
#[derive(Debug, Clone)]
pub struct Scored {
    /// The true day number. 1 is the day after the origin.
    pub day: i32,
    /// Scores in the order of [`FORECASTERS`].
    pub scores: [Score; 4],
}

impl Rain {
    /// From the readings (day number, mm), first to last. `None` without readings.
    pub fn new(readings: &std::collections::BTreeMap<i32, f64>) -> Option<Rain> {
        let (first, last) = (*readings.first_key_value()?.0, *readings.last_key_value()?.0);
        let mm = (first..=last).map(|day| readings.get(&day).copied().unwrap_or(f64::NAN)).collect();
        Some(Rain { first: Day(first), mm })
    }

    /// The first day.
    pub fn first(&self) -> Day {
        self.first
    }

    /// The last day.
    pub fn last(&self) -> Day {
        self.first.plus(self.mm.len() as i32 - 1)
    }

    /// Days from the first to the last.
    pub fn days(&self) -> usize {
        self.mm.len()
    }

    /// Days between them without a reading.
    pub fn unread(&self) -> usize {
        self.mm.iter().filter(|mm| mm.is_nan()).count()
    }

    /// Mean runoff of a day, mm.
    fn mean_runoff(&self) -> f64 {
        let runoff: f64 = self.mm.iter().map(|mm| (mm - LOSS_MM).max(0.0)).sum();
        runoff / (self.days() - self.unread()) as f64
    }

    fn index(&self, day: Day) -> usize {
        day.since(self.first) as usize
    }

    /// The days `from..=to`.
    fn part(&self, from: Day, to: Day) -> &[f64] {
        &self.mm[self.index(from)..=self.index(to)]
    }
}

impl Plan {
    /// Chooses what was not given. An error says why no forecast is possible and what helps.
    pub fn new(
        rain: &Rain,
        years: Option<u32>,
        step: Option<i32>,
        thresholds: &[f64],
    ) -> Result<Plan, String> {
        let whole = rain.days() as f64 / 365.25;
        let usual = if whole >= 7.0 { 5 } else { (whole / 2.0).floor().max(1.0) as u32 };
        let years = years.unwrap_or(usual);
        let behind = days_of(years);
        if rain.days() as i32 <= behind {
            let way =
                if years > 1 { "a longer record or a smaller --years" } else { "several years of days" };
            return Err(format!(
                "the record spans {whole:.1} years, from {} to {}, too short for --years {years}: give {way}",
                shown(rain.first()),
                shown(rain.last())
            ));
        }
        let first = rain.first().plus(behind - 1);
        let room = rain.last().since(first);
        let largest = thresholds.last().copied().unwrap_or(0.0);
        let days = (1.3 * largest / rain.mean_runoff()).min(f64::from(room));
        let fits = |step: i32, paths: usize| f64::from(room / step) * paths as f64 * days <= MOST_DAYS;
        let mut efforts = EFFORTS.into_iter().map(|(usual, paths)| (step.unwrap_or(usual), paths));
        let last = (step.unwrap_or(EFFORTS[6].0), EFFORTS[6].1);
        let (step, paths) = efforts.find(|(step, paths)| fits(*step, *paths)).unwrap_or(last);
        let origins = (0..room).step_by(step as usize).map(|days| first.plus(days)).collect();
        Ok(Plan { years, step, paths, thresholds: thresholds.to_vec(), origins })
    }
}

/// Days of so many years.
pub fn days_of(years: u32) -> i32 {
    (f64::from(years) * 365.25).round() as i32
}

/// A date for people.
pub fn shown(day: Day) -> String {
    let (y, m, d) = day.ymd();
    format!("{y:04}-{m:02}-{d:02}")
}

/// All thresholds of the plan at its origin `index`.
pub fn origin(rain: &Rain, plan: &Plan, index: usize) -> Result<Vec<CaseResult>, String> {
    let today = plan.origins[index];
    let came = passages(rain.part(today.plus(1), rain.last()), &plan.thresholds);
    let wanted: Vec<f64> =
        plan.thresholds.iter().zip(&came).filter(|(_, came)| came.is_ok()).map(|(mm, _)| *mm).collect();
    let from = today.plus(1 - days_of(plan.years));
    let behind = rain.part(from, today);
    let read = behind.iter().filter(|mm| !mm.is_nan()).count();
    let thin = (read as f64) < LEAST_READ * behind.len() as f64;
    let forecasts = if thin || wanted.is_empty() {
        Vec::new()
    } else {
        let first = (index * plan.paths) as u64;
        forecasts(from, behind, &wanted, first..first + plan.paths as u64)
            .map_err(|e| format!("{}: {e}", shown(today)))?
    };
    let mut forecasts = forecasts.into_iter();
    let results = came.into_iter().map(|came| match came {
        Err(result) => result,
        Ok(day) => forecasts.next().map_or(CaseResult::Thin, |each| {
            CaseResult::Scored(Scored { day, scores: each.map(|forecast| forecast.score(day)) })
        }),
    });
    Ok(results.collect())
}

/// The day number on which the coming runoff passed each threshold.
fn passages(ahead: &[f64], thresholds: &[f64]) -> Vec<Result<i32, CaseResult>> {
    let mut sum = 0.0;
    let mut days = ahead.iter().zip(1..);
    let mut day = 0;
    let mut stopped = None;
    let each = thresholds.iter().map(|threshold| {
        while sum < *threshold && stopped.is_none() {
            match days.next() {
                Some((mm, _)) if mm.is_nan() => stopped = Some(CaseResult::Gap),
                Some((mm, number)) => {
                    sum += (mm - LOSS_MM).max(0.0);
                    day = number;
                }
                None => stopped = Some(CaseResult::Open),
            }
        }
        if sum >= *threshold { Ok(day) } else { Err(stopped.clone().unwrap_or(CaseResult::Open)) }
    });
    each.collect()
}

/// Forecasts by threshold and forecaster, from the days `behind`, which begin at `from`.
pub fn forecasts(
    from: Day,
    behind: &[f64],
    thresholds: &[f64],
    paths: Range<u64>,
) -> Result<Vec<[Forecast; 4]>, String> {
    let today = from.plus(behind.len() as i32 - 1);
    let record = RainRecord::from_readings((0..).map(|i| from.plus(i)).zip(behind.iter().copied()));
    let climate = Climate::fit_with_loss(&record, None, LOSS_MM).map_err(|e| e.to_string())?;
    let runoff: Vec<f64> =
        behind.iter().filter(|mm| !mm.is_nan()).map(|mm| (mm - LOSS_MM).max(0.0)).collect();
    let straight = runoff.iter().sum::<f64>() / runoff.len() as f64;
    let monthly = climate.mean_runoff_by_month();
    let lines: Vec<i32> = thresholds.iter().map(|mm| monthly_line(&monthly, today, *mm)).collect();
    let mut simulated = simulate(&climate, today, thresholds, &lines, paths).into_iter();
    let mut closed = closed_form(&Law::of_runoff(&climate), today, thresholds)?.into_iter();
    let each = thresholds.iter().zip(&lines).filter_map(|(mm, line)| {
        // Infinite without rain, so it is capped at the longest.
        let days = (mm / straight).ceil().min(f64::from(LONGEST)) as i32;
        Some([Forecast::day(days), Forecast::day(*line), closed.next()?, simulated.next()?])
    });
    Ok(each.collect())
}

/// The day number on which the monthly means add up to a threshold.
fn monthly_line(daily: &[f64; 12], today: Day, threshold: f64) -> i32 {
    let mut sum = 0.0;
    let passed = (1..LONGEST).find(|t| {
        sum += daily[today.plus(*t).month0()];
        sum >= threshold
    });
    passed.unwrap_or(LONGEST)
}

/// The closed form's chance by day, for every threshold.
///
/// Every day up to 100. Then the step grows by one day for every 100 days, with straight lines between.
fn closed_form(law: &Law, today: Day, thresholds: &[f64]) -> Result<Vec<Forecast>, String> {
    const SURE: f64 = 1.0 - 1e-6;
    let mut chances: Vec<Vec<f64>> = vec![Vec::new(); thresholds.len()];
    let mut open = thresholds.len();
    let mut t = 0;
    while open > 0 && t < LONGEST {
        let next = (t + 1 + t / 100).min(LONGEST);
        let Moments { mean, variance } = law.moments(today, next);
        open = 0;
        for (threshold, chances) in thresholds.iter().zip(&mut chances) {
            let before = chances.last().copied().unwrap_or(0.0);
            if before >= SURE {
                continue;
            }
            let limit = Limit { median: *threshold, log_sd: 0.0 };
            let now = chance_reached(0.0, mean, variance, limit).map_err(|e| e.to_string())?;
            for day in t + 1..=next {
                let share = f64::from(day - t) / f64::from(next - t);
                chances.push(before + share * (now - before));
            }
            open += usize::from(now < SURE);
        }
        t = next;
    }
    Ok(chances.into_iter().map(Forecast::chances).collect())
}

/// The simulator's days, for every threshold. Paths end after three times the monthly line plus two years.
fn simulate(
    climate: &Climate,
    today: Day,
    thresholds: &[f64],
    lines: &[i32],
    paths: Range<u64>,
) -> Vec<Forecast> {
    let generator = Generator::new(climate, SEED);
    let longest = lines.iter().copied().max().unwrap_or(0);
    let horizon = longest.saturating_mul(3).saturating_add(730).min(LONGEST);
    let mut days: Vec<Vec<i32>> = vec![Vec::new(); thresholds.len()];
    for path in paths {
        let mut sum = 0.0;
        let mut rain = generator.days(path, today.plus(1)).zip(1..=horizon);
        let mut day = 0;
        for (threshold, days) in thresholds.iter().zip(&mut days) {
            while sum < *threshold
                && let Some((mm, t)) = rain.next()
            {
                sum += (mm - LOSS_MM).max(0.0);
                day = t;
            }
            days.push(day);
        }
    }
    days.iter().map(|days| Forecast::paths(days)).collect()
}
