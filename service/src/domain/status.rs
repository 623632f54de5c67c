//! Status: a system in a few lines, made by the refresh so that a poll reads one row.

use crate::domain::Context;
use crate::domain::duty::Duty;
use crate::domain::error::{Error, Result};
use crate::domain::ids::{AccountId, SystemId, TaskId};
use crate::domain::task::State;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

/// A duty that comes next.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct NextDuty {
    /// The task.
    pub task_id: TaskId,
    /// The component's name.
    pub component_name: String,
    /// The duty.
    pub duty: Duty,
    /// How near it is.
    pub state: State,
    /// The day it falls due.
    pub due_on: NaiveDate,
}

/// Runoff since a component was last served.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RunoffSince {
    /// The component's name.
    pub component_name: String,
    /// The duty that was done.
    pub duty: Duty,
    /// The day.
    pub since: NaiveDate,
    /// Runoff in mm on the days with a reading.
    pub runoff_mm: f64,
}

/// Runoff of the last days.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct RecentRunoff {
    /// In mm, days without a reading left out.
    pub mm: f64,
    /// In litres off this roof.
    pub litres: f64,
    /// Days without a reading.
    pub unread_days: u32,
}

/// A system in a few lines.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Status {
    /// The system.
    pub system_id: SystemId,
    /// Its name.
    pub system_name: String,
    /// The local day.
    pub as_of: NaiveDate,
    /// The most pressing state.
    pub state: State,
    /// The next five duties.
    pub next: Vec<NextDuty>,
    /// Last day with a reading.
    pub rain_through: Option<NaiveDate>,
    /// The last seven days.
    pub last_7_days: RecentRunoff,
    /// The last thirty days.
    pub last_30_days: RecentRunoff,
    /// Runoff since each predicted duty was last done.
    pub since_served: Vec<RunoffSince>,
}

/// The status of a system as of its last refresh; made now if it was never refreshed.
pub async fn get(cx: &Context, account: AccountId, id: SystemId) -> Result<Status> {
    if let Some(status) = cx.store.status(account, id).await? {
        return Ok(status);
    }
    crate::domain::refresh::make_status(cx, account, id)
        .await?
        .ok_or_else(|| Error::NotFound { what: "system", id: id.to_string() })
}
