//! Properties: the sites where systems stand.

use crate::domain::base::bounds::{Bounds, MONTHS, NAME_LENGTH, NOTE_LENGTH};
use crate::domain::base::check::{Check, place, zone};
use crate::domain::base::error::Result;
use crate::domain::base::ids::{AccountId, PropertyId};
use crate::domain::base::plural::counted;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

/// Twelve figures, January first in both hemispheres.
pub type Monthly = [f64; MONTHS.most];

/// Monthly air temperatures, degrees Celsius.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Temperatures {
    /// Monthly means.
    pub mean_c: Option<Monthly>,
    /// Monthly means of the daily minima. None is above the mean of its month.
    pub mean_minimum_c: Option<Monthly>,
}

/// What is known of a site's months apart from the rain, checked.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Months {
    /// Air temperatures.
    pub temperatures: Temperatures,
    /// Evaporation from a trap's water seal, mm a day.
    pub evaporation_mm_per_day: Option<Monthly>,
}

/// What is known of a site's months apart from the rain, not yet checked.
#[derive(Clone, Debug, Default)]
pub struct MonthsDraft {
    /// Monthly mean air temperatures, degrees Celsius.
    pub mean_c: Option<Vec<f64>>,
    /// Monthly means of the daily minima, degrees Celsius.
    pub mean_minimum_c: Option<Vec<f64>>,
    /// Evaporation from a trap's water seal, mm a day.
    pub evaporation_mm_per_day: Option<Vec<f64>>,
}

/// Metres above sea level. Judgement: the shores of the Dead Sea are near -430, the highest towns near 5,000 (from
/// memory).
pub const ELEVATION_M: Bounds = Bounds::of(-450.0, 6000.0);

/// Monthly means and mean minima that are accepted, degrees Celsius. Judgement: at inhabited sites the coldest
/// months have means near -50, the warmest near 40 (from memory).
pub const TEMPERATURES_C: Bounds = Bounds::of(-60.0, 50.0);

/// Evaporation that is accepted, mm a day. Judgement: open pans in hot deserts lose about half of the most (from
/// memory).
pub const EVAPORATION_MM_PER_DAY: Bounds = Bounds::of(0.0, 30.0);

impl MonthsDraft {
    /// Checks everything. A list that is refused is dropped as a whole.
    pub(crate) fn check(self, check: &mut Check) -> Months {
        let mut temperatures = Temperatures::default();
        check.within("temperatures", |check| {
            temperatures.mean_c = monthly(check, "mean_c", self.mean_c.as_deref(), TEMPERATURES_C);
            temperatures.mean_minimum_c =
                monthly(check, "mean_minimum_c", self.mean_minimum_c.as_deref(), TEMPERATURES_C);
            let (Some(means), Some(minima)) = (temperatures.mean_c, temperatures.mean_minimum_c) else {
                return;
            };
            for (month, (mean, minimum)) in means.into_iter().zip(minima).enumerate() {
                if minimum > mean {
                    let message = format!("a mean minimum of {minimum} is above the month's mean of {mean}");
                    check.refuse(&format!("mean_minimum_c[{month}]"), message);
                }
            }
        });
        let given = self.evaporation_mm_per_day.as_deref();
        let evaporation_mm_per_day = monthly(check, "evaporation_mm_per_day", given, EVAPORATION_MM_PER_DAY);
        Months { temperatures, evaporation_mm_per_day }
    }
}

fn monthly(check: &mut Check, field: &str, values: Option<&[f64]>, bounds: Bounds) -> Option<Monthly> {
    let values = values?;
    let Ok(twelve) = Monthly::try_from(values) else {
        check.refuse(
            field,
            format!("it has {}; give twelve, January first", counted(values.len() as u64, "value", "values")),
        );
        return None;
    };
    for (month, value) in twelve.into_iter().enumerate() {
        check.between(&format!("{field}[{month}]"), value, bounds);
    }
    Some(twelve)
}

