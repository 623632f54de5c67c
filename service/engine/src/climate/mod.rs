//! What rain to expect on days that nobody has read.
//!
//! Question answered: by calendar month, how often does it rain, how much on a wet day, how much runs off, and how far
//! do months and years stray from that? One [`Climate`] per gauge serves every roof on it.
//!
//! Occurrence is a first-order two-state chain per month, amounts a gamma law matched in mean and variance (sums depend
//! on these two; the likelihood shape understates the variance by 15 to 46 % on six daily series). Both are smoothed
//! over neighbouring months with weights 1/4, 1/2, 1/4. Simple daily models understate the variance of monthly sums
//! (Katz & Parlange 1998, Journal of Climate 11:591); the missing part is carried by one log-normal factor per month,
//! one per year, and the sampling error of a short record; what the
//! record leaves open about these is counted as [`Doubt`]. With twelve normals in place of a record, occurrence follows
//! from the wet-day share (Geng et al. 1986, from memory).
//!
//! Units: mm per day unless a name says otherwise. Known failures: no trend, no multi-year swing, no tie between rain
//! amount and the length of a wet spell; two years in a semi-arid climate are too short for an honest band.
//! Invariant: at a fixed `cv30` a longer record never widens the sampling term.

mod doubt;
mod error;
mod fit;
mod given;
mod model;
mod month_law;
mod normals;
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

pub(crate) use spread::{BlockResiduals, MonthlySpread, monthly_means, smooth};
pub(crate) use statistics::GrowingStatistics;
