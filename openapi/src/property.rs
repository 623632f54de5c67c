//! Properties: the places where systems are.

use crate::setters::setters;
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// Monthly air temperatures: twelve values in each list, January first in both hemispheres.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "service", serde(deny_unknown_fields))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct MonthlyTemperatures {
    /// Mean of each month in degrees Celsius, -60 to 50.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mean_c: Option<Vec<f64>>,
    /// Mean of the daily minima of each month in degrees Celsius, -60 to 50. It is not above the month's mean.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mean_minimum_c: Option<Vec<f64>>,
}

impl MonthlyTemperatures {
    /// No figures yet.
    pub const fn new() -> Self {
        Self { mean_c: None, mean_minimum_c: None }
    }
}

setters! { MonthlyTemperatures { mean_c: Option<Vec<f64>>, mean_minimum_c: Option<Vec<f64>> } }

/// A request to make or replace a property.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct PropertyRequest {
    /// Name of the property, 1 to 200 characters.
    pub name: String,
    /// Degrees north of the equator, -90 to 90; negative is south.
    pub latitude_deg: f64,
    /// Degrees east of Greenwich, -180 to 180; negative is west.
    pub longitude_deg: f64,
    /// Metres above sea level, -450 to 6,000; 0 when absent.
    #[serde(default)]
    pub elevation_m: f64,
    /// IANA time zone, such as `America/Los_Angeles`. All days and due dates at the property are in it.
    pub time_zone: String,
    /// Monthly air temperatures. The minima give the days of frost; the means are used for mosquitoes and for the
    /// ageing of rubber.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperatures: Option<MonthlyTemperatures>,
    /// Evaporation from a trap's water seal in mm a day, 0 to 30: twelve values, January first in both hemispheres.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub evaporation_mm_per_day: Option<Vec<f64>>,
    /// Anything that the next visitor should know, up to 4,000 characters.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub notes: Option<String>,
}

impl PropertyRequest {
    /// A property at sea level, without temperatures and evaporation.
    pub fn new(
        name: impl Into<String>,
        latitude_deg: f64,
        longitude_deg: f64,
        time_zone: impl Into<String>,
    ) -> Self {
        Self {
            name: name.into(),
            latitude_deg,
            longitude_deg,
            elevation_m: 0.0,
            time_zone: time_zone.into(),
            temperatures: None,
            evaporation_mm_per_day: None,
            notes: None,
        }
    }

    /// With the mean air temperature of each month in degrees Celsius, January first.
    pub fn mean_c(self, mean_c: [f64; 12]) -> Self {
        let known = self.temperatures.unwrap_or_default();
        let temperatures = Some(MonthlyTemperatures { mean_c: Some(mean_c.into()), ..known });
        Self { temperatures, ..self }
    }

    /// With the mean daily minimum of each month in degrees Celsius, January first.
    pub fn mean_minimum_c(self, mean_minimum_c: [f64; 12]) -> Self {
        let known = self.temperatures.unwrap_or_default();
        let temperatures = Some(MonthlyTemperatures { mean_minimum_c: Some(mean_minimum_c.into()), ..known });
        Self { temperatures, ..self }
    }

    /// With the evaporation from a trap's water seal in mm a day for each month, January first.
    pub fn evaporation_mm_per_day(self, evaporation: [f64; 12]) -> Self {
        Self { evaporation_mm_per_day: Some(evaporation.into()), ..self }
    }
}

setters! { PropertyRequest { elevation_m: f64, temperatures: Option<MonthlyTemperatures> } texts { notes } }

/// A property.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Property {
    /// Id of the property.
    pub id: Uuid,
    /// Name of the property.
    pub name: String,
    /// Degrees north of the equator; negative is south.
    pub latitude_deg: f64,
    /// Degrees east of Greenwich; negative is west.
    pub longitude_deg: f64,
    /// Metres above sea level.
    pub elevation_m: f64,
    /// IANA time zone. All days and due dates at the property are in it.
    pub time_zone: String,
    /// Monthly air temperatures, if the account gave any.
    pub temperatures: Option<MonthlyTemperatures>,
    /// Evaporation from a trap's water seal in mm a day, January first, if the account gave it.
    pub evaporation_mm_per_day: Option<Vec<f64>>,
    /// Anything that the next visitor should know.
    pub notes: Option<String>,
    /// Version, to be sent in `If-Match` with a change. The `ETag` header has it in quotation marks.
    pub version: i64,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// When it was last changed.
    pub updated_at: DateTime<Utc>,
}
