//! Rounds: tasks of one property, or of several near each other, combined into one trip.
//!
//! `allowed` says on which days a task may be done, and `places` which properties are near each other. From these
//! comes a `problem` that consists only of numbers, and `solve` solves it. `plan` turns the answer back into tasks
//! and days, and `why` explains each round. `report` checks the report of a kept round, and `repeated` a second
//! report of it.

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
