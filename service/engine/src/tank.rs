//! The water in a tank from day to day.
//!
//! Question answered: how much water is stored, drawn and lost over the overflow? On which day does work that empties
//! the tank lose the least water?
//!
//! Inflow Q, demand D, store V and capacity S of a day are in litres. By yield before spillage, `Y = min(D, V + Q)`,
//! spill is `max(0, V + Q - Y - S)` and `V' = V + Q - Y - spill`. Source: Jenkins et al. 1978, developed by Fewkes &
//! Butler 2000, as read in Plumbing Africa, January 2019, p. 33.
//!
//! EPA SWMM 5.2.4 spills the same within 0.02 m3 a year when inflow and draw spread over the day. With the two rules
//! of yield after spillage, a full tank spills before water is drawn. They spill 0.06 to 0.8 m3 a year more and are
//! the cautious choice for supply.
//!
//! Known failures: Demand that follows the season, a leak, mains top-up. A cloudburst that overflows within the day
//! while the draw comes in the evening. Days are too coarse for stores under a hundredth of a year's inflow (from
//! memory).
//! Invariants: Inflow = yield + spill + change of store. 0 <= V <= S. Spill by yield before spillage <= after
//! spillage <= after spillage from yesterday's store. Spill and days short fall with capacity. Spill falls with
//! demand.

use crate::calendar::{Day, MEAN_MONTH_DAYS, Walker};
use crate::error::{EngineError, require};

/// A tank and what is drawn from it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tank {
    capacity_l: f64,
    demand_l_per_day: f64,
}

/// What one day drew and spilled.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flow {
    /// Drawn, litres. Less than the demand when the tank falls short.
    pub yield_l: f64,
    /// Lost over the overflow, litres.
    pub spill_l: f64,
}

/// Which of inflow, draw and overflow comes first within a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rule {
    /// Rain comes in, the demand is drawn, then any excess spills. The engine uses this rule.
    YieldBeforeSpillage,
    /// Rain comes in, any excess spills, then the demand is drawn.
    YieldAfterSpillage,
    /// The same, but only the water of the morning may be drawn.
    YieldFromYesterday,
}

impl Tank {
    /// A tank of a capacity above 0 and a demand of 0 or more, litres and litres per day.
    pub fn new(capacity_l: f64, demand_l_per_day: f64) -> Result<Tank, EngineError> {
        require(capacity_l > 0.0 && capacity_l.is_finite(), "capacity_l", capacity_l, "above 0")?;
        let demand_ok = demand_l_per_day >= 0.0 && demand_l_per_day.is_finite();
        require(demand_ok, "demand_l_per_day", demand_l_per_day, "0 or more")?;
        Ok(Tank { capacity_l, demand_l_per_day })
    }

    /// What it holds when full, litres.
    pub fn capacity_l(&self) -> f64 {
        self.capacity_l
    }

    /// Demand, litres per day.
    pub fn demand_l_per_day(&self) -> f64 {
        self.demand_l_per_day
    }

    /// The empty tank.
    pub fn empty(self) -> Store {
        Store { tank: self, held_l: 0.0 }
    }

    /// The tank with this much water, from 0 to its capacity, in litres.
    pub fn holding(self, held_l: f64) -> Result<Store, EngineError> {
        let held_ok = (0.0..=self.capacity_l).contains(&held_l);
        require(held_ok, "held_l", held_l, "0 to the capacity")?;
        Ok(Store { tank: self, held_l })
    }
}

/// A tank on one evening.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Store {
    tank: Tank,
    held_l: f64,
}

impl Store {
    /// Passes one day by yield before spillage. `inflow_l` 0 or more.
    #[inline]
    pub fn day(&mut self, inflow_l: f64) -> Flow {
        let there = self.held_l + inflow_l;
        let yield_l = there.min(self.tank.demand_l_per_day);
        let left = there - yield_l;
        self.held_l = left.min(self.tank.capacity_l);
        Flow { yield_l, spill_l: left - self.held_l }
    }

    /// Passes one day by one of the rules. `inflow_l` 0 or more.
    pub fn day_by(&mut self, rule: Rule, inflow_l: f64) -> Flow {
        let drawable = match rule {
            Rule::YieldBeforeSpillage => return self.day(inflow_l),
            Rule::YieldAfterSpillage => f64::INFINITY,
            Rule::YieldFromYesterday => self.held_l,
        };
        let there = self.held_l + inflow_l;
        let kept = there.min(self.tank.capacity_l);
        let yield_l = kept.min(drawable).min(self.tank.demand_l_per_day);
        self.held_l = kept - yield_l;
        Flow { yield_l, spill_l: there - kept }
    }

    /// Water stored, litres.
    pub fn held_l(&self) -> f64 {
        self.held_l
    }

    /// Empties the tank, as before sediment is removed, and returns how much water it held, litres.
    pub fn drain(&mut self) -> f64 {
        std::mem::take(&mut self.held_l)
    }
}

