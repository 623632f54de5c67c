//! What each read day added to a tally.

use std::sync::Arc;

use crate::calendar::Day;
use crate::catchment::Events;
use crate::climate::WET_MM;
use crate::first_flush::{MIXING, WASH_OFF_PER_MM, washed_share};
use crate::gauge::{BLOCK_DAYS, Gauge};
use crate::meter::Setting;

use super::Exposure;
use super::chamber::{Chamber, Filling};
use super::leaves::{Fallen, per_catcher};
use super::sediment::solids_to_depth;
use super::ultraviolet::Year;

/// A tally as it grew over the readings: the days on which it did, and what it was from the first reading on.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Steps {
    days: Vec<i32>,
    totals: Vec<f64>,
}

impl Steps {
    fn new(days: Vec<i32>, mut amounts: Vec<f64>) -> Steps {
        let mut total = 0.0;
        for x in &mut amounts {
            total += *x;
            *x = total;
        }
        Steps { days, totals: amounts }
    }

    /// The total up to and with a day.
    pub(crate) fn total(&self, day: Day) -> f64 {
        let passed = self.days.partition_point(|d| *d <= day.0);
        passed.checked_sub(1).map_or(0.0, |last| self.totals[last])
    }
}

/// An exposure over the readings, and by month over the years that its climatology stands on.
#[derive(Debug, Clone)]
pub(crate) struct Counted {
    /// What the readings say.
    pub steps: Arc<Steps>,
    /// The sums behind the climatology, for exposures that ride on rain.
    pub months: Option<Months>,
    /// The year of doses, for light.
    pub(super) year: Option<Year>,
}

/// An exposure added up by month, as it would be with everything in order.
#[derive(Debug, Clone)]
pub(crate) struct Months {
    /// Exposure by month.
    pub sums: [f64; 12],
    /// Days by month.
    pub days: [f64; 12],
    /// Mean square over mean of the exposure on days that had any: the typical amount at once.
    pub lump: f64,
    /// The same of the runoff, coefficient taken off.
    pub runoff_lump: f64,
    /// Exposure by blocks of 30 days from the first reading on; empty for years that were generated.
    pub blocks: Vec<f64>,
}

/// Runs an exposure over the readings of its gauge.
pub(crate) fn count(s: &Setting<'_>) -> Counted {
    if let Exposure::Ultraviolet { orientation, shade_share, warmth } = s.exposure {
        let year = Year::new(s.site, orientation, shade_share, warmth.as_ref());
        return Counted { steps: Arc::new(light(s.gauge, &year)), months: None, year: Some(year) };
    }
    if !s.exposure.needs_rain() {
        return Counted { steps: Arc::new(Steps::default()), months: None, year: None };
    }
    let own = s.catchment.own();
    let amounts = rain_borne(s, own, s.exposure);
    // The climatology is that of a part in order: what a blocked hole let through is history and no season.
    let expected = expected(s.exposure);
    let months = match (s.catchment.model(), expected) {
        (Some(model), expected) => {
            let amounts = rain_borne(s, model, expected.unwrap_or(s.exposure));
            Some(Months::of(&amounts, model, Gauge::modelled_days(), None))
        }
        (None, Some(expected)) => {
            let amounts = rain_borne(s, own, expected);
            Some(Months::of(&amounts, own, s.gauge.read().by_month, s.gauge.record().first()))
        }
        (None, None) => Some(Months::of(&amounts, own, s.gauge.read().by_month, s.gauge.record().first())),
    };
    Counted { steps: Arc::new(Steps::new(own.day.clone(), amounts)), months, year: None }
}

/// The exposure without its history, when it has one.
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

