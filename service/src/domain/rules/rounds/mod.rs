//! Rounds: tasks of one property, or of several near each other, put together into one trip.
//!
//! `allowed` says on which days a task may be done, `places` which properties are near each other. That makes a `problem`
//! in numbers alone, which `solve` solves. `plan` puts the answer back into tasks and days, and `why` explains each round.
//! `report` checks what somebody says of a kept round, `repeated` a second report of it.

pub mod allowed;
pub mod bound;
pub mod figures;
pub mod gaps;
pub mod places;
pub mod plan;
pub mod problem;
pub mod proposal;
pub mod repeated;
pub mod report;
pub mod share;
pub mod solve;
pub mod subsets;
pub mod why;
