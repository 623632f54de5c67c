//! The rain to expect on days without a reading.
//!
//! Question answered: by calendar month, how often does it rain, how much on a wet day, and how much runs off? How
//! much do months and years vary around that? One [`Climate`] per gauge serves every roof under it.
//!
//! Wet and dry days follow a first-order two-state chain per month. Amounts follow a gamma law, matched in mean and
//! variance, because sums depend on these two. The likelihood shape understates the variance by 15 to 46 % on six
//! daily series. Both are smoothed over neighbouring months with weights 1/4, 1/2, 1/4.
//!
//! Simple daily models understate the variance of monthly sums (Katz & Parlange 1998, Journal of Climate 11:591).
//! Three parts add what is missing: one log-normal factor per month, one per year, and the sampling error of a short
//! record. What the record leaves open about these counts as [`Doubt`]. With twelve normals instead of a record,
//! occurrence follows from the share of wet days (Geng et al. 1986, from memory).
//!
//! Units: mm per day unless a name says otherwise. Known failures: No trend, no swing over several years, no link
//! between rain amount and the length of a wet spell. Two years in a semi-arid climate are too short for an honest
//! window.
//! Invariant: at a fixed `cv30` a longer record never widens the sampling term.

mod doubt;
mod error;
mod fit;
mod given;
mod model;
mod month_law;
mod normals;
mod spell;
mod spread;
mod statistics;
mod usual;

pub use doubt::{Doubt, Spreads};
pub use error::{ClimateError, FEWEST_DAYS};
pub use fit::{REFERENCE_LOSS_MM, SPREAD_DAYS};
pub use model::{Basis, Climate};
pub use month_law::MonthLaw;
pub use normals::Normals;
pub use statistics::WET_MM;

pub(crate) use spell::{LastRunoff, RunoffDays, RunoffWalk, Weather};
pub(crate) use spread::{BlockResiduals, MonthlySpread, monthly_means, smooth};
pub(crate) use statistics::GrowingStatistics;
