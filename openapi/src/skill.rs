//! Skill: how well past forecasts agreed with later findings.

use crate::{Duty, Finding, Reason, Window};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// How well the dates of a duty were predicted.
///
/// Every finding answers the forecast of the inspection before it. If forecasts are right, eight findings in ten
/// are inside the predicted 10 to 90 % range. One is below, one is above, and the mean position is one half.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct DutySkill {
    /// The duty.
    pub duty: Duty,
    /// The duty in words, such as `clean the debris screen`.
    pub title: String,
    /// Number of forecasts that a finding answered.
    pub answered: i64,
    /// Share of the findings inside the predicted 10 to 90 % range, 0 to 1; it should be 0.8. A class that is
    /// partly inside counts in part.
    pub coverage: f64,
    /// Standard error of that share if forecasts are right. The share varies somewhat more than this, because
    /// findings on one part, or under one rain gauge, are related.
    pub coverage_standard_error: f64,
    /// Share of the findings emptier than the predicted 10 %, 0 to 1.
    pub emptier: f64,
    /// Share of the findings fuller than the predicted 90 %, 0 to 1.
    pub fuller: f64,
    /// Mean position of the findings in their predictions, 0 to 1. It is 0.5 without bias, less when dates come too
    /// early, more when they come too late.
    pub mean_position: f64,
    /// Geometric mean of found over expected fullness; null when no finding is a number or a class. "Nothing" and
    /// "blocked" are neither and are left out, which brings this figure closer to 1.
    pub found_to_expected: Option<f64>,
    /// Number of findings that `found_to_expected` is based on.
    pub measured: i64,
    /// What these figures mean, in words.
    pub reading: Reason,
}

/// How full a part was expected to be, as shares of its limit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct ExpectedFullness {
    /// The 10 % point: with a chance of 10 % it was less full.
    pub low: f64,
    /// The 50 % point: less or more full with the same chance.
    pub likely: f64,
    /// The 90 % point: with a chance of 10 % it was fuller.
    pub high: f64,
}

/// A forecast that a finding answered. It is made when the visit is logged, and only a change of the visits that it
/// is based on changes it. Findings on an overflow trap answer no forecast, because that forecast follows the tank.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct AnsweredForecast {
    /// Id of the answer.
    pub id: Uuid,
    /// The visit with the finding.
    pub visit_id: Uuid,
    /// The system.
    pub system_id: Uuid,
    /// The component.
    pub component_id: Uuid,
    /// The component's name when the answer was made.
    pub component_name: String,
    /// The duty that was predicted.
    pub duty: Duty,
    /// The duty in words, such as `clean the debris screen`.
    pub title: String,
    /// The day for which the forecast was made: the day of the inspection before, or the part's first day. It uses
    /// only readings and findings up to that day.
    pub made_on: NaiveDate,
    /// The day of the visit.
    pub visited_on: NaiveDate,
    /// When the limit was expected to be reached.
    pub window: Window,
    /// How full the part was expected to be on the day of the visit.
    pub expected: ExpectedFullness,
    /// What was found.
    pub finding: Finding,
    /// The finding as a share of the limit; null when it is neither a number nor a class.
    pub found: Option<f64>,
    /// Low end of the finding's position in the prediction, 0 to 1: the predicted chance of finding less.
    pub position_from: f64,
    /// High end of that position; the same as the low end if the finding is a number.
    pub position_to: f64,
    /// How much of the finding is inside the predicted 10 to 90 % range, 0 to 1.
    pub inside: f64,
}
