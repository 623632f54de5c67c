//! Position of the sun, and the irradiation of a horizontal m2.
//!
//! Declination and distance by Spencer (1971, as coded in pvlib 0.16), with the day angle `2 pi (doy - 1) / 365`.
//! Extraterrestrial irradiation of a day:
//! `H0 = 86400/pi G E0 (ws sin(lat) sin(decl) + cos(lat) cos(decl) sin(ws))`, `cos ws = -tan(lat) tan(decl)`.
//! The argument of the arc cosine is clamped, so that polar night gives 0 and polar day a full turn.
//! Clear-sky bound by Haurwitz: `1098 cos z exp(-0.059 / cos z)` W/m2.
//!
//! Known failures: Near the poles the dates of first and last light are some days off. H0 differs from a full
//! ephemeris by up to 2 %, and by 8 % in deep winter at 60 degrees.
//! Invariants: 12 h at the equator. H0 of both hemispheres half a year apart agrees within the 3.4 % of the orbit.

use std::sync::LazyLock;

use crate::special::{LANES, acos_each};

/// Solar constant, W/m2 (the default of pvlib).
pub const SOLAR_CONSTANT: f64 = 1366.1;

/// Sun of one day of the year, the same at every latitude.
#[derive(Debug, Clone, Copy)]
struct DaySun {
    sin_declination: f64,
    cos_declination: f64,
    distance: f64,
}

static YEAR: LazyLock<[DaySun; 366]> = LazyLock::new(|| {
    std::array::from_fn(|i| {
        let doy = i as u32 + 1;
        let (sin_declination, cos_declination) = declination_deg(doy).to_radians().sin_cos();
        DaySun { sin_declination, cos_declination, distance: distance_factor(doy) }
    })
});

fn day_angle(day_of_year: u32) -> f64 {
    std::f64::consts::TAU * (f64::from(day_of_year) - 1.0) / 365.0
}

/// Solar declination in degrees on a day of the year, 1 to 366.
pub fn declination_deg(day_of_year: u32) -> f64 {
    let b = day_angle(day_of_year);
    let (s1, c1) = b.sin_cos();
    let (s2, c2) = (2.0 * b).sin_cos();
    let (s3, c3) = (3.0 * b).sin_cos();
    (0.006_918 - 0.399_912 * c1 + 0.070_257 * s1 - 0.006_758 * c2 + 0.000_907 * s2 - 0.002_697 * c3
        + 0.001_48 * s3)
        .to_degrees()
}

/// Square of the mean distance to the sun over the actual one, about 0.967 to 1.035.
pub fn distance_factor(day_of_year: u32) -> f64 {
    let b = day_angle(day_of_year);
    let (s1, c1) = b.sin_cos();
    let (s2, c2) = (2.0 * b).sin_cos();
    1.000_11 + 0.034_221 * c1 + 0.001_28 * s1 + 0.000_719 * c2 + 0.000_077 * s2
}

/// A latitude, prepared for the daily sums.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Sky {
    sin_latitude: f64,
    cos_latitude: f64,
}

impl Sky {
    pub(crate) fn at(latitude_deg: f64) -> Sky {
        let (sin_latitude, cos_latitude) = latitude_deg.to_radians().sin_cos();
        // At a pole, rounding may make the cosine slightly negative, which would turn day into night.
        Sky { sin_latitude, cos_latitude: cos_latitude.max(0.0) }
    }

    /// Sine product, cosine product and sunset hour angle in radians.
    fn terms(self, sun: DaySun) -> (f64, f64, f64) {
        let a = self.sin_latitude * sun.sin_declination;
        let b = self.cos_latitude * sun.cos_declination;
        let argument = if b > 0.0 { (-a / b).clamp(-1.0, 1.0) } else { -a.signum() };
        (a, b, argument.acos())
    }

    fn irradiation_mj(self, sun: DaySun) -> f64 {
        let (a, b, ws) = self.terms(sun);
        (86_400.0 / std::f64::consts::PI * SOLAR_CONSTANT * sun.distance * (ws * a + b * ws.sin()) / 1e6)
            .max(0.0)
    }

