//! Visits: what was done and what was found. A visit can be corrected or withdrawn, and its earlier versions are
//! kept.

use crate::domain::base::bounds::{Bounds, Entries, NOTE_LENGTH, SHARE};
use crate::domain::base::check::Check;
use crate::domain::base::ids::{AccountId, ComponentId, SystemId, VisitId};
use crate::domain::base::words::words;
use crate::domain::model::component::Component;
use crate::domain::model::duty;
use crate::domain::model::duty::Duty;
use crate::domain::model::tank::OUTLET_HEIGHT_MM;
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};

words! {
    /// How full a part was found, in words.
    FoundClass {
        /// 5 to 25 % of the limit.
        Light "light",
        /// 25 to 75 % of the limit.
        Half "half",
        /// 75 to 100 % of the limit.
        Heavy "heavy",
    }
}

impl FoundClass {
    /// Where the class begins and ends, as shares of the limit.
    pub const fn range(self) -> (f64, f64) {
        match self {
            Self::Light => (0.05, 0.25),
            Self::Half => (0.25, 0.75),
            Self::Heavy => (0.75, 1.0),
        }
    }

    /// The upper end of the class.
    pub const fn most(self) -> f64 {
        self.range().1
    }
}

/// What was found before the work.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum Finding {
    /// Under 5 % of the limit.
    Nothing,
    /// A share of the limit at which it needs care.
    Fraction(f64),
    /// A class.
    Class(FoundClass),
    /// A measured depth in mm.
    DepthMm(f64),
    /// Blocked, or no longer usable.
    Blocked,
}

/// One duty that a visit did or inspected.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct VisitItem {
    /// The component.
    pub component_id: ComponentId,
    /// The duty.
    pub duty: Duty,
    /// Whether it was done. Otherwise it was only inspected.
    pub done: bool,
    /// What was found before the work.
    pub finding: Option<Finding>,
    /// How full a partial cleaning left it, as a share of the limit: from 0 to under 1.
    pub left_fraction: Option<f64>,
    /// Whether it was probably cleaned since the last logged service, on a day that was not recorded.
    pub cleaned_meanwhile: bool,
    /// A free note.
    pub note: Option<String>,
}

impl VisitItem {
    /// A duty that was done, with no further details.
    pub const fn done(component_id: ComponentId, duty: Duty) -> Self {
        let (finding, left_fraction, note) = (None, None, None);
        Self { component_id, duty, done: true, finding, left_fraction, cleaned_meanwhile: false, note }
    }
}

/// What is known of a visit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct VisitFacts {
    /// The system visited.
    pub system_id: SystemId,
    /// The day.
    pub visited_on: NaiveDate,
    /// Who went.
    pub visited_by: Option<String>,
    /// The duties that it did or inspected.
    pub items: Vec<VisitItem>,
    /// A free note.
    pub note: Option<String>,
}

/// A withdrawal.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Withdrawn {
    /// When.
    pub at: DateTime<Utc>,
    /// Why.
    pub because: String,
}

/// A visit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Visit {
    /// Id.
    pub id: VisitId,
    /// The account that owns it.
    pub account_id: AccountId,
    /// What is known of it.
    pub facts: VisitFacts,
    /// Its withdrawal, if it was withdrawn.
    pub withdrawn: Option<Withdrawn>,
    /// 1 when it was logged; counts up with every correction.
    pub version: i64,
    /// When it was logged.
    pub created_at: DateTime<Utc>,
    /// When it was last changed.
    pub updated_at: DateTime<Utc>,
}

/// A visit before a change.
#[derive(Clone, Debug, PartialEq)]
pub struct Revision {
    /// When it was replaced.
    pub replaced_at: DateTime<Utc>,
    /// The visit before the change.
    pub visit: Visit,
}

/// Duties of one visit. Judgement: a day's work is a tenth of the most.
pub const ITEMS: Entries = Entries::of(1, 500);

