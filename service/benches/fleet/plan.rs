//! What the modules of the benchmark share: the size of the fleet, and the id of each thing.

use uuid::Uuid;

/// Gauges of one account.
pub const GAUGES_OF_ACCOUNT: u32 = 20;
/// Pattern systems, which are copied.
pub const KINDS: u32 = 12;
/// Visits of each system.
pub const VISITS: u32 = 2;

/// The size of the fleet.
#[derive(Clone, Copy)]
pub struct Size {
    /// Systems.
    pub systems: u32,
    /// Gauges.
    pub gauges: u32,
    /// Years of daily rain under each gauge.
    pub years: u32,
}

/// The id of a thing, from its kind and number. `copies` makes the same ids inside SQLite.
pub fn id(thing: u32, number: u32) -> Uuid {
    Uuid::from_u128((u128::from(thing) << 96) | (0x7000_8000_u128 << 48) | u128::from(number))
}

pub const ACCOUNT: u32 = 1;
pub const GAUGE: u32 = 2;
pub const PROPERTY: u32 = 3;
pub const SYSTEM: u32 = 4;
pub const COMPONENT: u32 = 5;
pub const VISIT: u32 = 6;
/// Added to the number of a pattern, which is copied and then removed.
pub const PATTERN: u32 = 0x8000_0000;
