//! What waits on the roof for the next runoff: leaves and solids, and the runoff itself.
//!
//! A runoff moves all leaves on the roof. So their pile is known, and what falls later is added to it.
//!
//! Solids build up towards the most that a roof holds, so a long dry spell adds less and less. The means of unread
//! days count what usually lies there. The rest of what lies there on the last day with a reading,
//! `B - usual B of the month`, moves with the first runoff. Until then it falls by the rate of build-up a day, because
//! less is missing to the most. Its share in the accumulated amount is that of all solids: amount over washed off.

use std::sync::Arc;

use crate::calendar::Day;
use crate::catchment::Catchment;
use crate::climate::{Climate, RunoffDays, RunoffWalk, Spreads, WET_MM, Weather};
use crate::error::EngineError;
use crate::events::{Events, SOLIDS_AFTER_GAP};
use crate::first_flush::washed_share;
use crate::gauge::Gauge;
use crate::passage::{Law, Moves, Storms, Waiting};
use crate::special::gamma_above;
use crate::washoff::{BUILD_UP_PER_DAY, MOST_G_M2};

use super::amounts::Counted;
use super::laws::{LEAF_SIGMA_MONTH, LEAF_SIGMA_YEAR};
use super::leaves::{between, fall, per_catcher};
use super::quantity::Exposure;
use super::setting::Setting;

/// The runoff of a day that has any: mean in mm and mean square.
#[derive(Debug, Clone, Copy, Default)]
struct Storm {
    mean: f64,
    square: f64,
}

/// What can wait on a roof, and the days with runoff.
#[derive(Debug, Clone, Copy)]
pub(crate) struct OnRoof {
    runoff: RunoffDays,
    of: Kind,
}

#[derive(Debug, Clone, Copy)]
enum Kind {
    Leaves {
        /// The fall of a day.
        law: Law,
        /// Mean number of days since the last runoff, on a random day.
        days_back: f64,
    },
    /// Runoff: the storms of each month.
    Runoff {
        storms: [Storm; 12],
        /// Log-sd of the factor that the storms of a season share.
        log_sd: f64,
    },
    Solids {
        /// Mean of what lies there at the end of a day, by month, g/m2.
        usual: [f64; 12],
        /// Accumulated amount for each g/m2 washed off.
        share: f64,
    },
}

impl OnRoof {
    /// `None` where nothing waits for runoff, and where it never rains.
    pub(crate) fn new(
        s: &Setting<'_>,
        counted: &Counted,
        law: Option<&Law>,
    ) -> Result<Option<OnRoof>, EngineError> {
        let Some(climate) = s.gauge.climate().ok().filter(|climate| !climate.never_rains()) else {
            return Ok(None);
        };
        let of = match s.exposure {
            Exposure::Leaves { .. } | Exposure::GutterLeaves { .. } => Kind::Leaves {
                law: Law {
                    daily: fall(s.roof, s.site, per_catcher(s.roof, s.exposure)),
                    sigma_month: LEAF_SIGMA_MONTH,
                    sigma_year: LEAF_SIGMA_YEAR,
                    ..Law::NOTHING
                },
                days_back: s.catchment.own().days_back(),
            },
            Exposure::Grit { .. } | Exposure::Sediment { .. } => {
                let events = s.catchment.model().unwrap_or(s.catchment.own());
                let washed: f64 = events.washed.iter().sum();
                let amount: f64 = counted.months.as_ref().map_or(0.0, |months| months.sums.iter().sum());
                if !(washed > 0.0) {
                    return Ok(None);
                }
                Kind::Solids { usual: usual_solids(events), share: amount / washed }
            }
            Exposure::Runoff => {
                let Some(law) = law else { return Ok(None) };
                let Spreads { month, year, sampling, level } = climate.spreads();
                let log_sd = month.hypot(year).hypot(sampling).hypot(level);
                Kind::Runoff { storms: storms(s, climate, law)?, log_sd }
            }
            _ => return Ok(None),
        };
        Ok(Some(OnRoof { runoff: RunoffDays::new(climate, s.roof.wetting_loss_mm)?, of }))
    }

