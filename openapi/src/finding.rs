//! Findings: how full or how worn a part was found.

use serde::{Deserialize, Serialize};

/// How full a part was found, in words: `light` is 5 to 25 % of the limit at which it needs care, `half` 25 to 75
/// %, `heavy` 75 to 100 %.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum FoundClass {
    /// 5 to 25 % of the limit.
    Light,
    /// 25 to 75 % of the limit.
    Half,
    /// 75 to 100 % of the limit.
    Heavy,
    /// A class of a newer service, which this version does not know. Requests with it are refused.
    #[cfg_attr(feature = "service", serde(skip_deserializing))]
    #[cfg_attr(not(feature = "service"), serde(other))]
    Unknown,
}

/// What was found before any work.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(tag = "found", rename_all = "snake_case")]
#[cfg_attr(feature = "service", serde(deny_unknown_fields))]
pub enum Finding {
    /// Nothing, or under 5 % of the limit.
    Nothing {},
    /// A share of the limit: at 0 the part is clean, at 1 it needs care, above 1 it is past its limit.
    Fraction {
        /// The share, 0 to 10.
        fraction: f64,
    },
    /// A class in words.
    Class {
        /// How full it was.
        fullness: FoundClass,
    },
    /// A measured depth of sediment.
    Depth {
        /// Depth of sediment in mm, 0 to 20,000.
        depth_mm: f64,
    },
    /// Blocked, or no longer usable.
    Blocked {},
    /// A kind of a newer service, which this version does not know. Requests with it are refused.
    #[cfg_attr(feature = "service", serde(skip_deserializing))]
    #[cfg_attr(not(feature = "service"), serde(other))]
    Unknown,
}
