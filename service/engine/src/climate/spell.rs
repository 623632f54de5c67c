//! The days with runoff: when the next one comes, and when the last one was.
//!
//! Days follow the wet and dry chain of the climate ([`super::MonthLaw`]), month by month. A wet day gives runoff
//! when its rain is above the wetting loss. Its rain follows the gamma law of its month.
//!
//! Known failures: a roof that is still wet gives runoff from less rain. A chain that looks one day back makes very
//! long spells rarer than they are. The factors of months and years are left out.
//! Invariants: the chances of a last day with runoff, and of none, add up to 1.

use crate::calendar::Day;
use crate::error::EngineError;
use crate::special::gamma_above;

use super::model::Climate;

/// The chances that a day with runoff is followed by none are counted back over at most this many days. Judgement:
/// three years are longer than any spell that a record shows.
const LONGEST_SPELL: usize = 1096;
/// Chance at which the walk back ends. What is left counts with the earliest day.
const NEGLIGIBLE: f64 = 1e-6;

/// A climate's chances of weather and of runoff, by month.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct RunoffDays {
    /// Chance of a wet day after a dry one, and after a wet one.
    wet_after: [[f64; 2]; 12],
    /// Chance that a wet day gives runoff.
    runs_off: [f64; 12],
}

/// The weather of a day that begins a spell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Weather {
    Dry,
    Wet,
}

impl RunoffDays {
    /// The law of a climate for a roof that holds back `loss_mm` of a day's rain.
    pub(crate) fn new(climate: &Climate, loss_mm: f64) -> Result<RunoffDays, EngineError> {
        let mut runs_off = [0.0; 12];
        for (chance, law) in runs_off.iter_mut().zip(&climate.months) {
            if law.mean_wet_mm > 0.0 {
                let shape = 1.0 / law.cv2;
                *chance = gamma_above(shape, loss_mm * shape / law.mean_wet_mm)?;
            }
        }
        let wet_after = std::array::from_fn(|m| [climate.months[m].p01, climate.months[m].p11]);
        Ok(RunoffDays { wet_after, runs_off })
    }

    /// The same chances all year.
    #[cfg(test)]
    pub(crate) fn even(p01: f64, p11: f64, runs_off: f64) -> RunoffDays {
        RunoffDays { wet_after: [[p01, p11]; 12], runs_off: [runs_off; 12] }
    }
}

/// A walk along the days after one whose weather is known. It grows as far as it is asked.
#[derive(Debug, Clone)]
pub(crate) struct RunoffWalk {
    law: RunoffDays,
    from: Day,
    /// For 0, 1, ... days ahead: the chance that the day is wet, and its month.
    days: Vec<(f64, u8)>,
    month_last: Day,
    /// The chance that no day up to 0, 1, ... days ahead had runoff, with the last of them dry, and with it wet.
    none: Vec<(f64, f64)>,
}

/// The chance that a day is the last one with runoff.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct LastRunoff {
    /// Days ahead.
    pub ahead: i32,
    pub chance: f64,
}

/// The chances of one day of a walk.
#[derive(Debug, Clone, Copy)]
pub(crate) struct DayChances {
    pub after_dry: f64,
    pub after_wet: f64,
    /// Of runoff, if it is wet.
    pub runs_off: f64,
}

impl RunoffWalk {
    pub(crate) fn new(law: &RunoffDays, from: Day, weather: Weather) -> RunoffWalk {
        let wet = f64::from(u8::from(weather == Weather::Wet));
        let days = vec![(wet, from.month0() as u8)];
        RunoffWalk { law: *law, from, days, month_last: from.month_end(), none: vec![(1.0 - wet, wet)] }
    }

    fn grow(&mut self, ahead: usize) {
        while self.days.len() <= ahead {
            let (before, mut month0) = self.days[self.days.len() - 1];
            let day = self.from.plus(self.days.len() as i32);
            if day > self.month_last {
                month0 = day.month0() as u8;
                self.month_last = day.month_end();
            }
            let [after_dry, after_wet] = self.law.wet_after[usize::from(month0)];
            self.days.push((before * after_wet + (1.0 - before) * after_dry, month0));
        }
    }

    /// The chance that the first day is wet: 0 or 1.
    pub(crate) fn starts_wet(&self) -> f64 {
        self.days[0].0
    }

    /// The chances of a day, and its month.
    pub(crate) fn chances_of(&mut self, ahead: usize) -> (DayChances, usize) {
        self.grow(ahead);
        let month0 = usize::from(self.days[ahead].1);
        let [after_dry, after_wet] = self.law.wet_after[month0];
        (DayChances { after_dry, after_wet, runs_off: self.law.runs_off[month0] }, month0)
    }