/// A property.
#[derive(Clone, Debug, PartialEq)]
pub struct Property {
    /// Id.
    pub id: PropertyId,
    /// The account that owns it.
    pub account_id: AccountId,
    /// What is known of it.
    pub facts: PropertyFacts,
    /// Counts up with every change.
    pub version: i64,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// When it was last changed.
    pub updated_at: DateTime<Utc>,
}

/// What is known of a property, checked.
#[derive(Clone, Debug, PartialEq)]
pub struct PropertyFacts {
    /// Its name.
    pub name: String,
    /// Degrees north.
    pub latitude_deg: f64,
    /// Degrees east.
    pub longitude_deg: f64,
    /// Metres above sea level.
    pub elevation_m: f64,
    /// The time zone in which its days are counted.
    pub time_zone: Tz,
    /// What is known of its months apart from the rain.
    pub months: Months,
    /// What the next visitor should know.
    pub notes: Option<String>,
}

impl PropertyFacts {
    /// A property without monthly figures and without notes.
    pub fn new(name: impl Into<String>, position: Position, elevation_m: f64, time_zone: Tz) -> Self {
        let Position { latitude_deg, longitude_deg } = position;
        let (months, notes) = (Months::default(), None);
        Self { name: name.into(), latitude_deg, longitude_deg, elevation_m, time_zone, months, notes }
    }

    /// Where it lies.
    pub fn position(&self) -> Position {
        Position { latitude_deg: self.latitude_deg, longitude_deg: self.longitude_deg }
    }
}

/// What is known of a property, not yet checked.
#[derive(Clone, Debug)]
pub struct PropertyDraft {
    /// Its name.
    pub name: String,
    /// Degrees north.
    pub latitude_deg: f64,
    /// Degrees east.
    pub longitude_deg: f64,
    /// Metres above sea level.
    pub elevation_m: f64,
    /// IANA name of its time zone.
    pub time_zone: String,
    /// What is known of its months apart from the rain.
    pub months: MonthsDraft,
    /// What the next visitor should know.
    pub notes: Option<String>,
}

impl PropertyDraft {
    /// Checks everything.
    pub fn check(self) -> Result<PropertyFacts> {
        let mut check = Check::new();
        check.text("name", &self.name, NAME_LENGTH);
        place(&mut check, self.latitude_deg, self.longitude_deg);
        check.between("elevation_m", self.elevation_m, ELEVATION_M);
        let zone = zone(&mut check, "time_zone", &self.time_zone);
        let months = self.months.check(&mut check);
        if let Some(notes) = &self.notes {
            check.note("notes", notes, NOTE_LENGTH);
        }
        check.done()?;
        Ok(PropertyFacts {
            name: self.name,
            latitude_deg: self.latitude_deg,
            longitude_deg: self.longitude_deg,
            elevation_m: self.elevation_m,
            time_zone: zone.unwrap_or(Tz::UTC),
            months,
            notes: self.notes,
        })
    }
}

/// Mean radius of the earth, km: 6371.0088 according to the International Union of Geodesy and Geophysics (from
/// memory).
pub(crate) const EARTH_KM: f64 = 6371.0088;

/// A position, degrees north and east.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Position {
    /// Degrees north, -90 to 90.
    pub latitude_deg: f64,
    /// Degrees east, -180 to 180.
    pub longitude_deg: f64,
}

impl Position {
    /// The great-circle distance in km, by the haversine formula. It is good to half a per cent, because the earth
    /// is not a sphere. Roads are longer.
    pub fn km_to(self, other: Self) -> f64 {
        let half = |one: f64, other: f64| ((other - one).to_radians() / 2.0).sin().powi(2);
        let across = half(self.latitude_deg, other.latitude_deg)
            + self.latitude_deg.to_radians().cos()
                * other.latitude_deg.to_radians().cos()
                * half(self.longitude_deg, other.longitude_deg);
        2.0 * EARTH_KM * across.clamp(0.0, 1.0).sqrt().asin()
    }
}
