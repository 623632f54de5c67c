//! Status: a short summary of a system. The refresh makes it, so that a poll reads one row.

use crate::domain::base::ids::{SystemId, TaskId};
use crate::domain::model::duty::Duty;
use crate::domain::model::task::State;
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};

/// One of the next duties.
#[derive(Clone, Debug, PartialEq)]
pub struct NextDuty {
    /// The task.
    pub task_id: TaskId,
    /// The component's name.
    pub component_name: String,
    /// The duty.
    pub duty: Duty,
    /// How urgent it is.
    pub state: State,
    /// The day it falls due.
    pub due_on: NaiveDate,
}

/// Runoff since a component was last served.
#[derive(Clone, Debug, PartialEq)]
pub struct RunoffSince {
    /// The task; absent in rows of an earlier version.
    pub task_id: Option<TaskId>,
    /// The component's name.
    pub component_name: String,
    /// The duty that was done.
    pub duty: Duty,
    /// The day on which it was done.
    pub since: NaiveDate,
    /// Runoff in mm on the days with a reading.
    pub runoff_mm: f64,
}

/// Runoff of the last days.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct RecentRunoff {
    /// Runoff in mm, without the days that have no reading.
    pub mm: f64,
    /// Runoff in litres from this roof.
    pub litres: f64,
    /// Days without a reading.
    pub unread_days: u32,
}

/// A short summary of a system.
#[derive(Clone, Debug, PartialEq)]
pub struct Status {
    /// The system.
    pub system_id: SystemId,
    /// Its name.
    pub system_name: String,
    /// The local day.
    pub as_of: NaiveDate,
    /// The most urgent state.
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

/// How long a status may be shown without a new request, seconds. A visit can be logged at any moment, and its
/// author should see the change after this time at the latest. Judgement.
pub const MAX_AGE_S: u64 = 60;

/// A status and how long it stays valid.
#[derive(Clone, Debug, PartialEq)]
pub struct Polled {
    /// The status.
    pub status: Status,
    /// When the day ends at the property, and the status with it; absent while a refresh runs or is due.
    pub ends_at: Option<DateTime<Utc>>,
}

impl Polled {
    /// For how many seconds it may be shown without a new request: until the next change that is certain, and at
    /// most [`MAX_AGE_S`]. 0 while a refresh is due.
    pub fn keeps_s(&self, now: DateTime<Utc>) -> u64 {
        let left = self.ends_at.map_or(0, |at| (at - now).num_seconds());
        u64::try_from(left).unwrap_or(0).min(MAX_AGE_S)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_keeps_until_its_day_ends_and_never_longer_than_a_minute() {
        let at = |text: &str| text.parse::<DateTime<Utc>>().unwrap();
        let status = Status {
            system_id: SystemId(uuid::Uuid::nil()),
            system_name: "apple shed".to_owned(),
            as_of: NaiveDate::from_ymd_opt(2026, 3, 1).unwrap(),
            state: State::Resting,
            next: Vec::new(),
            rain_through: None,
            last_7_days: RecentRunoff::default(),
            last_30_days: RecentRunoff::default(),
            since_served: Vec::new(),
        };
        let polled = |ends_at| Polled { status: status.clone(), ends_at };
        let midnight = polled(Some(at("2026-03-02T00:00:00Z")));
        for (now, keeps) in [
            ("2026-03-01T12:00:00Z", 60),
            ("2026-03-01T23:59:00Z", 60),
            ("2026-03-01T23:59:17.5Z", 42),
            ("2026-03-01T23:59:59.9Z", 0),
            ("2026-03-02T00:00:00Z", 0),
            ("2026-03-05T00:00:00Z", 0),
        ] {
            assert_eq!(midnight.keeps_s(at(now)), keeps, "{now}");
        }
        assert_eq!(polled(None).keeps_s(at("2026-03-01T12:00:00Z")), 0, "a refresh is due");
    }
}