    /// What waits on the last day with a reading up to `as_of`, or on the day of the service if that was later. `None`
    /// without a reading.
    pub(crate) fn on(
        &self,
        gauge: &Gauge,
        catchment: &Catchment,
        since: Day,
        as_of: Day,
    ) -> Option<Arc<Waiting>> {
        let record = gauge.record();
        let day = record.last_until(as_of)?;
        let spell = Spell::on(catchment.own(), day)?;
        let weather = if record.get(day)? >= WET_MM { Weather::Wet } else { Weather::Dry };
        let moves = match self.of {
            Kind::Leaves { law, days_back } => {
                Moves::All { pile: spell.leaves(&law.daily, days_back), fall: law }
            }
            Kind::Runoff { storms, log_sd } => {
                let mut walk = RunoffWalk::new(&self.runoff, day.max(since), weather);
                Moves::Storms(first_storms(&mut walk, &storms, log_sd)?)
            }
            Kind::Solids { usual, share } => {
                let beyond = spell.solids() - usual[day.month0()];
                let left = left_at_runoff(RunoffWalk::new(&self.runoff, day, weather));
                Moves::BeyondUsual { extra: beyond * left * share }
            }
        };
        let read = Waiting { day, weather, runoff: self.runoff, moves };
        Some(Arc::new(if since > day { read.later(since) } else { read }))
    }
}

/// The days since the last runoff.
struct Spell {
    /// The day of the last runoff, or the day before readings began.
    since: Day,
    through: Day,
    /// Solids that the last runoff left, g/m2. `None` where readings began after it.
    left: Option<f64>,
}

impl Spell {
    fn on(events: &Events, through: Day) -> Option<Spell> {
        // Readings that began after the last runoff say nothing about the days before them.
        let began = events.starts.iter().rev().map(|start| start.1).find(|before| *before < through.0)?;
        let passed = events.day.partition_point(|event| *event <= through.0);
        let last = passed.checked_sub(1).filter(|last| events.day[*last] > began);
        Some(match last {
            Some(last) => {
                let left = events.lying[last] - events.washed[last];
                Spell { since: Day(events.day[last]), through, left: Some(left) }
            }
            None => Spell { since: Day(began), through, left: None },
        })
    }

    fn leaves(&self, daily: &[f64; 12], days_back: f64) -> f64 {
        let unknown = if self.left.is_none() { daily[self.since.plus(1).month0()] * days_back } else { 0.0 };
        unknown + between(daily, self.since, self.through)
    }

    fn solids(&self) -> f64 {
        let left = self.left.unwrap_or(SOLIDS_AFTER_GAP * MOST_G_M2);
        after_days(left, f64::from(self.through.since(self.since)))
    }
}

/// Solids on a roof after some days without runoff, g/m2.
fn after_days(left: f64, days: f64) -> f64 {
    left + (MOST_G_M2 - left) * washed_share(BUILD_UP_PER_DAY, days)
}

/// Mean of the solids on the roof at the end of a day, by month, g/m2.
fn usual_solids(events: &Events) -> [f64; 12] {
    let kept = 1.0 - washed_share(BUILD_UP_PER_DAY, 1.0);
    let mut powers = [1.0; 32];
    for days in 1..powers.len() {
        powers[days] = powers[days - 1] * kept;
    }
    let power = |days: i32| powers.get(days as usize).copied().unwrap_or_else(|| kept.powi(days));
    let (mut sums, mut days) = ([0.0; 12], [0.0; 12]);
    // Days `from` to `to` after an event, without `to`, in one month: a geometric series.
    let mut add = |month0: usize, left: f64, from: i32, to: i32| {
        let length = f64::from(to - from);
        let missing = (MOST_G_M2 - left) * (power(from) - power(to)) / (1.0 - kept);
        sums[month0] += MOST_G_M2 * length - missing;
        days[month0] += length;
    };
    let mut starts = events.starts.iter().map(|start| start.0).peekable();
    let mut index = 0;
    for run in &events.months {
        while index < run.end && index + 1 < events.len() {
            let (day, next) = (events.day[index], events.day[index + 1]);
            let left = events.lying[index] - events.washed[index];
            index += 1;
            while starts.next_if(|start| *start < index).is_some() {}
            if starts.peek() == Some(&index) {
                // A gap lies between.
                continue;
            }
            let mut passed = (run.last + 1).min(next) - day;
            add(usize::from(run.month0), left, 0, passed);
            while day + passed < next {
                let from = Day(day + passed);
                let to = (from.month_end().0 + 1).min(next) - day;
                add(from.month0(), left, passed, to);
                passed = to;
            }
        }
    }
    let mean = sums.iter().sum::<f64>() / days.iter().sum::<f64>().max(1.0);
    std::array::from_fn(|m| if days[m] > 0.0 { sums[m] / days[m] } else { mean })
}

