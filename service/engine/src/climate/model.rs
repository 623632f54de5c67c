//! The climate of one gauge.

use crate::calendar::MONTH_DAYS;

use super::doubt::{Doubt, Spreads};
use super::month_law::MonthLaw;

/// What a climate was fitted on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Basis {
    /// Daily readings alone.
    Record,
    /// Monthly normals, alone or with a record of less than a year.
    Normals,
    /// Means from the normals and spread from the record.
    Both,
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
    /// Log-sd of the factor that is drawn for each month.
    pub sigma_month: f64,
    /// Log-sd of the factor that is drawn for each year.
    pub sigma_year: f64,
    /// Relative error of the climatology per 30 days, for one year of record.
    pub cv30: f64,
    /// What a forecast adds to the spreads above, because the record shows them badly. None where they were not
    /// measured.
    pub doubt: Doubt,
    /// Months with readings but no wet day. For normals: months without rain or without a wet day.
    pub dry_months: [bool; 12],
    /// Mean rain by month, mm per day.
    pub rain_mm_per_day: [f64; 12],
    /// Loss for [`Climate::mean_runoff_by_month`], mm per day.
    pub loss_mm: f64,
    /// Factor by month from the record's own means to these (1 without normals).
    pub level: [f64; 12],
    pub(super) runoff: [f64; 12],
}

impl Climate {
    /// Mean runoff by month in mm per day, at coefficient 1 and with [`Climate::loss_mm`] taken off each day.
    pub fn mean_runoff_by_month(&self) -> [f64; 12] {
        self.runoff
    }

    /// Share of the days of a month (January 0) that are wet in the long run, 0 to 1.
    pub fn wet_share(&self, month0: usize) -> f64 {
        self.months[month0 % 12].wet_share()
    }

    /// Log-sd of the error of a month's mean, from the length of the record: `cv30 / sqrt(years)`.
    ///
    /// Years count as at least half a year. Below that the log-normal form loses its meaning. Judgement.
    pub fn sampling_sd(&self) -> f64 {
        self.cv30 / self.years.max(0.5).sqrt()
    }

    /// Relative variance of a year's runoff, from the daily model and the factors of months and year.
    pub(super) fn of_year(&self) -> f64 {
        let by_month: [f64; 12] = std::array::from_fn(|m| self.runoff[m] * MONTH_DAYS[m]);
        let annual: f64 = by_month.iter().sum();
        if !(annual > 0.0) {
            return 0.0;
        }
        let squares: f64 = by_month.iter().map(|x| x * x).sum();
        let by_months = self.sigma_month.powi(2).exp_m1() * squares / (annual * annual);
        self.kappa_mm / annual + by_months + self.sigma_year.powi(2).exp_m1()
    }

    /// Whether it rains in no month.
    pub fn never_rains(&self) -> bool {
        self.rain_mm_per_day.iter().all(|mm| !(*mm > 0.0))
    }

    /// The log-sds for forecasts: those of the climate, widened by the doubt about them.
    pub fn spreads(&self) -> Spreads {
        self.doubt.widen(self.sigma_month, self.sigma_year, self.sampling_sd())
    }
}
