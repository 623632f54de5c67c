//! The seal of an overflow trap along the paths of its tank.

use crate::calendar::{Day, Walker};
use crate::duty::{Chance, Window};
use crate::error::{EngineError, require};
use crate::heat::MonthlyClock;
use crate::special::normal_below;
use crate::trap::REFILL_L;

use super::forthcoming::AHEAD_DAYS;
use super::tank_outlook::Supply;

/// Log-sd of the evaporation from a trap: two times in three within two thirds and one and a half times. Judgement.
pub const EVAPORATION_LOG_SD: f64 = 0.4;
/// The state of a trap's seal, and when it goes.
#[derive(Debug, Clone, PartialEq)]
pub struct SealOutlook {
    /// The last day on which the seal was full: that of the last overflow or refill.
    pub full_on: Day,
    /// Depth that the seal is expected to have lost since then, mm. At most its own depth.
    pub lost_mm: f64,
    /// When the seal is gone. `None` dates are more than two years ahead.
    pub window: Window,
    /// The chance that the seal is gone.
    pub chance: Chance,
    pub(super) chances: Vec<f64>,
    pub(super) as_of: Day,
}

impl Supply {
    /// The state and outlook of a seal of `depth_mm`, given the day on which it was last filled by hand.
    pub fn seal(
        &self,
        depth_mm: f64,
        filled_on: Day,
        evaporation: &MonthlyClock,
    ) -> Result<SealOutlook, EngineError> {
        require(depth_mm > 0.0 && depth_mm <= 500.0, "depth_mm", depth_mm, "above 0, up to 500")?;
        let full_on = self.last_overflow.map_or(filled_on, |day| day.max(filled_on)).min(self.as_of);
        let first = self.as_of.plus(1 - self.behind as i32);
        let start = first.max(full_on.plus(1));
        let lost_before = evaporation.between(full_on, start.plus(-1));
        let gone = |lost: f64| normal_below((lost / depth_mm).ln() / EVAPORATION_LOG_SD);
        let steps = DailyEvaporation::of(evaporation, start, self.days - start.since(first) as usize);
        let today = self.as_of.since(start) + 1;
        // Index 0 is today, even when no day was generated for it.
        let mut chances = vec![0.0; AHEAD_DAYS + 1];
        let mut lost_today = 0.0;
        let paths = self.spill_l.len() / self.days;
        for path in self.spill_l.chunks_exact(self.days) {
            let (mut lost, mut most) = (lost_before, lost_before);
            let mut chance = gone(most);
            let mut note = |number: i32, lost: f64, chance: f64| {
                if let Ok(ahead) = usize::try_from(number - today) {
                    chances[ahead] += chance;
                    lost_today += if ahead == 0 { lost } else { 0.0 };
                }
            };
            note(0, lost, chance);
            for (number, (spill, step)) in (1..).zip(path[self.days - steps.0.len()..].iter().zip(&steps.0)) {
                lost = if f64::from(*spill) >= REFILL_L { 0.0 } else { lost + step };
                // Once open, the seal counts as gone for this question, even if a later overflow fills it.
                if lost > most {
                    most = lost;
                    chance = gone(most);
                }
                note(number, lost, chance);
            }
        }
        let mean = 1.0 / paths as f64;
        for chance in &mut chances {
            *chance *= mean;
        }
        Ok(SealOutlook::new(full_on, (lost_today * mean).min(depth_mm), chances, self.as_of))
    }
}

/// The evaporation of consecutive days.
struct DailyEvaporation(Vec<f64>);

impl DailyEvaporation {
    fn of(evaporation: &MonthlyClock, first: Day, days: usize) -> DailyEvaporation {
        let mut walker = Walker::at(first);
        let step = |_| {
            let step = evaporation.per_day()[walker.month0()];
            walker.step();
            step
        };
        DailyEvaporation((0..days).map(step).collect())
    }
}

impl SealOutlook {
    fn new(full_on: Day, lost_mm: f64, chances: Vec<f64>, as_of: Day) -> SealOutlook {
        let day = |p| chances.iter().position(|chance| *chance >= p).map(|ahead| as_of.plus(ahead as i32));
        SealOutlook {
            full_on,
            lost_mm,
            window: Window { early: day(0.1), likely: day(0.5), late: day(0.9) },
            chance: Chance {
                today: chances[0],
                in_7_days: chances[7],
                in_30_days: chances[30],
                in_90_days: chances[90],
            },
            chances,
            as_of,
        }
    }

    /// The first day from today on by which the seal is gone with chance `p`. `None` beyond two years ahead.
    pub fn day_of_chance(&self, p: f64) -> Option<Day> {
        self.chances.iter().position(|chance| *chance >= p).map(|ahead| self.as_of.plus(ahead as i32))
    }

    /// The chance that the seal is gone by a day, so many days ahead. For a plot.
    pub fn chance_in(&self, days: usize) -> f64 {
        self.chances[days.min(AHEAD_DAYS)]
    }
}