/// The runoff of a day that has any, by month: the rain above the wetting loss, scaled to the month's mean of `law`.
fn storms(s: &Setting<'_>, climate: &Climate, law: &Law) -> Result<[Storm; 12], EngineError> {
    let loss = s.roof.wetting_loss_mm;
    let mut storms = [Storm::default(); 12];
    for (month0, (storm, wet)) in storms.iter_mut().zip(&climate.months).enumerate() {
        if !(wet.mean_wet_mm > 0.0) {
            continue;
        }
        // Moments of a gamma law above the loss.
        let (shape, scale) = (1.0 / wet.cv2, wet.mean_wet_mm * wet.cv2);
        let above = |shape| gamma_above(shape, loss / scale);
        let (none, one, two) = (above(shape)?, above(shape + 1.0)?, above(shape + 2.0)?);
        let first = wet.mean_wet_mm * one;
        let second = wet.mean_wet_mm * (wet.mean_wet_mm + scale) * two;
        let (mean, square) = (first - loss * none, second - 2.0 * loss * first + loss * loss * none);
        let days = wet.wet_share() * none;
        if mean > 0.0 && days > 0.0 {
            // The mean of a day with runoff, so that all of them together bring the month's.
            let scaled = law.daily[month0] / days;
            *storm = Storm { mean: scaled, square: scaled * scaled * square * none / (mean * mean) };
        }
    }
    Ok(storms)
}

/// The storms of the months in which the next one is expected. `None` where none ever comes.
fn first_storms(walk: &mut RunoffWalk, storms: &[Storm; 12], log_sd: f64) -> Option<Storms> {
    const LONGEST: i32 = 1096;
    let (mut mean, mut square, mut chance, mut none) = (0.0, 0.0, 0.0, 1.0);
    for ahead in 1..LONGEST {
        let still = walk.none_by(ahead);
        let storm = storms[walk.chances_of(ahead as usize).1];
        mean += (none - still) * storm.mean;
        square += (none - still) * storm.square;
        chance += none - still;
        none = still;
        if none < 0.01 {
            break;
        }
    }
    if !(mean > 0.0) {
        return None;
    }
    let (mean, square) = (mean / chance, square / chance);
    Some(Storms { mean, cv2: (square / (mean * mean) - 1.0).max(0.05), log_sd })
}

/// The share of an excess of solids that is still there when runoff comes.
fn left_at_runoff(mut walk: RunoffWalk) -> f64 {
    let (mut ahead, mut none, mut left) = (0, 1.0, 0.0);
    let kept = 1.0 - washed_share(BUILD_UP_PER_DAY, 1.0);
    let mut share = 1.0;
    while none > 0.0 && share > 1e-3 {
        ahead += 1;
        let still = walk.none_by(ahead);
        // What comes down on the day of the runoff is there when it washes.
        share *= kept;
        left += (none - still) * share;
        none = still;
    }
    left
}

impl Waiting {
    /// What is expected to wait on a later day, with unread days between.
    fn later(self, day: Day) -> Waiting {
        let mut walk = RunoffWalk::new(&self.runoff, self.day, self.weather);
        let moves = match self.moves {
            Moves::All { pile, fall } => {
                let mut last = Vec::new();
                let none = walk.last_runoff(day.since(self.day), &mut last);
                let fallen = |since| between(&fall.daily, since, day);
                let moved = last.iter().map(|last| last.chance * fallen(self.day.plus(last.ahead)));
                Moves::All { pile: none * (pile + fallen(self.day)) + moved.sum::<f64>(), fall }
            }
            Moves::Storms(storms) => Moves::Storms(storms),
            Moves::BeyondUsual { extra } => {
                Moves::BeyondUsual { extra: extra * walk.none_by(day.since(self.day)) }
            }
        };
        Waiting { day, weather: Weather::Dry, moves, ..self }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rain::RainRecord;

    /// Compared with a walk day by day, over months without an event, and a gap.
    #[test]
    fn usual_solids_are_those_of_the_days() {
        let first = Day::from_ymd(2015, 12, 20).unwrap();
        let mm = |n: i32| {
            if n % 17 == 0 || n % 30 == 7 || (400..520).contains(&n) && n % 60 == 3 { 6.0 } else { 0.0 }
        };
        let readings = (0..900).filter(|n| !(600..640).contains(n)).map(|n| (first.plus(n), mm(n)));
        let record = RainRecord::from_readings(readings);
        let mut events = Events::new(0.0).unwrap();
        events.extend(&record, 1.0);
        let (mut sums, mut days) = ([0.0; 12], [0.0; 12]);
        for (index, pair) in events.day.windows(2).enumerate() {
            if (600..640).any(|n| (pair[0]..pair[1]).contains(&first.plus(n).0)) {
                continue;
            }
            let left = events.lying[index] - events.washed[index];
            for ahead in 0..pair[1] - pair[0] {
                let month0 = Day(pair[0] + ahead).month0();
                sums[month0] += after_days(left, f64::from(ahead));
                days[month0] += 1.0;
            }
        }
        for (month0, usual) in usual_solids(&events).into_iter().enumerate() {
            assert!((usual - sums[month0] / days[month0]).abs() < 1e-9, "{month0}: {usual}");
        }
    }
}
