//! When a sum of uncertain days passes a limit: the closed form.
//!
//! After `since`, each day is read (exact) or unread. Up to day t the unread days have these figures:
//!
//! - M: their expectation; M_j: the part of each calendar month; M_c: the sum by month of the year.
//! - n: the years begun by the unread days.
//! - K: smoothing over neighbouring months by 1/4, 1/2, 1/4.
//!
//! Their sum is gamma distributed with mean M and the variance
//!
//! `V = kappa M + (e^(s_m^2) - 1) sum_j M_j^2 + (e^(s_y^2) - 1) M^2 / n + (e^(s_p^2) - 1) sum_c (K M_c)^2 + (e^(s_l^2) - 1) M^2`
//!
//! The first term is the daily weather. The second is the variation of months, the third that of years. The last two
//! are the error of a short record, by month and in all months alike. The log-sds are the measured ones, widened by
//! the doubt about them ([`crate::climate::Doubt`]). On nine daily series the 10 to 90 % window of this form
//! contained the truth as often as the window of a full simulation.
//!
//! Known failures: The yearly term drops when a new year begins.
//! Climates with a trend.
//! What waits for runoff, and limits of a few storms, have laws of their own (`moved`).
//! Invariants: dates grow with the chance asked for, and chances with the date, both by construction.

mod chance;
mod curve;
mod law;
mod monthly_sums;
mod moved;
mod path;
mod running_total;
mod storms;
mod sums;
mod unread;
mod waiting;

pub use chance::chance_reached;
pub use law::{Law, Moments};

pub(crate) use curve::{ChanceBounds, Curve};
pub(crate) use monthly_sums::MonthlySums;
pub(crate) use path::{Known, Path};
pub(crate) use running_total::RunningTotal;
pub(crate) use sums::Sums;
pub(crate) use waiting::{Moves, Storms, Waiting};
