//! Running an exposure over the readings.

use crate::calendar::{Day, Walker};
use crate::climate::WET_MM;
use crate::duty::Question;
use crate::error::EngineError;
use crate::runoff::WettingStore;

use super::sediment::{bed_depth_mm, passed_share, trap_efficiency};
use super::ultraviolet::Year;
use super::{Exposure, leaves};

/// The readings up to the day asked about, turned into exposure.
#[derive(Debug, Clone)]
pub(crate) struct Pass {
    /// Exposure by days after `since`, running total; entry 0 is 0. Ends at the day asked about.
    pub known: Vec<f64>,
    /// Stretches of days after `since` without a reading, as first and last day number, up to the day asked about.
    pub unread: Vec<(i32, i32)>,
    /// Readings after `since`.
    pub days_read: u32,
    /// Readings after the day asked about, which were left aside.
    pub later_readings: bool,
    /// By month over the whole record so far: exposure and readings.
    pub sums: [f64; 12],
    pub days: [f64; 12],
    /// Mean square over mean of the exposure on days that had any: the typical amount at once.
    pub lump: f64,
    /// The same of the runoff before the coefficient.
    pub runoff_lump: f64,
    /// The year of doses, for an ultraviolet exposure.
    pub(super) year: Option<Year>,
}

/// What an exposure does on one day.
enum Daily {
    Runoff,
    Leaves { pile: f64, per_screen: f64 },
    Sediment { flush_mm: f64, trapped: f64, roof_over_floor: f64 },
    Ultraviolet,
}

#[derive(Default)]
struct Moments {
    sum: f64,
    square: f64,
}

impl Moments {
    fn add(&mut self, x: f64) {
        self.sum += x;
        self.square += x * x;
    }

    fn lump(&self) -> f64 {
        if self.sum > 0.0 { self.square / self.sum } else { 0.0 }
    }
}

/// Runs the question's exposure over its record.
///
/// `fall` is the leaf fall per m2 of screen and day, `pile` the leaf to expect on the roof at the start of a stretch of
/// readings; both by month and without meaning for other exposures.
pub(crate) fn run(q: &Question<'_>, fall: &[f64; 12], pile: &[f64; 12]) -> Result<Pass, EngineError> {
    let (mut daily, year) = start(q);
    let length = q.as_of.since(q.since).max(0) as usize;
    let mut pass = Pass {
        known: vec![0.0; length + 1],
        unread: Vec::new(),
        days_read: 0,
        later_readings: q.record.last().is_some_and(|last| last > q.as_of),
        sums: [0.0; 12],
        days: [0.0; 12],
        lump: 0.0,
        runoff_lump: 0.0,
        year,
    };
    let mut store = WettingStore::new(q.roof.wetting_loss_mm)?;
    // Light needs no history; the other exposures start with the record, for what lies on the roof by then.
    let first = q.record.first().map(|d| if q.exposure.needs_rain() { d } else { d.max(q.since.plus(1)) });
    let mut read_to = q.since;
    if let (Some(first), Some(last)) = (first, q.record.last()) {
        let last = last.min(q.as_of);
        let mut walker = Walker::at(first);
        let (mut exposures, mut runoffs) = (Moments::default(), Moments::default());
        let mut after_gap = true;
        let mut total = 0.0;
        for number in first.0..=last.0 {
            let day = Day(number);
            let m = walker.month0();
            if let Some(rain) = q.record.get(day) {
                if after_gap {
                    store.dry_out();
                    if let Daily::Leaves { pile: lying, .. } = &mut daily {
                        *lying = pile[m];
                    }
                }
                let runoff = store.day(rain);
                let x = exposure_of(&mut daily, &pass, q, rain, runoff, fall[m], walker.day_of_year());
                runoffs.add(runoff);
                exposures.add(x);
                pass.sums[m] += x;
                pass.days[m] += 1.0;
                if day > q.since {
                    total += x;
                    pass.days_read += 1;
                    close_gap(&mut pass, q.since, read_to, day);
                    read_to = day;
                }
                after_gap = false;
            } else {
                after_gap = true;
            }
            if day > q.since {
                pass.known[day.since(q.since) as usize] = total;
            }
            walker.step();
        }
        pass.lump = exposures.lump();
        pass.runoff_lump = runoffs.lump();
        let filled = last.since(q.since).max(0) as usize;
        pass.known[filled..].fill(total);
    }
    close_gap(&mut pass, q.since, read_to, q.as_of.plus(1));
    Ok(pass)
}

/// Notes the unread days strictly between two days.
fn close_gap(pass: &mut Pass, since: Day, read_to: Day, next: Day) {
    let (from, to) = (read_to.since(since) + 1, next.since(since) - 1);
    if from <= to {
        pass.unread.push((from, to));
    }
}

fn start(q: &Question<'_>) -> (Daily, Option<Year>) {
    match q.exposure {
        Exposure::Runoff => (Daily::Runoff, None),
        Exposure::Leaves { .. } => (Daily::Leaves { pile: 0.0, per_screen: 1.0 }, None),
        Exposure::Sediment { flush_mm, floor_area_m2, calmed_inlet } => {
            let roof_over_floor = q.roof.plan_area_m2 / floor_area_m2;
            (Daily::Sediment { flush_mm, trapped: trap_efficiency(calmed_inlet), roof_over_floor }, None)
        }
        Exposure::Ultraviolet { orientation, shade_share } => {
            (Daily::Ultraviolet, Some(Year::new(q.site, orientation, shade_share)))
        }
    }
}

fn exposure_of(
    daily: &mut Daily,
    pass: &Pass,
    q: &Question<'_>,
    rain: f64,
    runoff: f64,
    fall: f64,
    day_of_year: u32,
) -> f64 {
    match daily {
        Daily::Runoff => q.roof.coefficient * runoff,
        Daily::Leaves { pile, per_screen } => {
            *pile += fall;
            if runoff > 0.0 { std::mem::take(pile) * *per_screen } else { 0.0 }
        }
        Daily::Sediment { flush_mm, trapped, roof_over_floor } => {
            let event = q.roof.coefficient * runoff;
            if event > 0.0 {
                bed_depth_mm(event, passed_share(*flush_mm, event), *trapped, *roof_over_floor)
            } else {
                0.0
            }
        }
        Daily::Ultraviolet => pass.year.as_ref().map_or(0.0, |year| year.dose(day_of_year, rain >= WET_MM)),
    }
}

/// Leaf fall per day by month, in kg per m2 of screen; zeros for other exposures.
pub(super) fn fall(q: &Question<'_>) -> [f64; 12] {
    match q.exposure {
        Exposure::Leaves { screen_area_m2 } => {
            let scale = q.roof.plan_area_m2 / screen_area_m2;
            std::array::from_fn(|m| leaves::litter_kg_m2(q.roof, q.site, m) * scale)
        }
        _ => [0.0; 12],
    }
}
