//! Findings: how full or how worn a part was found.

use serde::{Deserialize, Serialize};

/// How full a part was found, in words.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum FoundClass {
    /// 5 to 25 % of the way to wanting care.
    Light,
    /// 25 to 75 %.
    Half,
    /// 75 to 100 %.
    Heavy,
    /// A word of a newer service; never accepted.
    #[cfg_attr(feature = "service", serde(skip_deserializing))]
    #[cfg_attr(not(feature = "service"), serde(other))]
    Unknown,
}

/// What was found before anything was done.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(tag = "found", rename_all = "snake_case")]
#[cfg_attr(feature = "service", serde(deny_unknown_fields))]
pub enum Finding {
    /// Nothing to speak of, under 5 %.
    Nothing {},
    /// A share of the way to wanting care: 0 is clean, 1 is at the limit, more is past it.
    Fraction {
        /// The share, 0 to 10.
        fraction: f64,
    },
    /// A class.
    Class {
        /// The class.
        class: FoundClass,
    },
    /// A measured depth of sediment.
    Depth {
        /// Depth in mm.
        depth_mm: f64,
    },
    /// Blocked, or past use.
    Blocked {},
    /// A kind of a newer service; never accepted.
    #[cfg_attr(feature = "service", serde(skip_deserializing))]
    #[cfg_attr(not(feature = "service"), serde(other))]
    Unknown,
}
