//! Sums over a record by calendar month, from which everything else is fitted.

use crate::calendar::{Day, Walker};
use crate::rain::RainRecord;

use super::WET_MM;

/// Readings in a calendar of 365 days, with what each month adds up to.
pub(super) struct Statistics {
    /// Readings from the first to the last, 29 February added to the 28th, NaN where there is none.
    pub mm: Vec<f64>,
    /// Month index of each.
    pub month: Vec<u8>,
    /// Days with a reading.
    pub days: [f64; 12],
    /// Rain on them.
    pub rain: [f64; 12],
    /// Runoff after the daily loss.
    pub runoff: [f64; 12],
    /// Wet days, their rain and its square.
    pub wet: [f64; 12],
    pub wet_mm: [f64; 12],
    pub wet_mm2: [f64; 12],
    /// Days after a dry day, and those of them that were wet.
    pub after_dry: [f64; 12],
    pub wet_after_dry: [f64; 12],
    /// Days after a wet day, and those of them that were wet.
    pub after_wet: [f64; 12],
    pub wet_after_wet: [f64; 12],
}

impl Statistics {
    pub(super) fn of(record: &RainRecord, loss_mm: f64) -> Statistics {
        let (mm, month) = folded(record);
        let zero = [0.0; 12];
        let mut s = Statistics {
            mm: Vec::new(),
            month: Vec::new(),
            days: zero,
            rain: zero,
            runoff: zero,
            wet: zero,
            wet_mm: zero,
            wet_mm2: zero,
            after_dry: zero,
            wet_after_dry: zero,
            after_wet: zero,
            wet_after_wet: zero,
        };
        // The first reading has no day before it and counts as following a dry one; after a gap no such guess is made.
        let mut before = 0.0;
        for (&p, &m) in mm.iter().zip(&month) {
            if !p.is_nan() {
                s.add(p, usize::from(m), before, loss_mm);
            }
            before = p;
        }
        s.mm = mm;
        s.month = month;
        s
    }

    fn add(&mut self, p: f64, m: usize, before: f64, loss_mm: f64) {
        let wet = f64::from(u8::from(p >= WET_MM));
        self.days[m] += 1.0;
        self.rain[m] += p;
        self.runoff[m] += (p - loss_mm).max(0.0);
        self.wet[m] += wet;
        self.wet_mm[m] += wet * p;
        self.wet_mm2[m] += wet * p * p;
        if before >= WET_MM {
            self.after_wet[m] += 1.0;
            self.wet_after_wet[m] += wet;
        } else if !before.is_nan() {
            self.after_dry[m] += 1.0;
            self.wet_after_dry[m] += wet;
        }
    }

    /// Days with a reading.
    pub(super) fn known(&self) -> f64 {
        self.days.iter().sum()
    }
}

/// The record without leap days: each is added to the day before it, when both were read.
fn folded(record: &RainRecord) -> (Vec<f64>, Vec<u8>) {
    let source = record.dense();
    let mut mm = Vec::with_capacity(source.len());
    let mut month = Vec::with_capacity(source.len());
    let mut walker = Walker::at(record.first().unwrap_or(Day(0)));
    for &p in source {
        if walker.is_leap_day() {
            if let Some(last) = mm.last_mut()
                && !p.is_nan()
            {
                *last += p;
            }
        } else {
            mm.push(p);
            month.push(walker.month0() as u8);
        }
        walker.step();
    }
    (mm, month)
}
