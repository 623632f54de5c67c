//! What each read day adds to an accumulated amount.

use std::sync::Arc;

use crate::climate::WET_MM;
use crate::events::Events;
use crate::first_flush::{MIXING, WASH_OFF_PER_MM, washed_share};
use crate::gauge::Gauge;
use crate::passage::RunningTotal;

use super::chamber::{Chamber, pass};
use super::leaves::{fall, moved, per_catcher};
use super::quantity::Exposure;
use super::sediment::solids_to_depth;
use super::setting::Setting;
use super::ultraviolet::{DoseYear, WeatherFactors};

/// An exposure over the readings, and by month over the years of its climatology.
#[derive(Debug, Clone)]
pub(crate) struct Counted {
    /// The accumulated amount over the readings.
    pub running: RunningTotal,
    /// The sums behind the climatology, for exposures that depend on rain.
    pub months: Option<MonthlyExposure>,
    /// The year of doses, for light.
    pub(super) year: Option<DoseYear>,
}

/// An exposure by month, for a part in order.
#[derive(Debug, Clone)]
pub(crate) struct MonthlyExposure {
    /// Exposure by month.
    pub sums: [f64; 12],
    /// Days by month.
    pub days: [f64; 12],
    /// Mean square over mean of the exposure on days that had any: the typical amount of one event.
    pub typical_amount: f64,
    /// The same of the runoff, after the coefficient.
    pub typical_runoff: f64,
    /// Exposure by whole blocks of 30 days from the first reading on.
    pub blocks: Vec<f64>,
    /// Whether all of it was read rather than generated.
    pub measured: bool,
}

/// Runs an exposure over the readings of its gauge.
pub(crate) fn count(s: &Setting<'_>) -> Counted {
    if let Exposure::Ultraviolet { orientation, shade_share, warmth } = s.exposure {
        let year = DoseYear::new(s.site, orientation, shade_share, warmth.as_ref());
        return Counted { running: light(s.gauge, &year), months: None, year: Some(year) };
    }
    if !s.exposure.needs_rain() {
        return Counted { running: RunningTotal::default(), months: None, year: None };
    }
    let own = s.catchment.own();
    let Counts { running, squares } = rain_borne(s, own, s.exposure);
    // The climatology is that of a part in order. What a blocked hole let through is history, not season.
    let expected = expected(s.exposure);
    let months = match (s.catchment.model(), expected) {
        (Some(model), expected) => {
            let Counts { running, squares } = rain_borne(s, model, expected.unwrap_or(s.exposure));
            MonthlyExposure::of(&running, squares, model, Gauge::modelled_days(), false)
        }
        (None, Some(expected)) => {
            let Counts { running, squares } = rain_borne(s, own, expected);
            MonthlyExposure::of(&running, squares, own, s.gauge.read_days().by_month, true)
        }
        (None, None) => MonthlyExposure::of(&running, squares, own, s.gauge.read_days().by_month, true),
    };
    Counted { running, months: Some(months), year: None }
}

