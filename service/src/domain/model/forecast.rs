//! Forecasts: what a system's parts have taken, and when each duty falls due. A pure function of what is stored and the
//! day asked for.

use crate::domain::base::ids::{ComponentId, SystemId, VisitId};
use crate::domain::base::words::words;
use crate::domain::model::duty::{DecidedBy, Duty};
use crate::domain::model::hazard::Hazard;
use crate::domain::model::part::{Clock, Kind};
use crate::domain::model::reason::Reason;
use crate::domain::model::roof::Roof;
use crate::domain::model::visit::Finding;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

/// What a component has taken since it was last served.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Accumulated {
    /// On the day asked for.
    pub value: f64,
    /// Its unit.
    pub unit: String,
    /// The part that stands on readings.
    pub from_readings: f64,
    /// The part that the climate stands in for.
    pub from_climate: f64,
    /// Days with a reading.
    pub days_read: u32,
    /// Days without.
    pub days_unread: u32,
}

/// The accumulated amount at which a component wants care.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Limit {
    /// Median.
    pub value: f64,
    /// Its unit.
    pub unit: String,
    /// Standard deviation of the natural logarithm.
    pub log_sd: f64,
    /// The median before anything was found.
    pub prior_value: f64,
    /// Its log-sd.
    pub prior_log_sd: f64,
    /// Findings behind it.
    pub findings: u32,
    /// Where the prior came from.
    pub source: String,
    /// Whether the source is judgement.
    pub judgement: bool,
}

/// 10, 50 and 90 % dates.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Window {
    /// 10 %.
    pub early_on: Option<NaiveDate>,
    /// 50 %.
    pub likely_on: Option<NaiveDate>,
    /// 90 %.
    pub late_on: Option<NaiveDate>,
}

/// The chance of being past the limit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Chances {
    /// On the day asked for.
    pub today: f64,
    /// Seven days later.
    pub in_7_days: f64,
    /// Thirty days later.
    pub in_30_days: f64,
    /// Ninety days later.
    pub in_90_days: f64,
}

/// A point of the curve to plot.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CurvePoint {
    /// The day.
    pub on: NaiveDate,
    /// The chance of being past the limit on it.
    pub chance: f64,
}

/// What is predicted of a duty.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Prediction {
    /// The window; absent when the limit is not reached within the horizon, or without rain data.
    pub window: Option<Window>,
    /// The chance at which the date is taken.
    pub tolerance: f64,
    /// The accumulated amount; absent without rain data.
    #[serde(rename = "tally")]
    pub accumulated: Option<Accumulated>,
    /// The limit.
    #[serde(rename = "mark")]
    pub limit: Limit,
    /// The chance of being past it; absent without rain data.
    pub chances: Option<Chances>,
    /// Which clock gave the date, where two run in parallel.
    pub clock: Option<Clock>,
    /// The best day for it, where the work empties the tank.
    pub best_day: Option<BestDay>,
    /// The curve to plot; not kept with a task.
    #[serde(skip)]
    pub curve: Vec<CurvePoint>,
    /// What each finding taught; not kept with a task.
    #[serde(skip)]
    pub lessons: Vec<Lesson>,
    /// What the next finding would be worth; not kept with a task.
    #[serde(skip)]
    pub next_finding: Option<NextFinding>,
}

impl Prediction {
    /// A prediction of which nothing but the limit is known yet.
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

/// The day on which work that empties the tank costs least water.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct BestDay {
    /// The day.
    pub on: NaiveDate,
    /// Litres expected in the tank then, which are lost.
    pub water_lost_l: f64,
    /// The same, 10 %.
    pub water_lost_low_l: f64,
    /// The same, 90 %.
    pub water_lost_high_l: f64,
    /// Whether it lies in the wet season, because every day that is about as low does.
    pub in_wet_season: bool,
}

/// One duty of one component, explained.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct DutyForecast {
    /// The component, if it is registered.
    pub component_id: Option<ComponentId>,
    /// Its name.
    pub component_name: String,
    /// What it is.
    pub kind: Kind,
    /// The duty.
    pub duty: Duty,
    /// The day from which accumulated amount and ceiling count.
    pub since: NaiveDate,
    /// The day it falls due.
    pub due_on: Option<NaiveDate>,
    /// What decided it.
    pub decided_by: DecidedBy,
    /// The longest time to leave it, as a date.
    pub ceiling_on: Option<NaiveDate>,
    /// Whether that time is the account's own figure.
    pub own_ceiling: bool,
    /// What is predicted, for duties that have an accumulated amount.
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

    /// The reason that goes with what decided the date. Reasons come in the order prediction, rating, season, ceiling; no
    /// duty has both a season or rating and a prediction, and nothing follows a ceiling.
    pub fn why(&self) -> Option<&Reason> {
        match self.decided_by {
            DecidedBy::Ceiling | DecidedBy::FirstLook => self.reasons.last(),
            DecidedBy::Prediction | DecidedBy::Season | DecidedBy::Rating | DecidedBy::Nothing => {
                self.reasons.first()
            }
        }
    }
}

words! {
    /// What a forecast's rain stands on.
    ClimateBasis {
        /// A daily record.
        Record "record",
        /// Normals.
        Normals "normals",
        /// Both.
        Both "both",
        /// Nothing.
        None "none",
    }
}

/// The rain behind a forecast.
#[derive(Clone, Debug, PartialEq)]
pub struct ClimateSummary {
    /// What it stands on.
    pub basis: ClimateBasis,
    /// Effective years.
    pub years: f64,
    /// Mean runoff of each month in mm a day; empty without rain data.
    pub mean_runoff_mm_per_day: Vec<f64>,
    /// First day with a reading.
    pub rain_from: Option<NaiveDate>,
    /// Last day with a reading up to the day asked for.
    pub rain_through: Option<NaiveDate>,
    /// What to send to make it better.
    pub advice: Vec<String>,
}

/// A system's forecast.
#[derive(Clone, Debug, PartialEq)]
pub struct SystemForecast {
    /// The system, if it is registered.
    pub system_id: Option<SystemId>,
    /// The day asked for.
    pub as_of: NaiveDate,
    /// The roof.
    pub roof: Roof,
    /// The rain.
    pub climate: ClimateSummary,
    /// Every duty, soonest first.
    pub duties: Vec<DutyForecast>,
}

/// What one finding taught.
#[derive(Clone, Debug, PartialEq)]
pub struct Lesson {
    /// The visit.
    pub visit_id: VisitId,
    /// Its day.
    pub visited_on: NaiveDate,
    /// What was found.
    pub finding: Finding,
    /// What the part had taken since it was clean, in the unit of the accumulated amount.
    pub taken: f64,
    /// The limit as it was believed before.
    pub limit_before: f64,
    /// The limit after.
    pub limit_after: f64,
    /// Its log-sd after.
    pub log_sd_after: f64,
    /// How much the finding counted, 0 to 1.
    pub weight: f64,
    /// Why it counted as it did, where that needs saying.
    pub remark: Option<String>,
}

/// What the next finding would be worth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NextFinding {
    /// Log-sd of the limit to be expected after it.
    pub log_sd_after: f64,
    /// Width of the limit's 10-90 % range after it over the width now.
    pub range_ratio: f64,
    /// Chance that there is too little to find yet.
    pub nothing_to_find: f64,
}
