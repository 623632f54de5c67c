//! Skill: how well past forecasts met what visits found.

use crate::{Duty, Finding, Window};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// How well a duty was predicted.
///
/// Every finding answers the forecast of the look before it. If forecasts are right, eight findings in ten fall inside the
/// predicted 10 to 90 % range, one below and one above, and the mean position is one half.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct DutySkill {
    /// The duty.
    pub duty: Duty,
    /// The same in words.
    pub title: String,
    /// Forecasts that a finding answered.
    pub answered: i64,
    /// Share of the findings inside the predicted 10 to 90 % range; 0.8 is the aim. A class that lies on an end counts in
    /// part.
    pub coverage: f64,
    /// How far that share strays from 0.8 when forecasts are right, by its standard error. Looks at one part, and parts under
    /// one gauge, hang together, so it strays somewhat farther.
    pub coverage_standard_error: f64,
    /// Share found emptier than the predicted 10 %.
    pub emptier: f64,
    /// Share found fuller than the predicted 90 %.
    pub fuller: f64,
    /// Mean position of the findings in their predictions: 0.5 without bias, less when dates come too early, more when they
    /// come too late.
    pub mean_position: f64,
    /// Geometric mean of found over expected fullness; absent when nothing was found that is a number or a class. "Nothing"
    /// and "blocked" are neither, so it leans towards 1.
    pub found_to_expected: Option<f64>,
    /// Findings behind `found_to_expected`.
    pub measured: i64,
    /// What the figures say, in words.
    pub reading: String,
}

/// How full a part was expected to be, as shares of its limit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct ExpectedFullness {
    /// It was less with a chance of 10 %.
    pub low: f64,
    /// As likely less as more.
    pub likely: f64,
    /// It was more with a chance of 10 %.
    pub high: f64,
}

/// A forecast that a finding answered. It is made when the visit is logged and kept as it was: only a change of the visits it
/// rests on changes it. Findings on a trap answer nothing, since its forecast follows the tank.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct AnsweredForecast {
    /// Id.
    pub id: Uuid,
    /// The visit that found it.
    pub visit_id: Uuid,
    /// The system.
    pub system_id: Uuid,
    /// The component.
    pub component_id: Uuid,
    /// The component's name, as it was.
    pub component_name: String,
    /// The duty that was predicted.
    pub duty: Duty,
    /// The same in words.
    pub title: String,
    /// The day for which the forecast was made, from the readings and findings up to it: that of the look before, or the
    /// part's first.
    pub made_on: NaiveDate,
    /// The day of the visit.
    pub visited_on: NaiveDate,
    /// When the limit was to be reached.
    pub window: Window,
    /// How full the part was expected to be on the day of the visit.
    pub expected: ExpectedFullness,
    /// What was found.
    pub finding: Finding,
    /// The same as a share of the limit; absent where it is no number and no class.
    pub found: Option<f64>,
    /// Where the finding begins in the prediction, 0 to 1: the chance that was given to finding less.
    pub position_from: f64,
    /// Where it ends; the same for a number.
    pub position_to: f64,
    /// How much of it lies inside the predicted 10 to 90 % range, 0 to 1.
    pub inside: f64,
}
