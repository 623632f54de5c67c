//! Wire types to domain types and back, by hand: neither follows the other when it changes.

mod account;
mod calendar;
mod component;
mod digest;
pub mod duty;
pub mod forecast;
mod gauge;
mod property;
pub mod reminder;
pub mod round;
mod skill;
pub mod status;
pub mod subscription;
pub mod system;
pub mod visit;

/// Mirrors an enum of the contract that may carry an unknown word: domain to wire always, wire to domain unless unknown.
macro_rules! mirror_open {
    ($name:ident: $domain:ty { $($variant:ident),* $(,)? }) => {
        impl From<$domain> for eavesward_contract::$name {
            fn from(value: $domain) -> Self {
                match value { $(<$domain>::$variant => Self::$variant,)* }
            }
        }
        impl TryFrom<eavesward_contract::$name> for $domain {
            type Error = ();
            fn try_from(value: eavesward_contract::$name) -> Result<Self, ()> {
                match value {
                    $(eavesward_contract::$name::$variant => Ok(Self::$variant),)*
                    eavesward_contract::$name::Unknown => Err(()),
                }
            }
        }
    };
}

/// Mirrors an enum of the contract that has the same words on both sides.
macro_rules! mirror {
    ($name:ident: $domain:ty { $($variant:ident),* $(,)? }) => {
        impl From<$domain> for eavesward_contract::$name {
            fn from(value: $domain) -> Self {
                match value { $(<$domain>::$variant => Self::$variant,)* }
            }
        }
        impl From<eavesward_contract::$name> for $domain {
            fn from(value: eavesward_contract::$name) -> Self {
                match value { $(eavesward_contract::$name::$variant => Self::$variant,)* }
            }
        }
    };
}

use {mirror, mirror_open};
