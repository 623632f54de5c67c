//! How long water may stand before adult mosquitoes emerge from it.
//!
//! Aedes aegypti takes `K / (T - t)` days from egg to adult at a steady T, with K = 181.2 degree-days above t =
//! 8.3 degrees C. Source: Tun-Lin, Burkot & Kay 2000, Medical and Veterinary Entomology 14:31, North Queensland;
//! abstract. With monthly means, the degree-days of each day add up.
//!
//! The law is early against that paper's own rearings: 6.8 days instead of 7.2 +/- 0.2 at 35 degrees C, where heat
//! starts to slow the larvae. At 15 degrees C, near the cold end, it gives 27 days instead of 39.7 +/- 2.3,
//! because there the curve leaves the straight line. Early is the safe side for a reminder to empty or screen.
//!
//! Known failures: Other species have other constants. Water in the sun is warmer than the air. Larvae do not
//! survive a winter, but its few degree-days count here all the same.
//! Invariant: warmer water is never slower.

use crate::calendar::Day;
use crate::error::{EngineError, require};
use crate::heat::MonthlyClock;

/// Degree-days from egg to adult.
pub const DEGREE_DAYS: f64 = 181.2;

/// Temperature at which development stands still, degrees C.
pub const THRESHOLD_C: f64 = 8.3;

/// Longest development, days: no brood lasts more than a year. Judgement.
const LONGEST_DAYS: i32 = 365;

/// Days from egg to adult at a steady temperature in degrees C; `None` at or below the threshold.
pub fn development_days(temperature_c: f64) -> Option<f64> {
    (temperature_c > THRESHOLD_C).then(|| DEGREE_DAYS / (temperature_c - THRESHOLD_C))
}

/// The first day on which adults leave water that stands since the end of `since`. `None` where a year is too
/// cold.
///
/// `mean_c` are monthly mean temperatures in degrees C, January first, -60 to 60.
pub fn first_emergence(since: Day, mean_c: &[f64; 12]) -> Result<Option<Day>, EngineError> {
    for mean in *mean_c {
        require((-60.0..=60.0).contains(&mean), "mean temperature in C", mean, "-60 to 60")?;
    }
    let clock = MonthlyClock::new("degree-days per day", mean_c.map(|mean| (mean - THRESHOLD_C).max(0.0)))?;
    Ok(clock.reached(since, DEGREE_DAYS).filter(|day| day.since(since) <= LONGEST_DAYS))
}
