//! Options of the list.

use crate::parse;
use chrono::NaiveDate;
use clap::Args;
use eavesward_client::contract::{ComponentKind, TaskState};

/// Which tasks to list. Without a window: tasks due within 7 days, including those due already.
#[derive(Args)]
pub struct Due {
    /// Due within this many days or already, such as 7d, 2w or P7D; 7d if no window is given
    #[arg(long, value_parser = parse::days, conflicts_with_all = ["from", "to", "all"])]
    pub within: Option<u32>,
    /// Due on this day or later
    #[arg(long, value_name = "DATE", conflicts_with = "all")]
    pub from: Option<NaiveDate>,
    /// Due on this day or earlier
    #[arg(long, value_name = "DATE", conflicts_with = "all")]
    pub to: Option<NaiveDate>,
    /// All tasks, also far ahead and without a date
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
    #[arg(long, value_parser = parse::kind)]
    pub kind: Option<ComponentKind>,
    /// The list of another day, from what is known now about the days up to it.
    ///
    /// The service stores only the list of today, so this asks for one forecast per system. With many systems,
    /// choose fewer with --property or --system.
    #[arg(long, value_name = "DATE")]
    pub as_of: Option<NaiveDate>,
    /// Exit with 4 if anything listed is late
    #[arg(long)]
    pub fail_if_late: bool,
}

impl Due {
    /// How many days ahead the list goes, if the window is a number of days.
    pub fn days_on(&self) -> Option<u32> {
        let other = self.all || self.from.is_some() || self.to.is_some();
        (!other).then(|| self.within.unwrap_or(7))
    }
}
