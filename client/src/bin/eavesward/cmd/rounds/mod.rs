//! `eavesward rounds`: tasks grouped into trips, kept as planned, and done.

mod command;
mod done;
mod print;
mod propose;
mod show_plan;

pub use command::Rounds;
