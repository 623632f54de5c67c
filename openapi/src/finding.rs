//! Findings: how full or how worn a part was found.

use serde::{Deserialize, Serialize};

/// How full a part was found, in words, as a share of the limit at which it needs care.
///
/// - `light`: 5 to 25 %.
/// - `half`: 25 to 75 %.
/// - `heavy`: 75 to 100 %.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
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
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(tag = "found", rename_all = "snake_case")]
#[cfg_attr(feature = "service", serde(deny_unknown_fields))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub enum Finding {
    /// Nothing, or under 5 % of the limit.
    #[cfg_attr(not(feature = "service"), non_exhaustive)]
    Nothing {},
    /// A share of the limit: at 0 the part is clean, at 1 it needs care, above 1 it is past its limit.
    #[cfg_attr(not(feature = "service"), non_exhaustive)]
    Fraction {
        /// The share, 0 to 10.
        fraction: f64,
    },
    /// A class in words.
    #[cfg_attr(not(feature = "service"), non_exhaustive)]
    Class {
        /// How full it was.
        fullness: FoundClass,
    },
    /// A measured depth of sediment.
    #[cfg_attr(not(feature = "service"), non_exhaustive)]
    Depth {
        /// Depth of sediment in mm, 0 to 20,000.
        depth_mm: f64,
    },
    /// Blocked, or no longer usable.
    #[cfg_attr(not(feature = "service"), non_exhaustive)]
    Blocked {},
    /// A kind of a newer service, which this version does not know. Requests with it are refused.
    #[cfg_attr(feature = "service", serde(skip_deserializing))]
    #[cfg_attr(not(feature = "service"), serde(other))]
    Unknown,
}

impl Finding {
    /// Nothing, or under 5 % of the limit.
    pub const fn nothing() -> Self {
        Self::Nothing {}
    }

    /// A share of the limit, 0 to 10: at 0 the part is clean, at 1 it needs care.
    pub const fn fraction(fraction: f64) -> Self {
        Self::Fraction { fraction }
    }

    /// How full it was, in words.
    pub const fn class(fullness: FoundClass) -> Self {
        Self::Class { fullness }
    }

    /// A measured depth of sediment in mm.
    pub const fn depth(depth_mm: f64) -> Self {
        Self::Depth { depth_mm }
    }

    /// Blocked, or no longer usable.
    pub const fn blocked() -> Self {
        Self::Blocked {}
    }
}
