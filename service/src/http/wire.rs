//! Wire types to domain types and back, by hand: neither follows the other when it changes.

use crate::domain::base::error::{Error, Result};

pub mod account;
mod audit;
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
        mirror_open!($name: $domain { $($variant),* } or eavesward_contract::$name::Unknown);
    };
    ($name:ident: $domain:ty { $($variant:ident),* $(,)? } or $unknown:pat) => {
        impl From<$domain> for eavesward_contract::$name {
            fn from(value: $domain) -> Self {
                match value { $(<$domain>::$variant => Self::$variant,)* }
            }
        }
        impl TryFrom<eavesward_contract::$name> for $domain {
            type Error = ();
            fn try_from(value: eavesward_contract::$name) -> std::result::Result<Self, ()> {
                match value {
                    $(eavesward_contract::$name::$variant => Ok(Self::$variant),)*
                    $unknown => Err(()),
                }
            }
        }
    };
}

/// A word of the contract as the domain's. Decoding refuses words that are not known, so this refuses only what a caller in
/// this process makes.
fn known<T>(word: impl TryInto<T, Error = ()>, field: &str) -> Result<T> {
    word.try_into().map_err(|()| Error::field(field, "this version of the service does not know this word"))
}

use mirror_open;
