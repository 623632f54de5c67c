//! What the variance of an accumulated amount needs to know about its unread days.

/// Sums of the expectation over unread days.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Sums {
    /// M of [`crate::passage`].
    pub mean: f64,
    /// Sum of the squares of M_j.
    pub months: f64,
    /// Sum of the squares of K M_c. Not valid where the law has no sampling error.
    pub sampling: f64,
    pub days: i32,
}