/// The exposure without its history, if it has one.
fn expected(exposure: Exposure<'_>) -> Option<Exposure<'static>> {
    let of = |chamber: Chamber<'_>| chamber.has_history().then(|| chamber.expected());
    Some(match exposure {
        Exposure::Fills { chamber } => Exposure::Fills { chamber: of(chamber)? },
        Exposure::Grit { chamber } => Exposure::Grit { chamber: of(chamber)? },
        Exposure::Sediment { chamber, floor_area_m2, calmed_inlet } => {
            Exposure::Sediment { chamber: Some(of(chamber?)?), floor_area_m2, calmed_inlet }
        }
        _ => return None,
    })
}

/// Sums over events.
struct Counts {
    running: RunningTotal,
    /// Sum of the squares of what each event added.
    squares: f64,
}

/// Counts an exposure that depends on rain, event by event.
fn rain_borne(s: &Setting<'_>, events: &Events, exposure: Exposure<'_>) -> Counts {
    if matches!(exposure, Exposure::Runoff) {
        let running = RunningTotal::of_totals(Arc::clone(&events.day), Arc::clone(&events.total));
        return Counts { running, squares: events.squares };
    }
    let amounts = amounts(s, events, exposure);
    let squares = sum_of_squares(&amounts);
    Counts { running: RunningTotal::on_days(Arc::clone(&events.day), amounts), squares }
}

/// What each event added.
fn amounts(s: &Setting<'_>, events: &Events, exposure: Exposure<'_>) -> Vec<f64> {
    match exposure {
        Exposure::Fills { chamber } => {
            pass(chamber, &events.day, &events.mm, |_, filled| f64::from(u8::from(filled)))
        }
        Exposure::Grit { chamber } => {
            let mut amounts = diverted(events, chamber);
            for x in &mut amounts {
                *x *= s.roof.plan_area_m2;
            }
            amounts
        }
        Exposure::Sediment { chamber, floor_area_m2, calmed_inlet } => {
            let depth = solids_to_depth(calmed_inlet, s.roof.plan_area_m2 / floor_area_m2);
            let Some(chamber) = chamber else {
                return events.washed.iter().map(|washed| washed * depth).collect();
            };
            let mut amounts = diverted(events, chamber);
            for (x, washed) in amounts.iter_mut().zip(&events.washed) {
                *x = (washed - *x) * depth;
            }
            amounts
        }
        Exposure::Leaves { .. } | Exposure::GutterLeaves { .. } => {
            moved(events, &fall(s.roof, s.site, per_catcher(s.roof, exposure)))
        }
        Exposure::Runoff | Exposure::RoofLeaves | Exposure::Ultraviolet { .. } | Exposure::Steady { .. } => {
            Vec::new()
        }
    }
}

/// Solids that stay in a chamber, g per m2 of roof.
fn diverted(events: &Events, chamber: Chamber<'_>) -> Vec<f64> {
    let mut amounts = pass(chamber, &events.day, &events.mm, |taken, _| taken);
    // Most events fill the chamber from empty.
    let of_a_full_flush = MIXING * washed_share(WASH_OFF_PER_MM, chamber.volume_mm);
    let roof = events.mm.iter().zip(&events.lying).zip(&events.washed);
    for (x, ((&mm, &lying), &washed)) in amounts.iter_mut().zip(roof) {
        let taken = *x;
        *x = if taken == chamber.volume_mm {
            lying * of_a_full_flush
        } else if taken == mm {
            MIXING * washed
        } else {
            lying * MIXING * washed_share(WASH_OFF_PER_MM, taken)
        };
    }
    amounts
}

/// Four sums side by side, so that none waits for another.
fn sum_of_squares(amounts: &[f64]) -> f64 {
    let mut sums = [0.0; 4];
    let chunks = amounts.chunks_exact(4);
    let rest: f64 = chunks.remainder().iter().map(|x| x * x).sum();
    for four in chunks {
        for (sum, x) in sums.iter_mut().zip(four) {
            *sum += x * x;
        }
    }
    sums.iter().sum::<f64>() + rest
}

impl MonthlyExposure {
    /// Sums over the events of a record, `measured` or generated.
    fn of(
        running: &RunningTotal,
        squares: f64,
        events: &Events,
        days: [f64; 12],
        measured: bool,
    ) -> MonthlyExposure {
        let mut sums = [0.0; 12];
        for (run, amount) in
            events.months.iter().zip(running.between(events.months.iter().map(|run| run.end)))
        {
            sums[usize::from(run.month0)] += amount;
        }
        let sum = running.whole();
        let typical_amount = if sum > 0.0 { squares / sum } else { 0.0 };
        let blocks = running.between(events.blocks.iter().copied()).collect();
        MonthlyExposure { sums, days, typical_amount, typical_runoff: events.typical_mm(), blocks, measured }
    }
}

/// The doses of the days that were read.
fn light(gauge: &Gauge, year: &DoseYear) -> RunningTotal {
    let mm = gauge.record().dense();
    let Some(first) = gauge.record().first() else { return RunningTotal::default() };
    let mut doses = vec![0.0; mm.len()];
    let mut passed = 0;
    while passed < mm.len() {
        let from = first.plus(passed as i32);
        let to = mm.len().min(passed + from.month_end().since(from) as usize + 1);
        let WeatherFactors { wet, dry } = year.weather(from.month0());
        let days = doses[passed..to].iter_mut().zip(&mm[passed..to]).zip(year.sky_from(from.day_of_year()));
        for ((dose, rain), sky) in days {
            // Without a branch on the weather: a wet day, a dry day with a reading, or a day without a reading.
            let of_weather = if *rain >= WET_MM { wet } else { dry };
            *dose = sky * if rain.is_nan() { 0.0 } else { of_weather };
        }
        passed = to;
    }
    RunningTotal::daily_from(first, doses)
}
