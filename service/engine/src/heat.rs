//! Ageing of rubber by heat, separate from ageing by light.
//!
//! Question answered: how fast does a part age at the temperatures of its place, and when has it reached the age at
//! which its material fails?
//!
//! Arrhenius: `A = exp(Ea/R (1/298.15 K - 1/T))`. One day counts as A days at 25 degrees C. Ea is the activation
//! energy in kJ/mol, T the temperature of the part in K.
//!
//! A dark part in the sun is 0 to 25 K warmer than the air (from memory). Without shade it counts as
//! [`SUN_HEATING_K`] warmer for a third of every day, and as warm as the air for the rest. Shade lowers the heating
//! in proportion. All of that is judgement.
//!
//! The same factor with 20 kJ/mol (10 to 35) scales the dose of light. Photo-oxidation of aromatic thermoplastics
//! gains 20 to 30 % per 10 K (Pickett et al. 2019). Its use for rubber is judgement.
//!
//! Activation energies of EPDM: 68.7 to 75.8 kJ/mol, measured at 100 to 150 degrees C. Chloroprene, natural and
//! styrene-butadiene rubber have 85 to 100, and loss of plasticiser from PVC 80 to 110, both from memory. Limits: see
//! [`ageing_limit`]; judgement throughout.
//!
//! Known failures: Real rubber does not follow Arrhenius from oven temperatures down: EPDM and neoprene both bend
//! away from the line. So do not use this law to take a limit in days at 25 degrees C from an oven test. Monthly
//! means hide the swing of the day. With a swing of 6 K either way and 90 kJ/mol the true mean of A is 15 % higher.
//! Invariants: A is 1 at 25 degrees C for every energy. It grows with temperature, and above 25 degrees C with
//! energy.

use crate::calendar::{Day, month_length};
use crate::error::{EngineError, require};
use crate::limit::{Limit, Material, Prior};

/// Gas constant, kJ/(mol K): 8.314462618 J/(mol K), exact since the SI of 2019.
const GAS_KJ_MOL_K: f64 = 8.314_462_618e-3;
/// 0 degrees C in K.
const ZERO_C_K: f64 = 273.15;
/// The temperature at which a day counts as one, K.
const REFERENCE_K: f64 = 298.15;

/// How much warmer than the air a dark part is during the sunny third of a day, K, without shade. Judgement: up to 25
/// K at a clear noon (from memory), averaged over eight hours of mixed sky.
pub const SUN_HEATING_K: f64 = 15.0;

/// Share of the day for which the sun heats. Judgement.
const SUN_SHARE: f64 = 1.0 / 3.0;

/// Activation energy with which warmth speeds up the damage by light, kJ/mol. Range 10 to 35.
pub const LIGHT_KJ_MOL: f64 = 20.0;

/// How far a monthly clock looks ahead, days: 100 years.
const LONGEST_WAIT: i32 = 36_525;

/// How many days at 25 degrees C one day at `temperature_c` counts for.
///
/// `activation_kj_mol` is 0 or more, `temperature_c` above -273.15.
pub fn acceleration(activation_kj_mol: f64, temperature_c: f64) -> f64 {
    let kelvin = ZERO_C_K + temperature_c;
    (activation_kj_mol / GAS_KJ_MOL_K * (1.0 / REFERENCE_K - 1.0 / kelvin)).exp()
}

/// An accumulated amount whose daily step depends only on the calendar month: ageing, evaporation, degree-days.
///
/// It counts the days after the start. The start itself, the day of the last service, does not count.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MonthlyClock {
    per_day: [f64; 12],
}

impl MonthlyClock {
    /// A clock with these steps per day, January first, each 0 or more. An error shows `name`.
    pub fn new(name: &'static str, per_day: [f64; 12]) -> Result<MonthlyClock, EngineError> {
        for step in per_day {
            require(step >= 0.0 && step.is_finite(), name, step, "0 or more")?;
        }
        Ok(MonthlyClock { per_day })
    }

    /// The step of a day, by month, January first.
    pub fn per_day(&self) -> &[f64; 12] {
        &self.per_day
    }

    /// What the days after `from` add, up to and including `to`. 0 when `to` is not later.
    pub fn between(&self, from: Day, to: Day) -> f64 {
        let mut sum = 0.0;
        for span in MonthSpans::after(from) {
            let left = to.since(span.before);
            if left <= span.days {
                return sum + self.per_day[span.month0] * f64::from(left.max(0));
            }
            sum += self.per_day[span.month0] * f64::from(span.days);
        }
        sum
    }

    /// The first day by whose end at least `total` was added since the end of `since`. A total of 0 gives `since`
    /// itself.
    ///
    /// `None` when that takes more than 100 years, or forever. `total` must not be NaN.
    pub fn reached(&self, since: Day, total: f64) -> Option<Day> {
        // Rounding must not add a day where the sum is exact, as after 140 days of 2.5 mm a week.
        const SLACK_DAYS: f64 = 1e-9;
        if total <= 0.0 {
            return Some(since);
        }
        if self.per_day.iter().all(|step| *step == 0.0) {
            return None;
        }
        let mut left = total;
        for span in MonthSpans::after(since) {
            if span.before.since(since) >= LONGEST_WAIT {
                return None;
            }
            let step = self.per_day[span.month0];
            let wanted = (left / step - SLACK_DAYS).ceil();
            if wanted <= f64::from(span.days) {
                return Some(span.before.plus(wanted.max(1.0) as i32));
            }
            left -= step * f64::from(span.days);
        }
        None
    }
}

