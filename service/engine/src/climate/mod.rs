//! What rain to expect on days that nobody has read.
//!
//! Question answered: by calendar month, how often does it rain, how much on a wet day, how much runs off, and how far
//! do months and years stray from that? One [`Climate`] per gauge serves every roof on it.
//!
//! Occurrence is a first-order two-state chain per month, amounts a gamma law matched in mean and variance (sums depend
//! on these two; the likelihood shape understates the variance by 15 to 46 % on six daily series). Both are smoothed
//! over neighbouring months with weights 1/4, 1/2, 1/4. Simple daily models understate the variance of monthly sums
//! (Katz & Parlange 1998, Journal of Climate 11:591); the missing part is carried by one log-normal factor per month,
//! one per year, and the sampling error of a short record; what the
//! record leaves open about these is counted as [`Doubt`]. With twelve normals in place of a record, occurrence follows
//! from the wet-day share (Geng et al. 1986, from memory).
//!
//! Units: mm per day unless a name says otherwise. Known failures: no trend, no multi-year swing, no tie between rain
//! amount and the length of a wet spell; two years in a semi-arid climate are too short for an honest band.
//! Invariant: at a fixed `cv30` a longer record never widens the sampling term.

mod doubt;
mod given;
mod laws;
mod spread;
mod statistics;

use crate::calendar::MONTH_DAYS;
use crate::rain::RainRecord;

pub use doubt::{Doubt, Spreads};

pub(crate) use spread::{Misfit, monthly_means, smooth};
pub(crate) use statistics::Gathered;

/// Rain of a day from which it counts as wet, mm.
pub const WET_MM: f64 = 0.1;

/// Daily loss in mm at which the spread of runoff is measured in [`Climate::fit`].
pub const REFERENCE_LOSS_MM: f64 = 0.5;

/// Fewest readings from which a record makes a climate without normals. Judgement.
pub const FEWEST_DAYS: usize = 30;

/// Readings from which a record's own spread is believed beside normals: one year. Judgement.
pub const SPREAD_DAYS: usize = 365;

/// Twelve monthly means, as climate services publish them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Normals {
    /// Mean total of each month, January first, mm, 0 or more.
    pub rain_mm: [f64; 12],
    /// Mean count of wet days of each month, 0 or more.
    pub wet_days: [f64; 12],
    /// Depth from which those days count as wet: usually 0.1, 0.2, 0.25 or 1 mm.
    pub wet_day_threshold_mm: f64,
    /// Years behind the means, usually 30; 0 when unknown, which stands for 30.
    pub years: f64,
}

/// What a climate was fitted on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Basis {
    /// Daily readings alone.
    Record,
    /// Monthly normals alone, or beside a record of under a year.
    Normals,
    /// Means from the normals, spread from the record.
    Both,
}

/// Rain of one calendar month.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MonthLaw {
    /// Chance of a wet day after a dry one, 0 to 1.
    pub p01: f64,
    /// Chance of a wet day after a wet one, 0 to 1.
    pub p11: f64,
    /// Mean rain of a wet day, mm, 0 only where it never rains.
    pub mean_wet_mm: f64,
    /// Variance of a wet day's rain over the square of its mean, at least 0.05.
    pub cv2: f64,
}

/// The fitted climate of one gauge.
#[derive(Debug, Clone, PartialEq)]
pub struct Climate {
    /// The law of each calendar month, January first.
    pub months: [MonthLaw; 12],
    /// What it was fitted on.
    pub basis: Basis,
    /// Years behind the means (fractional), the L of the sampling error.
    pub years: f64,
    /// Variance per mm of accumulated rain in the daily model, mm.
    pub kappa_mm: f64,
    /// Log-sd of the factor that each month draws anew.
    pub sigma_month: f64,
    /// Log-sd of the factor that each year draws.
    pub sigma_year: f64,
    /// Relative error of the climatology per 30 days, for one year of record.
    pub cv30: f64,
    /// What a forecast adds to the spreads above for how badly the record tells them; none where they were not measured.
    pub doubt: Doubt,
    /// Months that had readings and never a wet day among them (for normals: no rain or no wet day).
    pub dry_months: [bool; 12],
    /// Mean rain by month, mm per day.
    pub rain_mm_per_day: [f64; 12],
    /// Loss behind [`Climate::mean_runoff_by_month`], mm per day.
    pub loss_mm: f64,
    /// Factor by month that takes the record's own means to these (1 without normals).
    pub level: [f64; 12],
    runoff: [f64; 12],
}

/// Why there is no climate.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ClimateError {
    /// Neither a reading nor normals.
    #[error(
        "no rain reading and no normals: send daily rain for at least {FEWEST_DAYS} days, or twelve monthly normals"
    )]
    NoRain,
    /// Too few readings, and no normals to stand in.
    #[error("{days_read} days of rain are too few: send at least {FEWEST_DAYS}, or twelve monthly normals")]
    TooShort {
        /// Days that have a reading.
        days_read: usize,
    },
    /// A normal outside its range.
    #[error("normals: {name} of month {month} is {value}; allowed: {allowed}")]
    BadNormals {
        /// Which of the fields.
        name: &'static str,
        /// Month, 1 to 12.
        month: usize,
        /// The value given.
        value: f64,
        /// The range allowed.
        allowed: &'static str,
    },
}

