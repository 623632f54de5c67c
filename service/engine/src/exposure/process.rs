//! Running an exposure over the readings.

use crate::calendar::Day;
use crate::climate::WET_MM;
use crate::duty::Question;
use crate::error::EngineError;
use crate::runoff::WettingStore;

use super::sediment::{Diverter, bed_depth_mm, trap_efficiency};
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

/// Mean square over mean, as the days come in.
#[derive(Default)]
struct Lump {
    sum: f64,
    square: f64,
}

impl Lump {
    fn add(&mut self, x: f64) {
        self.sum += x;
        self.square += x * x;
    }

    fn value(&self) -> f64 {
        if self.sum > 0.0 { self.square / self.sum } else { 0.0 }
    }
}

/// A day with a reading.
struct Reading {
    rain: f64,
    month0: usize,
    day_of_year: u32,
    /// Whether the day before had none.
    after_gap: bool,
}

/// Runs the question's exposure over its record.
///
/// `fall` is the leaf fall per m2 of screen and day, `pile` the leaf to expect on the roof at the start of a stretch of
/// readings; both by month and without meaning for other exposures.
pub(super) fn run(q: &Question<'_>, fall: &[f64; 12], pile: &[f64; 12]) -> Result<Pass, EngineError> {
    let mut pass = Pass {
        known: vec![0.0; q.as_of.since(q.since).max(0) as usize + 1],
        unread: Vec::new(),
        days_read: 0,
        later_readings: q.record.last().is_some_and(|last| last > q.as_of),
        sums: [0.0; 12],
        days: [0.0; 12],
        lump: 0.0,
        runoff_lump: 0.0,
        year: None,
    };
    let mut store = WettingStore::new(q.roof.wetting_loss_mm)?;
    let (mut runoffs, mut exposures) = (Lump::default(), Lump::default());
    let mut runoff_of = |reading: &Reading| {
        if reading.after_gap {
            store.dry_out();
        }
        let runoff = store.day(reading.rain);
        runoffs.add(runoff);
        runoff
    };
    // What lies on the roof by the last service, and the climatology, need the readings before it too.
    match q.exposure {
        Exposure::Runoff => readings(q, &mut pass, false, |reading| {
            let x = q.roof.coefficient * runoff_of(reading);
            exposures.add(x);
            x
        }),
        Exposure::Leaves { .. } => {
            let mut lying = 0.0;
            readings(q, &mut pass, false, |reading| {
                if reading.after_gap {
                    lying = pile[reading.month0];
                }
                lying += fall[reading.month0];
                let x = if runoff_of(reading) > 0.0 { std::mem::take(&mut lying) } else { 0.0 };
                exposures.add(x);
                x
            });
        }
        Exposure::Sediment { flush_mm, floor_area_m2, calmed_inlet } => {
            let diverter = Diverter::new(flush_mm);
            let per_mm =
                bed_depth_mm(1.0, 1.0, trap_efficiency(calmed_inlet), q.roof.plan_area_m2 / floor_area_m2);
            readings(q, &mut pass, false, |reading| {
                let event = q.roof.coefficient * runoff_of(reading);
                let x = if event > 0.0 { per_mm * event * diverter.passed_share(event) } else { 0.0 };
                exposures.add(x);
                x
            });
        }
        Exposure::Ultraviolet { orientation, shade_share } => {
            let year = Year::new(q.site, orientation, shade_share);
            readings(q, &mut pass, true, |reading| year.dose(reading.day_of_year, reading.rain >= WET_MM));
            pass.year = Some(year);
        }
    }
    pass.lump = exposures.value();
    pass.runoff_lump = runoffs.value();
    Ok(pass)
}

/// Passes the readings up to the day asked about through `exposure_of`, in order, and books what comes out.
///
/// Goes month by month, so that the calendar is asked once a month and not once a day.
fn readings(
    q: &Question<'_>,
    pass: &mut Pass,
    only_since: bool,
    mut exposure_of: impl FnMut(&Reading) -> f64,
) {
    let mm = q.record.dense();
    let Some(start) = q.record.first() else {
        close_gap(pass, q.since, q.since, q.as_of.plus(1));
        return;
    };
    let last = start.plus(mm.len() as i32 - 1).min(q.as_of);
    let mut day = if only_since { start.max(q.since.plus(1)) } else { start };
    let (mut read_to, mut total, mut after_gap) = (q.since, 0.0, true);
    while day <= last {
        let (month0, first_doy, from) = (day.month0(), day.day_of_year(), day);
        let end = day.month_end().min(last);
        let (mut sum, mut count) = (0.0, 0.0);
        while day <= end {
            let rain = mm[day.since(start) as usize];
            let number = day.since(q.since);
            if rain.is_nan() {
                after_gap = true;
            } else {
                let day_of_year = first_doy + day.since(from) as u32;
                let x = exposure_of(&Reading { rain, month0, day_of_year, after_gap });
                after_gap = false;
                sum += x;
                count += 1.0;
                if number > 0 {
                    total += x;
                    pass.days_read += 1;
                    if day.since(read_to) > 1 {
                        close_gap(pass, q.since, read_to, day);
                    }
                    read_to = day;
                }
            }
            if number > 0 {
                pass.known[number as usize] = total;
            }
            day = day.plus(1);
        }
        pass.sums[month0] += sum;
        pass.days[month0] += count;
    }
    let filled = last.since(q.since).max(0) as usize;
    pass.known[filled..].fill(total);
    close_gap(pass, q.since, read_to, q.as_of.plus(1));
}

/// Notes the unread days strictly between two days.
fn close_gap(pass: &mut Pass, since: Day, read_to: Day, next: Day) {
    let (from, to) = (read_to.since(since) + 1, next.since(since) - 1);
    if from <= to {
        pass.unread.push((from, to));
    }
}

/// Leaf fall per day by month, in kg per m2 of screen; zeros for other exposures.
pub(super) fn fall(q: &Question<'_>) -> [f64; 12] {
    match q.exposure {
        Exposure::Leaves { screen_area_m2 } => {
            let scale = leaves::SHARE_LEFT_ON_SCREEN * q.roof.plan_area_m2 / screen_area_m2;
            std::array::from_fn(|m| leaves::litter_kg_m2(q.roof, q.site, m) * scale)
        }
        _ => [0.0; 12],
    }
}
