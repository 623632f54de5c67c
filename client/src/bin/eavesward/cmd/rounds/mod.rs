//! `eavesward rounds`: tasks put together into trips, kept, and done.

mod command;
mod done;
mod print;
mod propose;
mod show_plan;

pub use command::Rounds;
