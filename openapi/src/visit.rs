//! Visits: what was done and what was found.

use crate::setters::setters;
use crate::{Duty, Finding, FoundClass};
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// One duty that a visit did or inspected.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "service", serde(deny_unknown_fields))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct VisitItem {
    /// The component.
    pub component_id: Uuid,
    /// The duty.
    pub duty: Duty,
    /// Whether it was done. If it was not done, it was only inspected: give a finding, and the accumulated figure
    /// continues.
    pub done: bool,
    /// What was found before any work.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub finding: Option<Finding>,
    /// How full a partial cleaning left it, as a share of the limit at which it needs care, from 0 (clean) to under
    /// 1. It is not more than what was found.
    ///
    /// Only for duties that were done, and only for `clean_screen`, `clear_weep_hole`, `remove_sediment`,
    /// `clear_gutter` and `clear_roof`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub left_fraction: Option<f64>,
    /// Whether it was or probably was cleaned since the last logged service, on a day that was not recorded;
    /// `false` when absent.
    #[serde(default)]
    pub cleaned_meanwhile: bool,
    /// A free note, up to 4,000 characters.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

impl VisitItem {
    /// A duty that was done, without further details.
    pub fn done(component_id: Uuid, duty: Duty) -> Self {
        let (finding, left_fraction, note) = (None, None, None);
        Self { component_id, duty, done: true, finding, left_fraction, cleaned_meanwhile: false, note }
    }

    /// A duty that was inspected but not done, with the finding.
    pub fn looked(component_id: Uuid, duty: Duty, finding: Finding) -> Self {
        let (finding, left_fraction, note) = (Some(finding), None, None);
        Self { component_id, duty, done: false, finding, left_fraction, cleaned_meanwhile: false, note }
    }
}

setters! {
    VisitItem { finding: Option<Finding>, left_fraction: Option<f64>, cleaned_meanwhile: bool } texts { note }
}

/// One entry of a visit: a duty that it did or inspected.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct VisitItemAnswer {
    /// The component; null for an entry about no single component.
    pub component_id: Option<Uuid>,
    /// The duty; null for an entry about no single duty.
    pub duty: Option<Duty>,
    /// Whether it was done; `false` if it was only inspected, null for an entry about no single duty.
    pub done: Option<bool>,
    /// What was found before any work.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub finding: Option<Finding>,
    /// How full a partial cleaning left it, as a share of the limit at which it needs care.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub left_fraction: Option<f64>,
    /// Whether it was or probably was cleaned since the last logged service, on a day that was not recorded.
    pub cleaned_meanwhile: bool,
    /// A free note.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

impl VisitItemAnswer {
    /// The same entry as a request sends it, such as in a correction of the visit. `None` for an entry that this
    /// version cannot send. A duty that it does not know is sent as it came.
    pub fn to_request(&self) -> Option<VisitItem> {
        let class_unknown = Finding::class(FoundClass::Unknown);
        if self.finding.as_ref().is_some_and(|finding| [Finding::Unknown, class_unknown].contains(finding)) {
            return None;
        }
        Some(VisitItem {
            component_id: self.component_id?,
            duty: self.duty.clone()?,
            done: self.done?,
            finding: self.finding.clone(),
            left_fraction: self.left_fraction,
            cleaned_meanwhile: self.cleaned_meanwhile,
            note: self.note.clone(),
        })
    }
}

/// A request to log a visit, or to correct one.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct VisitRequest {
    /// The system visited.
    pub system_id: Uuid,
    /// The day, in the property's time zone.
    pub visited_on: NaiveDate,
    /// Who went, up to 200 characters.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub visited_by: Option<String>,
    /// The duties that it did or inspected: 1 to 500, each component and duty once.
    pub items: Vec<VisitItem>,
    /// A free note, up to 4,000 characters.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

impl VisitRequest {
    /// A visit to a system on a day.
    pub fn new(system_id: Uuid, visited_on: NaiveDate, items: impl Into<Vec<VisitItem>>) -> Self {
        Self { system_id, visited_on, visited_by: None, items: items.into(), note: None }
    }
}

setters! { VisitRequest {} texts { visited_by, note } }

/// A visit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Visit {
    /// Id of the visit.
    pub id: Uuid,
    /// The system visited.
    pub system_id: Uuid,
    /// The day, in the property's time zone.
    pub visited_on: NaiveDate,
    /// Who went.
    pub visited_by: Option<String>,
    /// The duties that it did or inspected.
    pub items: Vec<VisitItemAnswer>,
    /// A free note.
    pub note: Option<String>,
    /// When it was withdrawn; null when it was not. A withdrawn visit has no effect on forecasts.
    pub withdrawn_at: Option<DateTime<Utc>>,
    /// Why it was withdrawn.
    pub withdrawn_because: Option<String>,
    /// Version, to be sent in `If-Match` with a change; 1 when the visit was logged.
    pub version: i64,
    /// When it was logged.
    pub created_at: DateTime<Utc>,
    /// When it was last corrected or withdrawn.
    pub updated_at: DateTime<Utc>,
}

/// A visit before a correction or withdrawal.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct VisitRevision {
    /// The version that was replaced.
    pub version: i64,
    /// When it was replaced.
    pub replaced_at: DateTime<Utc>,
    /// The visit before the change.
    pub visit: Visit,
}

/// A request to withdraw a visit that did not happen as logged. The visit is kept, but has no effect on forecasts.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct WithdrawRequest {
    /// Why, 1 to 4,000 characters.
    pub because: String,
}

impl WithdrawRequest {
    /// It did not happen as logged, for this reason.
    pub fn new(because: impl Into<String>) -> Self {
        Self { because: because.into() }
    }
}
