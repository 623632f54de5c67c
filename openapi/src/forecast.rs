//! Forecasts: the dates of one system, explained in full.

use crate::setters::setters;
use crate::{
    Accumulated, AgeingClock, BestDay, Caution, ComponentKind, ComponentRequest, DecidedBy, Duty,
    DutySettingsInput, Lesson, Limit, MonthlyNormals, MonthlyTemperatures, NextFinding, RainDay, Reason,
    Roof, RoofRequest, TaskState, Window,
};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// Monthly normals; requests and rain gauges share one type.
pub type NormalsInput = MonthlyNormals;

/// A system to be forecast without being registered, for example for a quote. Nothing of it is stored.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct ForecastRequest {
    /// Degrees north of the equator, -90 to 90; negative is south.
    pub latitude_deg: f64,
    /// Metres above sea level, -450 to 6,000; 0 when absent.
    #[serde(default)]
    pub elevation_m: f64,
    /// The roof.
    pub roof: RoofRequest,
    /// Water drawn, in litres a day, 0 to 1,000,000; 0 when absent.
    #[serde(default)]
    pub demand_l_per_day: f64,
    /// The components, 1 to 200.
    pub components: Vec<ComponentRequest>,
    /// Daily rain, in any order, at most 50,000 days.
    #[serde(default)]
    pub rain: Vec<RainDay>,
    /// Monthly normals of rain, in addition to daily rain or instead of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub normals: Option<NormalsInput>,
    /// Monthly air temperatures.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperatures: Option<MonthlyTemperatures>,
    /// Evaporation from a trap's water seal in mm a day, 0 to 30: twelve values, January first in both hemispheres.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub evaporation_mm_per_day: Option<Vec<f64>>,
    /// Own figures for duties, each duty at most once. All other duties have the defaults.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub duty_settings: Vec<DutySettingsInput>,
    /// The day to forecast for. Nothing later is used.
    pub as_of: NaiveDate,
}

impl ForecastRequest {
    /// A system at sea level without rain, normals, temperatures and water demand.
    pub fn new(
        latitude_deg: f64,
        roof: RoofRequest,
        components: impl Into<Vec<ComponentRequest>>,
        as_of: NaiveDate,
    ) -> Self {
        Self {
            latitude_deg,
            elevation_m: 0.0,
            roof,
            demand_l_per_day: 0.0,
            components: components.into(),
            rain: Vec::new(),
            normals: None,
            temperatures: None,
            evaporation_mm_per_day: None,
            duty_settings: Vec::new(),
            as_of,
        }
    }
}

setters! { ForecastRequest {
    elevation_m: f64,
    demand_l_per_day: f64,
    rain: Vec<RainDay>,
    normals: Option<NormalsInput>,
    temperatures: Option<MonthlyTemperatures>,
    evaporation_mm_per_day: Option<Vec<f64>>,
    duty_settings: Vec<DutySettingsInput>,
} }

/// What the rain of a forecast is based on.
///
/// - `record`: daily readings.
/// - `normals`: twelve monthly normals.
/// - `both`: means from the normals, variability from the daily readings.
/// - `none`: there are no rain data.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub enum ClimateBasis {
    /// Daily readings.
    Record,
    /// Twelve monthly normals.
    Normals,
    /// Both: means from the normals, variability from the daily readings.
    Both,
    /// Nothing: there are no rain data.
    None,
    /// A basis of a newer service, which this version does not know.
    #[serde(other)]
    Unknown,
}

/// The rain that a forecast is based on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct ClimateSummary {
    /// What it is based on.
    pub basis: ClimateBasis,
    /// Number of years that the monthly means are based on, with fractions.
    pub years: f64,
    /// Mean runoff of each month in mm a day, January first; empty without rain data. It is the litres of all roofs over
    /// the plan area of all roofs.
    pub mean_runoff_mm_per_day: Vec<f64>,
    /// First day with a reading, up to the day of the forecast.
    pub rain_from: Option<NaiveDate>,
    /// Last day with a reading, up to the day of the forecast.
    pub rain_through: Option<NaiveDate>,
    /// What to send to improve the forecast, and what keeps it empty.
    pub advice: Vec<Reason>,
}

/// The chance of being past the limit, 0 to 1, on four days.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
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

/// One point of the curve of chances over time.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct CurvePoint {
    /// The day.
    pub date: NaiveDate,
    /// The chance that the limit has been reached by that day, 0 to 1.
    pub chance: f64,
}

/// The forecast of one duty of one component.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct DutyForecast {
    /// The component; null when it is not registered.
    pub component_id: Option<Uuid>,
    /// The component's name.
    pub component_name: String,
    /// What the component is.
    pub component_kind: ComponentKind,
    /// The duty to be done.
    pub duty: Duty,
    /// The duty in words, such as `clean the debris screen`.
    pub title: String,
    /// The day from which the accumulated figure and the longest interval count.
    pub since: NaiveDate,
    /// How urgent it is on the day of the forecast, by the same rule as a task.
    pub state: TaskState,
    /// The day it falls due; null when no date can be given.
    pub due_on: Option<NaiveDate>,
    /// What decided the date.
    pub decided_by: DecidedBy,
    /// The day on which the longest interval ends; null where there is none.
    pub longest_interval_on: Option<NaiveDate>,
    /// Where the longest interval comes from.
    pub longest_interval_source: Option<String>,
    /// The predicted window; null when nothing is predicted.
    pub window: Option<Window>,
    /// Chance of being past the limit at which the duty falls due, 0 to 1.
    pub tolerance: Option<f64>,
    /// The accumulated figure; null where there is none.
    pub accumulated: Option<Accumulated>,
    /// The limit; null where there is none.
    pub limit: Option<Limit>,
    /// The chance of being past the limit; null when nothing is predicted.
    pub chance_past_limit: Option<Chances>,
    /// The chance of being past the limit over time, to be plotted; empty when nothing is predicted.
    pub curve: Vec<CurvePoint>,
    /// What gave the date of a coupling, light or heat; null for other parts.
    pub clock: Option<AgeingClock>,
    /// The best day for work that empties the tank. Null without a tank or rain to follow, and when the window
    /// begins more than two years ahead.
    pub best_day: Option<BestDay>,
    /// What each finding taught about the limit, oldest first.
    pub lessons: Vec<Lesson>,
    /// What the next finding would teach; null when there is nothing to learn.
    pub next_finding: Option<NextFinding>,
    /// Why it falls due on this date, one sentence each.
    pub reasons: Vec<Reason>,
    /// What to be careful of.
    pub cautions: Vec<Caution>,
    /// What to bring.
    pub bring: Vec<String>,
}

/// The forecast of one system.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct SystemForecast {
    /// The system; null when it is not registered.
    pub system_id: Option<Uuid>,
    /// The day to forecast for. Nothing later is used.
    pub as_of: NaiveDate,
    /// The roofs, with every value that is used.
    pub roofs: Vec<Roof>,
    /// The rain that the forecast is based on.
    pub climate: ClimateSummary,
    /// Every duty, beginning with the earliest date.
    pub duties: Vec<DutyForecast>,
}
