//! Visits: what was done and what was found.

use crate::{Duty, Finding};
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// One duty seen to on a visit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(feature = "service", serde(deny_unknown_fields))]
pub struct VisitItem {
    /// The component.
    pub component_id: Uuid,
    /// The duty.
    pub duty: Duty,
    /// Whether it was done. A finding without doing it is a look: the accumulated figure goes on.
    pub done: bool,
    /// What was found before it was done.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub finding: Option<Finding>,
    /// How full it was left after a partial cleaning, as a share of the way to wanting care: from 0, which is clean, to
    /// less than 1. Only where it was done, and only for `clean_screen`, `clear_weep_hole`, `remove_sediment`,
    /// `clear_gutter` and `clear_roof`; not more than was found.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub left_fraction: Option<f64>,
    /// Whether somebody is known or believed to have cleaned it since the last logged service, on a day nobody noted.
    #[serde(default)]
    pub cleaned_meanwhile: bool,
    /// Anything worth keeping.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

impl VisitItem {
    /// A duty that was done, with nothing more known of it.
    pub const fn done(component_id: Uuid, duty: Duty) -> Self {
        let (finding, left_fraction, note) = (None, None, None);
        Self { component_id, duty, done: true, finding, left_fraction, cleaned_meanwhile: false, note }
    }

    /// A look at what a duty is for, without doing it.
    pub const fn looked(component_id: Uuid, duty: Duty, finding: Finding) -> Self {
        let (finding, left_fraction, note) = (Some(finding), None, None);
        Self { component_id, duty, done: false, finding, left_fraction, cleaned_meanwhile: false, note }
    }

    /// With what was found before it was done.
    pub fn found(self, finding: Finding) -> Self {
        Self { finding: Some(finding), ..self }
    }

    /// Done in part: how full it was left, as a share of the way to wanting care, from 0 to less than 1.
    pub fn left(self, fraction: f64) -> Self {
        Self { left_fraction: Some(fraction), ..self }
    }

    /// Somebody is known or believed to have cleaned it since the last logged service, on a day nobody noted.
    pub fn cleaned_meanwhile(self) -> Self {
        Self { cleaned_meanwhile: true, ..self }
    }

    /// With a note.
    pub fn noted(self, note: impl Into<String>) -> Self {
        Self { note: Some(note.into()), ..self }
    }
}

/// A request to log a visit, or to correct one.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct VisitRequest {
    /// The system that was visited.
    pub system_id: Uuid,
    /// The day, in the property's time zone.
    pub visited_on: NaiveDate,
    /// Who went.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub visited_by: Option<String>,
    /// What was seen to: 1 to 500, each component and duty once.
    pub items: Vec<VisitItem>,
    /// Anything worth keeping.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// A visit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Visit {
    /// Id of the visit.
    pub id: Uuid,
    /// The system that was visited.
    pub system_id: Uuid,
    /// The day.
    pub visited_on: NaiveDate,
    /// Who went.
    pub visited_by: Option<String>,
    /// What was seen to.
    pub items: Vec<VisitItem>,
    /// Anything worth keeping.
    pub note: Option<String>,
    /// When it was withdrawn, if it was; a withdrawn visit counts for nothing.
    pub withdrawn_at: Option<DateTime<Utc>>,
    /// Why it was withdrawn.
    pub withdrawn_because: Option<String>,
    /// Version for `If-Match`; 1 is the visit as it was logged.
    pub version: i64,
    /// When it was logged.
    pub created_at: DateTime<Utc>,
    /// When it was last corrected or withdrawn.
    pub updated_at: DateTime<Utc>,
}

/// A visit as it stood before a correction or withdrawal.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct VisitRevision {
    /// The version that was replaced.
    pub version: i64,
    /// When it was replaced.
    pub replaced_at: DateTime<Utc>,
    /// The visit as it stood.
    pub visit: Visit,
}

/// A request to withdraw a visit that did not happen as logged. It is kept, and counts for nothing.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct WithdrawRequest {
    /// Why.
    pub because: String,
}