/// How full a part is found, as a share of the limit: at 1 it needs care. Judgement: more than ten times that is a
/// typing error.
pub const FRACTION: Bounds = Bounds::of(0.0, 10.0);

/// Depth of sediment that is found, mm: up to the highest outlet.
pub const DEPTH_MM: Bounds = OUTLET_HEIGHT_MM;

/// How full a partial cleaning leaves a part: less than [`Bounds::most`], at which it needs care.
pub const LEFT_FRACTION: Bounds = SHARE;

pub(crate) fn check_item(check: &mut Check, item: &VisitItem, components: &[Component], on: NaiveDate) {
    match item.finding {
        Some(Finding::Fraction(share)) => check.between("finding.fraction", share, FRACTION),
        Some(Finding::DepthMm(depth)) => {
            check.between("finding.depth_mm", depth, DEPTH_MM);
            if !item.duty.facts().measures_depth {
                check.refuse(
                    "finding.found",
                    "only sediment has a depth; give light, half, heavy or a share such as 0.35",
                );
            }
        }
        _ => {}
    }
    if let Some(left) = item.left_fraction {
        check_left(check, item, left);
    }
    if !item.done && item.finding.is_none() {
        check.refuse("finding", "it was not done and has no finding; give a finding, or leave the item out");
    }
    if let Some(note) = &item.note {
        check.note("note", note, NOTE_LENGTH);
    }
    let Some(component) = components.iter().find(|component| component.id == item.component_id) else {
        return check.refuse("component_id", format!("the system has no component {}", item.component_id));
    };
    let duties = duty::of(&component.facts.part);
    if !duties.contains(&item.duty) {
        let known: Vec<&str> = duties.iter().map(|duty| duty.word()).collect();
        let kind = component.facts.part.kind().code();
        let its = if known.len() == 1 { "only duty is" } else { "duties are" };
        let message = format!("{} is not a duty of {kind}; its {its} {}", item.duty.word(), known.join(", "));
        check.refuse("duty", message);
    }
    if on < component.facts.installed_on {
        let message = format!("it was installed on {}, after the visit", component.facts.installed_on);
        check.refuse("component_id", message);
    }
    if let Some(removed) = component.removed_on.filter(|removed| on > *removed) {
        check.refuse("component_id", format!("it was taken out on {removed}, before the visit"));
    }
}

/// Checks how full a partial cleaning left the part.
fn check_left(check: &mut Check, item: &VisitItem, left: f64) {
    const FIELD: &str = "left_fraction";
    if !item.duty.facts().builds_up {
        let all = Duty::ALL.iter().filter(|duty| duty.facts().builds_up);
        let all: Vec<&str> = all.map(|duty| duty.word()).collect();
        let message = format!(
            "{} cannot be done in part; leave left_fraction out, or use it for {}",
            item.duty.word(),
            all.join(", ")
        );
        return check.refuse(FIELD, message);
    }
    if !item.done {
        return check.refuse(FIELD, "it was not done; set done to true, or give a finding instead");
    }
    let Bounds { least, most } = LEFT_FRACTION;
    if !(least..most).contains(&left) {
        let message = format!(
            "{left} is not from {least} to under {most}; at {most} it was not done, so set done to false"
        );
        return check.refuse(FIELD, message);
    }
    let most = match item.finding {
        Some(Finding::Nothing) => 0.05,
        Some(Finding::Fraction(share)) => share,
        Some(Finding::Class(class)) => class.most(),
        Some(Finding::DepthMm(_) | Finding::Blocked) | None => 1.0,
    };
    if left > most {
        check.refuse(FIELD, format!("{left} is more than what was found, which is at most {most}"));
    }
}

/// Which visits to list.
#[derive(Clone, Debug, Default)]
pub struct VisitFilter {
    /// Those to this system.
    pub system_id: Option<SystemId>,
    /// Those on or after this day.
    pub from: Option<NaiveDate>,
    /// Those on or before this day.
    pub to: Option<NaiveDate>,
    /// Whether withdrawn ones are listed too.
    pub include_withdrawn: bool,
}
