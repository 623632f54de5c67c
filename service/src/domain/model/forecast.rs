//! Forecasts: what a system's parts have accumulated, and when each duty falls due.
//!
//! A forecast depends only on what is stored and on the day of the forecast.

use crate::domain::base::ids::{ComponentId, SystemId, VisitId};
use crate::domain::base::words::words;
use crate::domain::model::duty::{DecidedBy, Duty};
use crate::domain::model::hazard::Hazard;
use crate::domain::model::measure::Measure;
use crate::domain::model::part::{Clock, Kind};
use crate::domain::model::reason::Reason;
use crate::domain::model::roof::Roof;
use crate::domain::model::sentence::Sentence;
use crate::domain::model::visit::Finding;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

/// What a component has accumulated since it was last served.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Accumulated {
    /// The figure on the day of the forecast.
    pub value: f64,
    /// What it counts, and its unit.
    pub unit: Measure,
    /// The part of it from days with a reading.
    pub from_readings: f64,
    /// The part of it from days without a reading, for which the usual climate is used.
    pub from_climate: f64,
    /// Number of days with a reading.
    pub days_read: u32,
    /// Number of days without a reading.
    pub days_unread: u32,
}

/// The accumulated figure at which a component needs care.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Limit {
    /// Median of the limit.
    pub value: f64,
    /// What it counts, and its unit.
    pub unit: Measure,
    /// Standard deviation of the limit's natural logarithm.
    pub log_sd: f64,
    /// Median of the prior: the limit before any finding.
    pub prior_value: f64,
    /// Standard deviation of the prior's natural logarithm.
    pub prior_log_sd: f64,
    /// Number of findings that the limit is based on.
    pub findings: u32,
    /// Where the prior comes from.
    pub source: String,
    /// Whether that source is judgement.
    pub judgement: bool,
}

/// The dates on which the chance that the limit is reached comes to 10, 50 and 90 %.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Window {
    /// 10 %.
    pub early_on: Option<NaiveDate>,
    /// 50 %.
    pub likely_on: Option<NaiveDate>,
    /// 90 %.
    pub late_on: Option<NaiveDate>,
}

/// The chance of being past the limit, 0 to 1, on four days.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Chances {
    /// On the day of the forecast.
    pub today: f64,
    /// Seven days later.
    pub in_7_days: f64,
    /// Thirty days later.
    pub in_30_days: f64,
    /// Ninety days later.
    pub in_90_days: f64,
}

/// A point of the curve of chances over time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CurvePoint {
    /// The day.
    pub on: NaiveDate,
    /// The chance of being past the limit on it.
    pub chance: f64,
}

/// What is predicted for a duty.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Prediction {
    /// The window. Absent when the limit is not reached before the horizon, or without rain data.
    pub window: Option<Window>,
    /// Chance of being past the limit at which the duty falls due.
    pub tolerance: f64,
    /// The accumulated figure; absent without rain data.
    #[serde(rename = "tally")]
    pub accumulated: Option<Accumulated>,
    /// The limit.
    #[serde(rename = "mark")]
    pub limit: Limit,
    /// The chance of being past the limit; absent without rain data.
    pub chances: Option<Chances>,
    /// Which of light and heat gave the date of a coupling.
    pub clock: Option<Clock>,
    /// The best day for work that empties the tank.
    pub best_day: Option<BestDay>,
    /// The chance over time. It is not stored with a task.
    #[serde(skip)]
    pub curve: Vec<CurvePoint>,
    /// What each finding taught. It is not stored with a task.
    #[serde(skip)]
    pub lessons: Vec<Lesson>,
    /// What the next finding would teach. It is not stored with a task.
    #[serde(skip)]
    pub next_finding: Option<NextFinding>,
}

impl Prediction {
    /// A prediction that has only a limit so far.
    pub const fn new(tolerance: f64, limit: Limit) -> Self {
        Self {
            window: None,
            tolerance,
            accumulated: None,
            limit,
            chances: None,
            clock: None,
            best_day: None,
            curve: Vec::new(),
            lessons: Vec::new(),
            next_finding: None,
        }
    }
}

/// The day on which work that empties the tank loses least water.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct BestDay {
    /// The day.
    pub on: NaiveDate,
    /// Litres expected in the tank on that day, which the work would lose.
    pub water_lost_l: f64,
    /// The 10 % point of these litres.
    pub water_lost_low_l: f64,
    /// The 90 % point of these litres.
    pub water_lost_high_l: f64,
    /// Whether the day lies in the wet season, because all days with about as little water do.
    pub in_wet_season: bool,
}

