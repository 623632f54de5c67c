//! Forecasts: one system explained in full.

use crate::{
    Accumulated, AgeingClock, BestDay, Caution, ComponentKind, ComponentRequest, DecidedBy, Duty,
    DutySettingsInput, Lesson, Limit, MonthlyNormals, MonthlyTemperatures, NextFinding, RainDay, Reason,
    Roof, RoofRequest, TaskState, Window,
};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// Normals are the same thing in a request and in a gauge.
pub type NormalsInput = MonthlyNormals;

/// A system that nobody has registered, to be forecast without storing anything: an installer quoting a job.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct ForecastRequest {
    /// Degrees north of the equator.
    pub latitude_deg: f64,
    /// Metres above sea level.
    #[serde(default)]
    pub elevation_m: f64,
    /// The roof.
    pub roof: RoofRequest,
    /// Water drawn, in litres a day.
    #[serde(default)]
    pub demand_l_per_day: f64,
    /// The components; at least one, at most 200.
    pub components: Vec<ComponentRequest>,
    /// Daily rain, in any order.
    #[serde(default)]
    pub rain: Vec<RainDay>,
    /// Monthly normals, beside or instead of daily rain.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub normals: Option<NormalsInput>,
    /// Air temperatures of the months.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperatures: Option<MonthlyTemperatures>,
    /// Evaporation from a trap's seal in mm a day, twelve values, January first whatever the hemisphere.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub evaporation_mm_per_day: Option<Vec<f64>>,
    /// Own figures for duties, each duty at most once; the defaults count for the others.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub duty_settings: Vec<DutySettingsInput>,
    /// The day the forecast is made for.
    pub as_of: NaiveDate,
}

/// What a forecast's rain stands on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum ClimateBasis {
    /// A daily record.
    Record,
    /// Twelve normals.
    Normals,
    /// Means from the normals, variability from the record.
    Both,
    /// No rain data at all.
    None,
    /// A word of a newer service.
    #[serde(other)]
    Unknown,
}

/// The rain behind a forecast.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct ClimateSummary {
    /// What it stands on.
    pub basis: ClimateBasis,
    /// Effective years behind it.
    pub years: f64,
    /// Mean runoff of each month in mm a day, January first; empty without rain data.
    pub mean_runoff_mm_per_day: Vec<f64>,
    /// First day with a reading up to the day asked for.
    pub rain_from: Option<NaiveDate>,
    /// Last day with a reading up to the day asked for.
    pub rain_through: Option<NaiveDate>,
    /// What to send to make the forecast better.
    pub advice: Vec<String>,
}

/// The chance of being past the limit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
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

/// One point of the curve to plot.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct CurvePoint {
    /// The day.
    pub date: NaiveDate,
    /// The chance that the limit has been reached by then.
    pub chance: f64,
}

/// One duty of one component, explained.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct DutyForecast {
    /// The component, if it is registered.
    pub component_id: Option<Uuid>,
    /// Its name.
    pub component_name: String,
    /// What it is.
    pub component_kind: ComponentKind,
    /// What is to be done.
    pub duty: Duty,
    /// The same in words.
    pub title: String,
    /// The day from which accumulated and ceiling count.
    pub since: NaiveDate,
    /// How near it is on the day asked for, by the rule of tasks.
    pub state: TaskState,
    /// The day it falls due; absent when no date can be given.
    pub due_on: Option<NaiveDate>,
    /// What decided the date.
    pub decided_by: DecidedBy,
    /// The longest time to leave it, as a date.
    pub ceiling_on: Option<NaiveDate>,
    /// Where the ceiling comes from.
    pub ceiling_source: Option<String>,
    /// The predicted window.
    pub window: Option<Window>,
    /// The chance at which the predicted date is taken.
    pub tolerance: Option<f64>,
    /// The accumulated figure.
    pub accumulated: Option<Accumulated>,
    /// The limit.
    pub limit: Option<Limit>,
    /// The chance of being past the limit.
    pub chance_past_limit: Option<Chances>,
    /// The curve to plot; empty where nothing is predicted.
    pub curve: Vec<CurvePoint>,
    /// Which clock gave the date, where a part ages by two.
    pub clock: Option<AgeingClock>,
    /// The best day for it, where the work empties the tank; absent without a tank or rain to follow, and when the window
    /// begins more than two years ahead.
    pub best_day: Option<BestDay>,
    /// What each finding taught about the limit, oldest first.
    pub lessons: Vec<Lesson>,
    /// What the next finding would be worth; absent where nothing is to be learned.
    pub next_finding: Option<NextFinding>,
    /// Why this date.
    pub reasons: Vec<Reason>,
    /// What to be careful of.
    pub cautions: Vec<Caution>,
    /// What to bring.
    pub bring: Vec<String>,
}

/// A system's forecast.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct SystemForecast {
    /// The system, if it is registered.
    pub system_id: Option<Uuid>,
    /// The day the forecast is made for; nothing later is used.
    pub as_of: NaiveDate,
    /// The roofs with every value that was used.
    pub roofs: Vec<Roof>,
    /// The rain behind it.
    pub climate: ClimateSummary,
    /// Every duty, soonest first.
    pub duties: Vec<DutyForecast>,
}
