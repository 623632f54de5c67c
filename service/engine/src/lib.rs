//! Computes when the parts of a rainwater system need care: numbers in, numbers out.
//!
//! A [`Day`] is a whole civil day, counted from 1970-01-01. The engine uses no clock, time zone, file or network.
//! The same inputs give the same bits.
//!
//! One forecast, step by step:
//!
//! 1. A [`Gauge`] holds daily readings ([`RainRecord`]), twelve [`Normals`], or both, and the [`Climate`] they
//!    give.
//! 2. A [`Catchment`] holds what runs off one kind of roof under that gauge, day by day.
//! 3. An [`Exposure`] says what a duty's accumulated amount counts. Examples are runoff, leaves on a screen,
//!    solids that settle in the tank, and ultraviolet dose.
//! 4. A [`Meter`] counts the exposure over the readings. It uses the climate for every day without a reading, past
//!    or future.
//! 5. [`learning::learn`] takes a [`Prior`] limit and what visits found, and returns the limit believed now.
//! 6. [`Meter::forecast`] returns the [`Window`] in which the accumulated amount reaches the limit.
//!
//! Two figures are not sums over days: the water in the tank and the seal of its overflow trap. [`supply`] follows
//! them along generated rain. Frost ([`frost`]) needs only twelve monthly minima.
//!
//! Every prior and default carries its published source or the word "judgement". "From memory" marks a figure that
//! is commonly quoted and was not looked up. The page `README.md` beside this crate lists them all and works one
//! example by hand for each core duty. A test holds its figures to this code.
#![deny(missing_docs)]
#![expect(
    clippy::neg_cmp_op_on_partial_ord,
    reason = "`!(a > 0.0)` refuses NaN, which `a <= 0.0` would let through"
)]

pub mod accumulated;
pub mod calendar;
pub mod catchment;
pub mod climate;
pub mod duty;
pub mod error;
mod events;
pub mod exposure;
pub mod first_flush;
pub mod frost;
pub mod gauge;
pub mod generate;
pub mod heat;
pub mod hydraulics;
pub mod learning;
pub mod limit;
pub mod meter;
pub mod mosquito;
pub mod passage;
pub mod rain;
pub mod runoff;
pub mod site;
pub mod skill;
pub mod solar;
mod special;
pub mod supply;
pub mod tank;
pub mod trap;
pub mod washoff;

pub use accumulated::{Accumulated, Note};
pub use calendar::Day;
pub use catchment::Catchment;
pub use climate::{Basis, Climate, ClimateError, MonthLaw, Normals};
pub use duty::{Answer, Chance, CurvePoint, Outcome, Question, Reason, Window};
pub use error::EngineError;
pub use exposure::{Chamber, Emptying, Exposure, Orientation, Setting, Stretch};
pub use gauge::Gauge;
pub use limit::{Limit, Material, Prior};
pub use meter::Meter;
pub use rain::RainRecord;
pub use site::{Canopy, Roof, Site};
