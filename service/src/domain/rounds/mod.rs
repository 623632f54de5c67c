//! Rounds: tasks of one property, or of several near each other, put together into one trip.
//!
//! [`allowed`] says on which days a task may be done, [`places`] which properties are near each other; that makes a
//! [`problem`] in numbers alone, which [`solve`] solves. [`mod@propose`] reads the tasks, asks, and explains each round; nothing
//! of it is stored. [`kept`] keeps a round that somebody means to go on, and logs its visits when it is done.

mod again;
pub mod allowed;
mod bound;
pub mod figures;
mod gaps;
pub mod kept;
pub mod places;
pub mod problem;
pub mod propose;
mod share;
pub mod solve;
mod subsets;
mod why;

pub use figures::{Ask, Figures};
pub use kept::{Draft, Outcome, Report, Round, RoundFilter, RoundState, RoundTask};
pub use propose::{OverdueRound, Placed, Proposal, ProposedRound, Unplaced, propose};
