//! Properties: the places that systems stand at.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// A request to make or replace a property.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct PropertyRequest {
    /// What the property is called.
    #[cfg_attr(feature = "openapi", schema(min_length = 1, max_length = 200))]
    pub name: String,
    /// Degrees north of the equator; negative is south.
    #[cfg_attr(feature = "openapi", schema(minimum = -90.0, maximum = 90.0))]
    pub latitude_deg: f64,
    /// Degrees east of Greenwich; negative is west.
    #[cfg_attr(feature = "openapi", schema(minimum = -180.0, maximum = 180.0))]
    pub longitude_deg: f64,
    /// Metres above sea level; sea level when absent.
    #[serde(default)]
    #[cfg_attr(feature = "openapi", schema(minimum = -450.0, maximum = 6000.0))]
    pub elevation_m: f64,
    /// IANA time zone, such as `America/Los_Angeles`. Days and due dates are counted in it.
    pub time_zone: String,
    /// Anything the next visitor should know.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[cfg_attr(feature = "openapi", schema(max_length = 4000))]
    pub notes: Option<String>,
}

/// A property.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct Property {
    /// Id of the property.
    pub id: Uuid,
    /// What it is called.
    pub name: String,
    /// Degrees north of the equator.
    pub latitude_deg: f64,
    /// Degrees east of Greenwich.
    pub longitude_deg: f64,
    /// Metres above sea level.
    pub elevation_m: f64,
    /// IANA time zone.
    pub time_zone: String,
    /// Anything the next visitor should know.
    pub notes: Option<String>,
    /// Version for `If-Match`; the `ETag` header carries it in quotes.
    pub version: i64,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// When it was last changed.
    pub updated_at: DateTime<Utc>,
}