/// The forecast of one duty of one component.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct DutyForecast {
    /// The component, if it is registered.
    pub component_id: Option<ComponentId>,
    /// The component's name.
    pub component_name: String,
    /// What the component is.
    pub kind: Kind,
    /// The duty.
    pub duty: Duty,
    /// The day from which the accumulated figure and the longest interval count.
    pub since: NaiveDate,
    /// The day it falls due.
    pub due_on: Option<NaiveDate>,
    /// What decided the date.
    pub decided_by: DecidedBy,
    /// The day on which the longest interval ends.
    pub ceiling_on: Option<NaiveDate>,
    /// Whether the longest interval is the account's own figure.
    pub own_ceiling: bool,
    /// What is predicted; only for duties with an accumulated figure.
    pub prediction: Option<Prediction>,
    /// Why this date.
    pub reasons: Vec<Reason>,
    /// What to be careful of.
    pub hazards: Vec<Hazard>,
}

impl DutyForecast {
    /// A forecast that has no date yet.
    pub const fn new(
        component_id: Option<ComponentId>,
        component_name: String,
        kind: Kind,
        duty: Duty,
        since: NaiveDate,
    ) -> Self {
        Self {
            component_id,
            component_name,
            kind,
            duty,
            since,
            due_on: None,
            decided_by: DecidedBy::Nothing,
            ceiling_on: None,
            own_ceiling: false,
            prediction: None,
            reasons: Vec::new(),
            hazards: Vec::new(),
        }
    }

    /// The reason for the date. Reasons come in the order prediction, rating, season, longest interval.
    ///
    /// A duty with a prediction has no season or rating, and the longest interval is always last.
    pub fn why(&self) -> Option<&Reason> {
        match self.decided_by {
            DecidedBy::LongestInterval | DecidedBy::FirstLook => self.reasons.last(),
            DecidedBy::Prediction | DecidedBy::Season | DecidedBy::Rating | DecidedBy::Nothing => {
                self.reasons.first()
            }
        }
    }
}

words! {
    /// What the rain of a forecast is based on.
    ClimateBasis {
        /// Daily readings.
        Record "record",
        /// Monthly normals.
        Normals "normals",
        /// Daily readings and monthly normals.
        Both "both",
        /// Nothing: there are no rain data.
        None "none",
    }
}

/// The rain that a forecast is based on.
#[derive(Clone, Debug, PartialEq)]
pub struct ClimateSummary {
    /// What it is based on.
    pub basis: ClimateBasis,
    /// Number of years that the monthly means are based on.
    pub years: f64,
    /// Mean runoff of each month in mm a day; empty without rain data.
    pub mean_runoff_mm_per_day: Vec<f64>,
    /// First day with a reading.
    pub rain_from: Option<NaiveDate>,
    /// Last day with a reading, up to the day of the forecast.
    pub rain_through: Option<NaiveDate>,
    /// What to send to improve the forecast.
    pub advice: Vec<Sentence>,
}

/// The forecast of one system.
#[derive(Clone, Debug, PartialEq)]
pub struct SystemForecast {
    /// The system, if it is registered.
    pub system_id: Option<SystemId>,
    /// The day of the forecast.
    pub as_of: NaiveDate,
    /// The roof.
    pub roof: Roof,
    /// The rain.
    pub climate: ClimateSummary,
    /// Every duty, beginning with the earliest date.
    pub duties: Vec<DutyForecast>,
}

/// What one finding taught about the limit.
#[derive(Clone, Debug, PartialEq)]
pub struct Lesson {
    /// The visit.
    pub visit_id: VisitId,
    /// The day of the visit.
    pub visited_on: NaiveDate,
    /// What was found.
    pub finding: Finding,
    /// What the part had accumulated since it was last clean.
    pub taken: f64,
    /// Median of the limit before the finding.
    pub limit_before: f64,
    /// Median of the limit after the finding.
    pub limit_after: f64,
    /// Standard deviation of the limit's natural logarithm after the finding.
    pub log_sd_after: f64,
    /// How much the finding counted: the share of the doubt that it removed, 0 to 1.
    pub weight: f64,
    /// Why it counted as much as it did, where that needs an explanation.
    pub remark: Option<Sentence>,
}

/// What the next finding would teach about the limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NextFinding {
    /// Expected standard deviation of the limit's natural logarithm after it.
    pub log_sd_after: f64,
    /// Expected width of the limit's 10 to 90 % range after it, as a share of the width now.
    pub range_ratio: f64,
    /// Chance that there is still too little to find.
    pub nothing_to_find: f64,
}
