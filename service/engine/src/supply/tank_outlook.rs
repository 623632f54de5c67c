//! The water in a tank: over the readings, then along the generated paths.

use crate::calendar::{Day, Walker};
use crate::catchment::Catchment;
use crate::climate::Climate;
use crate::error::{EngineError, require};
use crate::gauge::Gauge;
use crate::site::Roof;
use crate::tank::{BestDay, Levels, Store, Tank, best_day};
use crate::trap::REFILL_L;

use super::forthcoming::{AHEAD_DAYS, Forthcoming};

/// Days of readings that today's level rests on.
const BEHIND_DAYS: i32 = 730;
/// A tank today, and how it may develop.
#[derive(Debug, Clone, PartialEq)]
pub struct Supply {
    pub(super) tank: Tank,
    pub(super) as_of: Day,
    /// Generated days up to and including today.
    pub(super) behind: usize,
    pub(super) days: usize,
    pub(super) held_l: Vec<f32>,
    pub(super) spill_l: Vec<f32>,
    pub(super) last_overflow: Option<Day>,
    pub(super) inflow_l_per_day: [f64; 12],
}

impl Supply {
    /// Follows a tank, in use since a day, over the readings and along the paths.
    ///
    /// `flush_mm` is what the first-flush chamber takes of each day's runoff, mm. The catchment and the paths must
    /// belong to the same gauge and kind of roof. The tank is empty on its first day of use. It counts as half full
    /// at the start of the readings used, when it was in use before them.
    pub fn new(
        gauge: &Gauge,
        catchment: &Catchment,
        forthcoming: &Forthcoming,
        roof: &Roof,
        flush_mm: f64,
        tank: Tank,
        in_use_since: Day,
    ) -> Result<Supply, EngineError> {
        require(
            catchment.suits(roof),
            "wetting_loss_mm of roof",
            roof.wetting_loss_mm,
            "that of the catchment",
        )?;
        require(flush_mm >= 0.0, "flush_mm", flush_mm, "0 or more")?;
        let inflow_of = |mm: f64| (mm - flush_mm).max(0.0) * roof.plan_area_m2;
        let means = gauge.climate().map_or([0.0; 12], Climate::mean_runoff_by_month);
        let inflow_l_per_day = means.map(|mm| mm * roof.coefficient * roof.plan_area_m2);
        let horizon = forthcoming.first.plus(-BEHIND_DAYS);
        let from = in_use_since.plus(1).max(horizon).min(forthcoming.first);
        let start_l = if in_use_since.plus(1) < horizon { 0.5 * tank.capacity_l() } else { 0.0 };
        let mut store = tank.holding(start_l)?;
        let mut last_overflow = None;
        let mut walker = Walker::at(from);
        let mut day = from;
        let mut events = catchment.events_from(from);
        let mut next = events.next();
        while day < forthcoming.first {
            let inflow = match next {
                Some((on, mm)) if on == day => {
                    next = events.next();
                    inflow_of(mm)
                }
                _ if gauge.record().get(day).is_some() => 0.0,
                // An unread day is not a dry day.
                _ => inflow_l_per_day[walker.month0()],
            };
            if store.day(inflow).spill_l >= REFILL_L {
                last_overflow = Some(day);
            }
            day = day.plus(1);
            walker.step();
        }
        let mut supply = Supply {
            tank,
            as_of: forthcoming.as_of,
            behind: forthcoming.days - AHEAD_DAYS,
            days: forthcoming.days,
            held_l: Vec::with_capacity(forthcoming.mm.len()),
            spill_l: Vec::with_capacity(forthcoming.mm.len()),
            last_overflow,
            inflow_l_per_day,
        };
        for path in forthcoming.mm.chunks_exact(forthcoming.days) {
            supply.follow(store, path.iter().map(|mm| inflow_of(f64::from(*mm))));
        }
        Ok(supply)
    }

    fn follow(&mut self, mut store: Store, inflow: impl Iterator<Item = f64>) {
        for inflow in inflow {
            let flow = store.day(inflow);
            self.held_l.push(store.held_l() as f32);
            self.spill_l.push(flow.spill_l as f32);
        }
    }

    /// Water expected in the tank at the end of a day, litres. `None` before today and beyond two years ahead.
    pub fn expected_l(&self, day: Day) -> Option<f64> {
        let ahead = day.since(self.as_of);
        let index =
            usize::try_from(ahead + self.behind as i32 - 1).ok().filter(|i| *i < self.days && ahead >= 0);
        let index = index?;
        let sum: f64 = self.held_l.iter().skip(index).step_by(self.days).map(|held| f64::from(*held)).sum();
        Some(sum / (self.held_l.len() / self.days) as f64)
    }

    /// The day from `from` to `to`, both included, with the least expected water, before the wet season. See
    /// [`best_day`].
    ///
    /// `None` when no such day is within two years ahead.
    pub fn best_day(&self, from: Day, to: Day) -> Result<Option<BestDay>, EngineError> {
        let first = from.max(self.as_of.plus(1));
        let last = to.min(self.as_of.plus(AHEAD_DAYS as i32));
        if first > last {
            return Ok(None);
        }
        let skip = self.behind + first.since(self.as_of) as usize - 1;
        let days = last.since(first) as usize + 1;
        let held_l: Vec<f32> =
            self.held_l.chunks_exact(self.days).flat_map(|path| &path[skip..skip + days]).copied().collect();
        let levels = Levels { first, days, held_l: &held_l };
        best_day(&self.tank, &levels, &self.inflow_l_per_day).map(Some)
    }
}
