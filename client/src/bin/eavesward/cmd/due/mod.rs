//! `eavesward due`: the weekly list.

mod args;
mod as_of;
mod rows;
mod run;
mod today;

pub use args::Due;
