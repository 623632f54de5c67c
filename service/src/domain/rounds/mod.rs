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

use crate::domain::cautions::Hazard;
use crate::domain::duty::Duty;

/// What to bring for several duties, each thing once, in the order of the duties.
pub fn bring(duties: impl IntoIterator<Item = Duty>) -> Vec<&'static str> {
    let mut things: Vec<&'static str> = Vec::new();
    for thing in duties.into_iter().flat_map(Duty::bring) {
        if !things.contains(thing) {
            things.push(thing);
        }
    }
    things
}

/// The hazards of several tasks, each once, local codes last.
pub fn hazards<'a>(all: impl IntoIterator<Item = &'a Hazard>) -> Vec<Hazard> {
    let mut found: Vec<Hazard> = all.into_iter().copied().collect();
    found.sort_unstable();
    found.dedup();
    found
}