    /// The chance of no runoff after the first day, up to and including the day `ahead`. 0 once it is negligible.
    pub(crate) fn none_by(&mut self, ahead: i32) -> f64 {
        let ahead = ahead.max(0) as usize;
        while self.none.len() <= ahead {
            let (dry, wet) = self.none[self.none.len() - 1];
            if dry + wet < NEGLIGIBLE {
                return 0.0;
            }
            self.grow(self.none.len());
            let month0 = usize::from(self.days[self.none.len()].1);
            let [after_dry, after_wet] = self.law.wet_after[month0];
            let rain = dry * after_dry + wet * after_wet;
            self.none.push((dry + wet - rain, rain * (1.0 - self.law.runs_off[month0])));
        }
        let (dry, wet) = self.none[ahead];
        dry + wet
    }

    /// Chances that the last runoff up to and including the day `ahead` is on each of the days before it, latest
    /// first, written to `last`. Returns the chance that there is none after the first day.
    ///
    /// `P(last on k) = P(wet on k) P(runoff | wet) P(none in k+1, ..., ahead | wet on k)`; the last factor comes from
    /// a walk back.
    pub(crate) fn last_runoff(&mut self, ahead: i32, last: &mut Vec<LastRunoff>) -> f64 {
        last.clear();
        let ahead = ahead.max(0) as usize;
        self.grow(ahead);
        // The chance of no runoff up to `ahead`, after a dry and after a wet day.
        let (mut dry, mut wet) = (1.0, 1.0);
        let mut left = 1.0;
        for (k, &(chance, month0)) in self.days[..=ahead].iter().enumerate().skip(1).rev() {
            let runs_off = self.law.runs_off[usize::from(month0)];
            let here = chance * runs_off * wet;
            left -= here;
            last.push(LastRunoff { ahead: k as i32, chance: here });
            if left < NEGLIGIBLE || ahead - k >= LONGEST_SPELL {
                // Rare chances count with the earliest day that was looked at.
                if let Some(earliest) = last.last_mut() {
                    earliest.chance += left.max(0.0);
                }
                return 0.0;
            }
            let [after_dry, after_wet] = self.law.wet_after[usize::from(month0)];
            let none_if_wet = (1.0 - runs_off) * wet;
            (dry, wet) = (
                after_dry * none_if_wet + (1.0 - after_dry) * dry,
                after_wet * none_if_wet + (1.0 - after_wet) * dry,
            );
        }
        left.max(0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chances(law: &RunoffDays, weather: Weather, ahead: i32) -> (Vec<f64>, f64) {
        let mut last = Vec::new();
        let none = RunoffWalk::new(law, Day(0), weather).last_runoff(ahead, &mut last);
        (last.iter().map(|l| l.chance).collect(), none)
    }

    /// With runoff from every wet day, a spell without runoff is geometric.
    #[test]
    fn a_spell_ends_with_the_first_wet_day() {
        let none = chances(&RunoffDays::even(0.25, 0.6, 1.0), Weather::Dry, 3).1;
        assert!((none - 0.421_875).abs() < 1e-12, "{none}");
        let mut walk = RunoffWalk::new(&RunoffDays::even(0.25, 0.6, 1.0), Day(0), Weather::Dry);
        assert_eq!([2, 0, 3].map(|ahead| walk.none_by(ahead)), [0.5625, 1.0, 0.421_875]);
    }

    /// By hand, half of the wet days too small. Day 1: wet 0.25. Day 2: wet 0.25 x 0.5 + 0.75 x 0.25 = 0.3125. Last on
    /// day 2: 0.3125 / 2. Last on day 1: 0.25 / 2 x (1 - 0.5 / 2). None: dry 0.75 and too wet 0.125 on day 1, then
    /// 0.75 x (1 - 0.25 / 2) + 0.125 x (1 - 0.5 / 2).
    #[test]
    fn a_drizzle_does_not_end_it() {
        assert_eq!(
            chances(&RunoffDays::even(0.25, 0.5, 0.5), Weather::Dry, 2),
            (vec![0.15625, 0.09375], 0.75)
        );
    }

    #[test]
    fn months_have_their_own_chances() {
        let mut law = RunoffDays::even(0.0, 0.0, 1.0);
        law.wet_after[8] = [0.5, 0.5];
        let today = Day::from_ymd(2021, 8, 30).unwrap();
        let mut last = Vec::new();
        let none = RunoffWalk::new(&law, today, Weather::Wet).last_runoff(3, &mut last);
        assert_eq!((last[0].chance, last[1].chance, last[2].chance, none), (0.5, 0.25, 0.0, 0.25));
    }

    #[test]
    fn chances_add_up() {
        for (law, ahead) in [
            (RunoffDays::even(0.3, 0.7, 0.9), 400),
            (RunoffDays::even(0.01, 0.2, 0.4), 90),
            (RunoffDays::even(0.0, 0.0, 1.0), 5000),
        ] {
            let (last, none) = chances(&law, Weather::Wet, ahead);
            assert!((last.iter().sum::<f64>() + none - 1.0).abs() < 1e-12, "{law:?}");
        }
    }
}
