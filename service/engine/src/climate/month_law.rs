//! The rain of one calendar month, and figures that follow from it.

use crate::calendar::MONTH_DAYS;
use crate::special::gamma_below;

/// Rain of one calendar month.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MonthLaw {
    /// Chance of a wet day after a dry one, 0 to 1.
    pub p01: f64,
    /// Chance of a wet day after a wet one, 0 to 1.
    pub p11: f64,
    /// Mean rain of a wet day, mm. 0 only where it never rains.
    pub mean_wet_mm: f64,
    /// Variance of a wet day's rain over the square of its mean, at least 0.05.
    pub cv2: f64,
}

impl MonthLaw {
    /// Share of wet days in the long run, 0 to 1.
    pub fn wet_share(&self) -> f64 {
        let turnover = 1.0 + self.p01 - self.p11;
        // p01 = 0 with p11 = 1 has no single long-run share. A dry start stays dry.
        if turnover > 1e-9 { (self.p01 / turnover).clamp(0.0, 1.0) } else { 0.0 }
    }

    /// Variance and mean of accumulated rain per day, for the dispersion index.
    fn daily_sum(&self) -> DailySum {
        let wet = self.wet_share();
        // A persistence of 1 would give an infinite variance. The floor is one change of weather in fifty.
        let d = (self.p11 - self.p01).clamp(-0.98, 0.98);
        let square = self.mean_wet_mm * self.mean_wet_mm;
        let variance = wet * square * self.cv2 + wet * (1.0 - wet) * square * (1.0 + d) / (1.0 - d);
        DailySum { variance, mean: wet * self.mean_wet_mm }
    }
}

/// What one day adds to accumulated rain.
struct DailySum {
    variance: f64,
    mean: f64,
}

/// Dispersion index of accumulated rain, mm: variance over mean, both summed over the days of a year.
pub(super) fn dispersion(months: &[MonthLaw; 12]) -> f64 {
    let (mut variance, mut mean) = (0.0, 0.0);
    for (law, days) in months.iter().zip(MONTH_DAYS) {
        let day = law.daily_sum();
        variance += day.variance * days;
        mean += day.mean * days;
    }
    if mean > 0.0 { variance / mean } else { 0.0 }
}

/// Mean runoff of a day after a daily loss, mm.
pub(super) fn runoff_of(law: &MonthLaw, loss_mm: f64) -> f64 {
    law.wet_share() * (law.mean_wet_mm - gamma_capped_mean(law.mean_wet_mm, law.cv2, loss_mm))
}

/// Mean of min(X, cap) for X gamma distributed with the given mean and squared coefficient of variation.
fn gamma_capped_mean(mean: f64, cv2: f64, cap: f64) -> f64 {
    if !(mean > 0.0) || !(cap > 0.0) {
        return 0.0;
    }
    let shape = 1.0 / cv2;
    let x = cap / (mean * cv2);
    // Shapes here are at most 20, where the expansions always settle. The fallback only makes the function total.
    let below_mean = gamma_below(shape + 1.0, x).unwrap_or(1.0);
    let below = gamma_below(shape, x).unwrap_or(1.0);
    (mean * below_mean + cap * (1.0 - below)).min(mean)
}