impl Climate {
    /// Fits a gauge's climate to its record, its normals, or both.
    ///
    /// With both and at least [`SPREAD_DAYS`] readings, means come from the normals and the spread from the record; with
    /// a shorter record the normals stand alone. Pairs of days across a gap are left out. 29 February is folded into the
    /// 28th. An all-zero record gives a climate in which it never rains.
    pub fn fit(record: &RainRecord, normals: Option<&Normals>) -> Result<Climate, ClimateError> {
        Climate::fit_with_loss(record, normals, REFERENCE_LOSS_MM)
    }

    /// The same with another daily loss in mm behind [`Climate::mean_runoff_by_month`] and the measured spread.
    ///
    /// A loss that is not a number of 0 or more counts as 0.
    pub fn fit_with_loss(
        record: &RainRecord,
        normals: Option<&Normals>,
        loss_mm: f64,
    ) -> Result<Climate, ClimateError> {
        let loss_mm = if loss_mm >= 0.0 && loss_mm.is_finite() { loss_mm } else { 0.0 };
        Climate::from_gathered(&Gathered::of(record, loss_mm), record.known_days(), normals, loss_mm)
    }

    /// The same from sums that grew with the record; `known_days` are its readings.
    pub(crate) fn from_gathered(
        gathered: &Gathered,
        known_days: usize,
        normals: Option<&Normals>,
        loss_mm: f64,
    ) -> Result<Climate, ClimateError> {
        let own = || spread::from_statistics(&gathered.statistics(), loss_mm);
        match normals {
            None if known_days == 0 => Err(ClimateError::NoRain),
            None if known_days < FEWEST_DAYS => Err(ClimateError::TooShort { days_read: known_days }),
            None => Ok(own()),
            Some(normals) => {
                laws::check(normals)?;
                let base = laws::from_normals(normals, loss_mm);
                if known_days < SPREAD_DAYS {
                    return Ok(base);
                }
                Ok(laws::relevel(own(), &base))
            }
        }
    }

    /// Mean runoff by month in mm per day at coefficient 1 and the loss [`Climate::loss_mm`] taken off each day.
    pub fn mean_runoff_by_month(&self) -> [f64; 12] {
        self.runoff
    }

    /// Share of the days of a month (January 0) that are wet in the long run, 0 to 1.
    pub fn wet_share(&self, month0: usize) -> f64 {
        self.months[month0 % 12].wet_share()
    }

    /// Log-sd of the error of a month's mean, from the length of the record: `cv30 / sqrt(years)`.
    ///
    /// Years count as half a year at least; under that the log-normal form loses its meaning. Judgement.
    pub fn sampling_sd(&self) -> f64 {
        self.cv30 / self.years.max(0.5).sqrt()
    }

    /// Relative variance of a year's runoff by the daily model, the factors of its months and that of the year.
    fn of_year(&self) -> f64 {
        let by_month: [f64; 12] = std::array::from_fn(|m| self.runoff[m] * MONTH_DAYS[m]);
        let annual: f64 = by_month.iter().sum();
        if !(annual > 0.0) {
            return 0.0;
        }
        let squares: f64 = by_month.iter().map(|x| x * x).sum();
        let by_months = self.sigma_month.powi(2).exp_m1() * squares / (annual * annual);
        self.kappa_mm / annual + by_months + self.sigma_year.powi(2).exp_m1()
    }

    /// Whether no month has any rain.
    pub fn never_rains(&self) -> bool {
        self.rain_mm_per_day.iter().all(|mm| !(*mm > 0.0))
    }
}

impl MonthLaw {
    /// Share of wet days in the long run, 0 to 1.
    pub fn wet_share(&self) -> f64 {
        let turnover = 1.0 + self.p01 - self.p11;
        // p01 = 0 with p11 = 1 has no single long-run share; a dry start stays dry.
        if turnover > 1e-9 { (self.p01 / turnover).clamp(0.0, 1.0) } else { 0.0 }
    }

    /// Variance of accumulated rain per day and its mean, for the dispersion index.
    fn variance_and_mean(&self) -> (f64, f64) {
        let wet = self.wet_share();
        // Persistence of 1 would make the sum infinitely variable; one change of weather in fifty is the floor.
        let d = (self.p11 - self.p01).clamp(-0.98, 0.98);
        let square = self.mean_wet_mm * self.mean_wet_mm;
        let variance = wet * square * self.cv2 + wet * (1.0 - wet) * square * (1.0 + d) / (1.0 - d);
        (variance, wet * self.mean_wet_mm)
    }
}
