//! What is asked for.

use crate::parse;
use chrono::NaiveDate;
use clap::Args;
use eavesward_client::contract::{ComponentKind, TaskState};

/// Which tasks. Without a window: within 7 days, along with what is due already.
#[derive(Args)]
pub struct Due {
    /// Due within so many days or already, such as 7d, 2w or P7D; 7d if no window is given
    #[arg(long, value_parser = parse::days, conflicts_with_all = ["from", "to", "all"])]
    pub within: Option<u32>,
    /// Due on this day or later
    #[arg(long, value_name = "DATE", conflicts_with = "all")]
    pub from: Option<NaiveDate>,
    /// Due on this day or earlier
    #[arg(long, value_name = "DATE", conflicts_with = "all")]
    pub to: Option<NaiveDate>,
    /// Everything, however far off, and what has no date
    #[arg(long)]
    pub all: bool,
    /// Only at this property
    #[arg(long, value_name = "PROPERTY")]
    pub property: Option<String>,
    /// Only of this system
    #[arg(long, value_name = "SYSTEM")]
    pub system: Option<String>,
    /// Only in these states: resting, near, due, late
    #[arg(long, value_delimiter = ',', value_parser = parse::word::<TaskState>)]
    pub state: Vec<TaskState>,
    /// Only components of this kind, such as debris-screen
    #[arg(long, value_parser = parse::word::<ComponentKind>)]
    pub kind: Option<ComponentKind>,
    /// The list as it would have stood on this day, from what is known by now of the days up to it.
    ///
    /// The service keeps the list of today alone, so this asks it for one forecast per system; narrow it down with
    /// --property or --system where there are many.
    #[arg(long, value_name = "DATE")]
    pub as_of: Option<NaiveDate>,
    /// Exit with 4 if anything listed is late
    #[arg(long)]
    pub fail_if_late: bool,
}

impl Due {
    /// How many days on from today the list goes, if it ends that way.
    pub fn days_on(&self) -> Option<u32> {
        let other = self.all || self.from.is_some() || self.to.is_some();
        (!other).then(|| self.within.unwrap_or(7))
    }
}
