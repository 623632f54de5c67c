//! What a duty's accumulated amount counts, day by day.
//!
//! Each exposure is a sum over days. On a day with a reading, the amount follows from that day's rain and what is
//! still on the roof. On a day without one, the month's expectation is used ([`crate::passage::Law`]).

mod amounts;
mod chamber;
mod laws;
mod leaves;
mod quantity;
mod sediment;
mod setting;
mod ultraviolet;
mod waiting;

pub use chamber::{Chamber, Emptying, Stretch};
pub use leaves::{
    SHARE_LEFT_IN_GUTTER, SHARE_LEFT_ON_SCREEN, SHARE_PAST_GUARD, litter_kg_m2, monthly_leaf_share,
};
pub use quantity::{Exposure, Orientation};
pub use sediment::{BED_KG_M3, ROOF_SOLIDS_MG_L, bed_depth_mm, trap_efficiency};
pub use setting::Setting;
pub use ultraviolet::{USUAL_WET_SHARE, daily_dose_mj, orientation_factor};

pub(crate) use amounts::count;
pub(crate) use laws::law;
pub(crate) use waiting::OnRoof;
