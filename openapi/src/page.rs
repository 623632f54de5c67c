//! One page of a list.

use serde::{Deserialize, Serialize};

/// One page of a list, whose order is documented.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Page<T> {
    /// The entries of this page.
    pub items: Vec<T>,
    /// Send it as `cursor` to get the next page. Left out on the last page. Do not change or interpret it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub next_cursor: Option<String>,
}
