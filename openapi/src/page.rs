//! One page of a list.

use serde::{Deserialize, Serialize};

/// One page of a list, in a stated order.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Page<T> {
    /// The rows of this page.
    pub items: Vec<T>,
    /// Pass it as `cursor` for the next page; absent on the last one. Opaque: keep it as it is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub next_cursor: Option<String>,
}