/// Stored water at the end of each day, along many simulated paths.
///
/// Litres as `f32`: seven digits are enough, and 100 paths of a year take 146 kB.
#[derive(Debug, Clone, Copy)]
pub struct Levels<'a> {
    /// The first day.
    pub first: Day,
    /// How many days, 1 or more.
    pub days: usize,
    /// `days` values for each path, path after path.
    pub held_l: &'a [f32],
}

/// The day on which work that empties the tank loses the least water.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BestDay {
    /// The day. The tank would be emptied at its end.
    pub day: Day,
    /// Water lost by emptying then, mean over the paths, litres.
    pub lost_l: f64,
    /// 10 % quantile of that water over the paths, litres.
    pub lost_low_l: f64,
    /// 90 % quantile of that water over the paths, litres.
    pub lost_high_l: f64,
    /// Whether the day is in the three wettest months, because all days with about the least water are.
    pub in_wet_season: bool,
}

/// Days count as equal when their expected store is within this share of the capacity above the least one. Judgement.
const TIE_SHARE: f64 = 0.02;

/// First of the three calendar months in a row with the most inflow, January 0. Of equals, the earliest in the year.
///
/// `inflow_per_day` is the mean inflow of a day by month, January first, in any unit.
pub fn wet_season_start(inflow_per_day: &[f64; 12]) -> usize {
    let total = |m: usize| inflow_per_day[m % 12] * MEAN_MONTH_DAYS[m % 12];
    let three = |m: usize| total(m) + total(m + 1) + total(m + 2);
    (1..12).fold(0, |best, m| if three(m) > three(best) { m } else { best })
}

/// Picks the day of the window with the least expected water, before the wet season.
///
/// Days within 2 % of the capacity above the least expected store count as equal. The choice is the last of them
/// before the three wettest months begin. Judgement: the tank stays in use as long as that costs nothing, and rain
/// will soon fill it again. If all of them are in the wet season, the choice is the day with the least.
/// `inflow_per_day` is as for [`wet_season_start`].
///
/// It reads all levels once for the means, and one level per path for the chosen day.
pub fn best_day(
    tank: &Tank,
    levels: &Levels<'_>,
    inflow_per_day: &[f64; 12],
) -> Result<BestDay, EngineError> {
    let days = levels.days;
    require(days >= 1, "days", days as f64, "1 or more")?;
    let whole = !levels.held_l.is_empty() && levels.held_l.len().is_multiple_of(days);
    require(whole, "count of levels", levels.held_l.len() as f64, "a whole number of paths of the days")?;
    for mean in *inflow_per_day {
        require(mean >= 0.0 && mean.is_finite(), "mean inflow per day", mean, "0 or more")?;
    }
    let paths = levels.held_l.len() / days;
    let mut means = vec![0.0; days];
    for path in levels.held_l.chunks_exact(days) {
        for (sum, held) in means.iter_mut().zip(path) {
            *sum += f64::from(*held);
        }
    }
    // Rounding to f32 may lift a full tank slightly above its capacity.
    let most = tank.capacity_l * (1.0 + 1e-6);
    for mean in &mut means {
        *mean /= paths as f64;
        require((0.0..=most).contains(mean), "mean of held_l", *mean, "0 to the capacity")?;
    }
    let least = means.iter().copied().fold(f64::INFINITY, f64::min);
    let (index, in_wet_season) = choose(levels.first, &means, least, tank, inflow_per_day);
    let mut held: Vec<f32> = levels.held_l.iter().skip(index).step_by(days).copied().collect();
    held.sort_unstable_by(f32::total_cmp);
    Ok(BestDay {
        day: levels.first.plus(index as i32),
        lost_l: means[index],
        lost_low_l: quantile(&held, 0.1),
        lost_high_l: quantile(&held, 0.9),
        in_wet_season,
    })
}

/// Index of the chosen day, and whether it is in the wet season.
fn choose(first: Day, means: &[f64], least: f64, tank: &Tank, inflow_per_day: &[f64; 12]) -> (usize, bool) {
    let start = wet_season_start(inflow_per_day);
    let low_enough = least + TIE_SHARE * tank.capacity_l;
    let (mut walker, mut dry, mut lowest) = (Walker::at(first), None, 0);
    for (index, mean) in means.iter().enumerate() {
        let wet = (walker.month0() + 12 - start) % 12 < 3;
        if wet && dry.is_some() {
            break;
        }
        if *mean <= low_enough && !wet {
            dry = Some(index);
        }
        if *mean < means[lowest] {
            lowest = index;
        }
        walker.step();
    }
    match dry {
        Some(index) => (index, false),
        None => (lowest, true),
    }
}

/// Quantile of at least one sorted value, by linear interpolation.
fn quantile(sorted: &[f32], p: f64) -> f64 {
    let place = p * (sorted.len() - 1) as f64;
    let below = place.floor() as usize;
    let above = (below + 1).min(sorted.len() - 1);
    let (low, high) = (f64::from(sorted[below]), f64::from(sorted[above]));
    low + (place - below as f64) * (high - low)
}
