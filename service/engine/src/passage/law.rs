//! What an unread day brings.

use crate::climate::{Climate, Spreads};

/// What unread days bring, and how much that varies. Units are those of the exposure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Law {
    /// Mean of a day by calendar month, January first, 0 or more.
    pub daily: [f64; 12],
    /// Day-to-day variance per unit of mean, 0 or more.
    pub kappa: f64,
    /// Log-sd of the factor of each month.
    pub sigma_month: f64,
    /// Log-sd of the factor of each year.
    pub sigma_year: f64,
    /// Log-sd of the error of the monthly means themselves.
    pub sampling_sd: f64,
    /// Log-sd of the error that is common to the means of all months.
    pub level_sd: f64,
}

/// Mean and variance of a sum of days. Units are those of the exposure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moments {
    /// Mean.
    pub mean: f64,
    /// Variance.
    pub variance: f64,
}

impl Law {
    /// Days that bring nothing.
    pub const NOTHING: Law = Law {
        daily: [0.0; 12],
        kappa: 0.0,
        sigma_month: 0.0,
        sigma_year: 0.0,
        sampling_sd: 0.0,
        level_sd: 0.0,
    };

    /// A law with these means, this dispersion and these spreads.
    pub fn new(daily: [f64; 12], kappa: f64, spreads: Spreads) -> Law {
        let Spreads { month, year, sampling, level } = spreads;
        Law { daily, kappa, sigma_month: month, sigma_year: year, sampling_sd: sampling, level_sd: level }
    }

    /// The runoff of a climate after its loss, at coefficient 1.
    pub fn of_runoff(climate: &Climate) -> Law {
        Law::new(climate.mean_runoff_by_month(), climate.kappa_mm, climate.spreads())
    }
}