/// Days of one calendar month, or the part of it that is counted.
struct MonthSpan {
    month0: usize,
    /// The day before the first counted day.
    before: Day,
    days: i32,
}

/// Endless months in order. The first one holds only the days after a given day.
struct MonthSpans {
    year: i32,
    month0: usize,
    before: Day,
    skip: i32,
}

impl MonthSpans {
    fn after(day: Day) -> MonthSpans {
        let (year, month, day_of_month) = day.ymd();
        MonthSpans { year, month0: month as usize - 1, before: day, skip: day_of_month as i32 }
    }
}

impl Iterator for MonthSpans {
    type Item = MonthSpan;

    fn next(&mut self) -> Option<MonthSpan> {
        let days = month_length(self.year, self.month0 as u32 + 1) as i32 - self.skip;
        let span = MonthSpan { month0: self.month0, before: self.before, days };
        self.skip = 0;
        self.before = self.before.plus(days);
        self.month0 += 1;
        if self.month0 == 12 {
            (self.month0, self.year) = (0, self.year.saturating_add(1));
        }
        Some(span)
    }
}

/// The temperatures of one part.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Warmth {
    air_c: [f64; 12],
    sun_heating_k: f64,
}

impl Warmth {
    /// Mean air temperatures by month in degrees C, January first, -60 to 60, and how much the sun heats the part, 0
    /// to 25 K.
    pub fn new(air_c: [f64; 12], sun_heating_k: f64) -> Result<Warmth, EngineError> {
        for mean in air_c {
            require((-60.0..=60.0).contains(&mean), "mean air temperature in C", mean, "-60 to 60")?;
        }
        let heating_ok = (0.0..=25.0).contains(&sun_heating_k);
        require(heating_ok, "sun_heating_k", sun_heating_k, "0 to 25")?;
        Ok(Warmth { air_c, sun_heating_k })
    }

    /// The same with the usual heating of a dark part under this shade, from 0 (full sun) to 1.
    pub fn under_shade(air_c: [f64; 12], shade_share: f64) -> Result<Warmth, EngineError> {
        require((0.0..=1.0).contains(&shade_share), "shade_share", shade_share, "0 to 1")?;
        Warmth::new(air_c, SUN_HEATING_K * (1.0 - shade_share))
    }

    /// The clock of ageing by heat, in days at 25 degrees C. `activation_kj_mol` 0 to 300.
    pub fn ageing(&self, activation_kj_mol: f64) -> Result<MonthlyClock, EngineError> {
        let energy_ok = (0.0..=300.0).contains(&activation_kj_mol);
        require(energy_ok, "activation_kj_mol", activation_kj_mol, "0 to 300")?;
        let step = |air: f64| {
            let in_sun = acceleration(activation_kj_mol, air + self.sun_heating_k);
            SUN_SHARE * in_sun + (1.0 - SUN_SHARE) * acceleration(activation_kj_mol, air)
        };
        MonthlyClock::new("ageing per day", self.air_c.map(step))
    }

    /// Factors by month on the dose of light: [`LIGHT_KJ_MOL`] at the temperature of air plus heating, because light
    /// comes while the part is warm.
    pub fn light_factors(&self) -> [f64; 12] {
        self.air_c.map(|air| acceleration(LIGHT_KJ_MOL, air + self.sun_heating_k))
    }
}

/// Activation energy of ageing by heat, kJ/mol: the middle of the ranges in the module's head.
pub fn activation_kj_mol(material: Material) -> f64 {
    match material {
        Material::Epdm => 72.0,
        Material::Neoprene | Material::NaturalOrSbr => 92.0,
        Material::PlasticisedPvc => 95.0,
    }
}

/// Age in days at 25 degrees C at which a coupling needs replacing, in any light. Judgement.
///
/// EPDM: 20,000 days are 55 years at 25 degrees C. Seals reach a compression set of 40 to 50 % in 31 to 89 years (Liu
/// et al. 2017, J. Mater. Eng. Perform.; Xie et al. 2024, J. Phys. Conf. Ser. 2842:012008; abstracts). Roof sheet of
/// 28 to 32 years still nearly met the minima of new sheet (trade association figures). By this clock it had aged
/// some 7,000 days in a temperate sun. With a median of 20,000, one part in fifty has failed by then.
///
/// The others are set in proportion to EPDM: neoprene two fifths, plasticised PVC three tenths, natural and
/// styrene-butadiene rubber a quarter. A quarter gives about 20 years in a temperate sun. Practice gives 10 to 20 (no
/// source), where light and ozone have their share.
pub fn ageing_limit(material: Material) -> Prior {
    let (median, log_sd, source) = match material {
        Material::Epdm => (
            20_000.0,
            0.5,
            "judgement; seals at 25 C reach a compression set of 40 to 50 % in 31 to 89 years, and roof sheet \
             served some 30",
        ),
        Material::Neoprene => (8_000.0, 0.6, "judgement; two fifths of EPDM"),
        Material::NaturalOrSbr => (5_000.0, 0.6, "judgement; a quarter of EPDM"),
        Material::PlasticisedPvc => (
            6_000.0,
            0.7,
            "judgement; plasticiser loss follows the warmth of the day, no time to failure found",
        ),
    };
    Prior { limit: Limit { median, log_sd }, unit: "days at 25 C", source, judgement: true }
}