/// What each event added.
fn rain_borne(s: &Setting<'_>, events: &Events, exposure: Exposure<'_>) -> Vec<f64> {
    match exposure {
        Exposure::Runoff => events.mm.clone(),
        Exposure::Fills { chamber } => {
            let mut filling = Filling::new(chamber);
            let filled = |(&day, &mm): (&i32, &f64)| {
                let taken = filling.take(day, mm);
                f64::from(u8::from(taken > 0.0 && (filling.is_full() || taken >= chamber.volume_mm)))
            };
            events.day.iter().zip(&events.mm).map(filled).collect()
        }
        Exposure::Grit { chamber } => diverted(events, chamber),
        Exposure::Sediment { chamber, floor_area_m2, calmed_inlet } => {
            let depth = solids_to_depth(calmed_inlet, s.roof.plan_area_m2 / floor_area_m2);
            let mut amounts = match chamber {
                Some(chamber) => diverted(events, chamber),
                None => vec![0.0; events.len()],
            };
            for (x, washed) in amounts.iter_mut().zip(&events.washed) {
                *x = (washed - *x) * depth;
            }
            amounts
        }
        Exposure::Leaves { .. } | Exposure::GutterLeaves { .. } => {
            let fallen = Fallen::new(s.roof, s.site, per_catcher(s.roof, exposure));
            let back = events.days_back();
            (0..events.len()).map(|i| fallen.before(events, i, back)).collect()
        }
        Exposure::RoofLeaves | Exposure::Ultraviolet { .. } | Exposure::Steady { .. } => Vec::new(),
    }
}

/// Solids that stay in a chamber, g per m2 of roof.
fn diverted(events: &Events, chamber: Chamber<'_>) -> Vec<f64> {
    let mut filling = Filling::new(chamber);
    // Most events fill the chamber from empty.
    let of_a_full_flush = MIXING * washed_share(WASH_OFF_PER_MM, chamber.volume_mm);
    (0..events.len())
        .map(|i| {
            let (mm, lying) = (events.mm[i], events.lying[i]);
            let taken = filling.take(events.day[i], mm);
            if taken == chamber.volume_mm {
                lying * of_a_full_flush
            } else if taken == mm {
                MIXING * events.washed[i]
            } else {
                lying * MIXING * washed_share(WASH_OFF_PER_MM, taken)
            }
        })
        .collect()
}

impl Months {
    fn of(amounts: &[f64], events: &Events, days: [f64; 12], first: Option<Day>) -> Months {
        let mut months =
            Months { sums: [0.0; 12], days, lump: 0.0, runoff_lump: events.lump(), blocks: Vec::new() };
        let (mut sum, mut square) = (0.0, 0.0);
        for (x, month0) in amounts.iter().zip(&events.month0) {
            months.sums[usize::from(*month0)] += x;
            sum += x;
            square += x * x;
        }
        if sum > 0.0 {
            months.lump = square / sum;
        }
        if let Some(first) = first {
            let mut end = first.0 + BLOCK_DAYS as i32;
            let mut block = 0.0;
            for (x, day) in amounts.iter().zip(&events.day) {
                while *day >= end {
                    months.blocks.push(std::mem::take(&mut block));
                    end += BLOCK_DAYS as i32;
                }
                block += x;
            }
            months.blocks.push(block);
        }
        months
    }
}

/// The doses of the days that were read.
fn light(gauge: &Gauge, year: &Year) -> Steps {
    let mm = gauge.record().dense();
    let Some(start) = gauge.record().first() else { return Steps::default() };
    let last = start.plus(mm.len() as i32 - 1);
    let (mut days, mut totals) = (Vec::with_capacity(mm.len()), Vec::with_capacity(mm.len()));
    let (mut day, mut total) = (start, 0.0);
    while day <= last {
        let (from, doy, month0) = (day, day.day_of_year(), day.month0());
        let end = day.month_end().min(last);
        let (wet, dry) = year.weather(month0);
        while day <= end {
            let rain = mm[day.since(start) as usize];
            if !rain.is_nan() {
                total += year.sky(doy + day.since(from) as u32) * if rain >= WET_MM { wet } else { dry };
                days.push(day.0);
                totals.push(total);
            }
            day = day.plus(1);
        }
    }
    Steps { days, totals }
}