    /// Extraterrestrial irradiation of all 366 days of the year, MJ/m2. Computes several days at a time, and takes
    /// each sine from its cosine.
    pub(crate) fn year_mj(self) -> Vec<f64> {
        let mut year = Vec::with_capacity(YEAR.len() + LANES);
        let per_watt = 86_400.0 / std::f64::consts::PI * SOLAR_CONSTANT / 1e6;
        for days in YEAR.chunks(LANES) {
            let mut sunset = [0.0; LANES];
            let mut lit = [(0.0, 0.0, 0.0); LANES];
            for ((sunset, lit), sun) in sunset.iter_mut().zip(&mut lit).zip(days) {
                let a = self.sin_latitude * sun.sin_declination;
                let b = self.cos_latitude * sun.cos_declination;
                *sunset = if b > 0.0 { (-a / b).clamp(-1.0, 1.0) } else { -a.signum() };
                *lit = (a, b * ((1.0 - *sunset) * (1.0 + *sunset)).sqrt(), per_watt * sun.distance);
            }
            acos_each(&mut sunset);
            year.extend(sunset.iter().zip(lit).map(|(ws, (a, b, watts))| (watts * (ws * a + b)).max(0.0)));
        }
        year.truncate(YEAR.len());
        year
    }

    /// Extraterrestrial irradiation of a day on a horizontal surface, MJ/m2.
    pub(crate) fn extraterrestrial_mj(self, day_of_year: u32) -> f64 {
        self.irradiation_mj(sun_of(day_of_year))
    }
}

fn sun_of(day_of_year: u32) -> DaySun {
    YEAR[(day_of_year.clamp(1, 366) - 1) as usize]
}

/// Sunset hour angle in radians for a declination in degrees, from any series.
pub fn sunset_hour_angle_at(latitude_deg: f64, declination_deg: f64) -> f64 {
    let (sin_declination, cos_declination) = declination_deg.to_radians().sin_cos();
    Sky::at(latitude_deg).terms(DaySun { sin_declination, cos_declination, distance: 1.0 }).2
}

/// Extraterrestrial irradiation of a day, MJ/m2, for a declination in degrees and a distance factor.
pub fn extraterrestrial_at(latitude_deg: f64, declination_deg: f64, distance_factor: f64) -> f64 {
    let (sin_declination, cos_declination) = declination_deg.to_radians().sin_cos();
    Sky::at(latitude_deg).irradiation_mj(DaySun {
        sin_declination,
        cos_declination,
        distance: distance_factor,
    })
}

/// Sunset hour angle in radians, 0 in polar night and pi in polar day. Latitude -90 to 90 degrees.
pub fn sunset_hour_angle(latitude_deg: f64, day_of_year: u32) -> f64 {
    Sky::at(latitude_deg).terms(sun_of(day_of_year)).2
}

/// Time between sunrise and sunset by geometry alone, hours.
pub fn day_length_h(latitude_deg: f64, day_of_year: u32) -> f64 {
    sunset_hour_angle(latitude_deg, day_of_year) * 24.0 / std::f64::consts::PI
}

/// Extraterrestrial irradiation of a day on a horizontal surface, MJ/m2. Latitude -90 to 90 degrees.
pub fn extraterrestrial_mj(latitude_deg: f64, day_of_year: u32) -> f64 {
    Sky::at(latitude_deg).extraterrestrial_mj(day_of_year)
}

/// Clear-sky irradiation of a day on a horizontal surface by Haurwitz, MJ/m2. An upper bound, not an expectation.
///
/// Midpoint rule over the daylight in 480 steps. The integrand and all its slopes are 0 at both ends.
pub fn haurwitz_mj(latitude_deg: f64, day_of_year: u32) -> f64 {
    const STEPS: u32 = 480;
    let (a, b, ws) = Sky::at(latitude_deg).terms(sun_of(day_of_year));
    let step = ws / f64::from(STEPS);
    let mut sum = 0.0;
    for i in 0..STEPS {
        let cos_zenith = a + b * ((f64::from(i) + 0.5) * step).cos();
        if cos_zenith > 0.0 {
            sum += 1098.0 * cos_zenith * (-0.059 / cos_zenith).exp();
        }
    }
    // The morning mirrors the afternoon; an hour angle of pi is 43,200 s.
    2.0 * sum * step * 43_200.0 / std::f64::consts::PI / 1e6
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_year_at_once_is_its_days() {
        for latitude in [-90.0, -66.6, -33.0, 0.0, 12.5, 48.3, 66.6, 75.0, 90.0] {
            let year = Sky::at(latitude).year_mj();
            assert_eq!(year.len(), 366);
            for (doy, mj) in (1..).zip(year) {
                let day = extraterrestrial_mj(latitude, doy);
                assert!((mj - day).abs() <= 1e-12 * (1.0 + day), "{latitude} {doy}: {mj} {day}");
            }
        }
    }
}
