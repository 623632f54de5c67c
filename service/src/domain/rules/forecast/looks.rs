//! What one visit says about a duty: the finding before the work, and the work.

use crate::domain::base::ids::VisitId;
use crate::domain::model::duty::Duty;
use crate::domain::model::visit::Finding;
use crate::domain::rules::forecast::history::VisitedItem;
use chrono::NaiveDate;
use eavesward_engine as engine;
use engine::learning;

/// Whether a finding on one duty says something about the limit of another one.
pub fn speaks_of(found_on: Duty, limit_of: Duty) -> bool {
    found_on == limit_of || (found_on == Duty::MeasureSediment && limit_of == Duty::RemoveSediment)
}

/// What one visit says about a limit: the finding before the work, and the work.
#[derive(Clone, Copy, Debug)]
pub struct Look {
    /// The visit.
    pub visit: VisitId,
    /// The day of the visit.
    pub on: NaiveDate,
    /// What was found. Of several findings, it is the measured depth, or else the first.
    pub finding: Option<Finding>,
    /// The share of the limit that a cleaning left; absent if it was not cleaned.
    pub cleaned: Option<f64>,
    /// Whether it had been cleaned before, on a day that was not recorded.
    pub cleaned_meanwhile: bool,
}

/// What visits say about the limit of a duty, one look for each visit, oldest first.
pub fn looks(seen: &[VisitedItem<'_>], duty: Duty) -> Vec<Look> {
    let mut looks: Vec<Look> = Vec::new();
    for seen in seen.iter().filter(|seen| speaks_of(seen.item.duty, duty)) {
        if looks.last().is_none_or(|last| last.visit != seen.visit) {
            looks.push(Look {
                visit: seen.visit,
                on: seen.on,
                finding: None,
                cleaned: None,
                cleaned_meanwhile: false,
            });
        }
        let Some(look) = looks.last_mut() else { continue };
        look.cleaned_meanwhile |= seen.item.cleaned_meanwhile;
        let measured = matches!(seen.item.finding, Some(Finding::DepthMm(_)))
            && !matches!(look.finding, Some(Finding::DepthMm(_)));
        if measured || look.finding.is_none() {
            look.finding = seen.item.finding.or(look.finding);
        }
        if seen.item.done && seen.item.duty == duty {
            look.cleaned = Some(seen.item.left_fraction.unwrap_or(0.0));
        }
    }
    looks
}

/// A finding in the engine's type. A depth becomes a share of the prior's limit.
pub fn found(finding: Finding, limit: f64) -> learning::Finding {
    match finding {
        Finding::Nothing => learning::Finding::NOTHING,
        Finding::Fraction(share) => learning::Finding::by_eye(share),
        Finding::Class(class) => {
            let (from, to) = class.range();
            learning::Finding::Between { from, to }
        }
        Finding::DepthMm(depth) => learning::Finding::measured(depth / limit),
        Finding::Blocked => learning::Finding::BLOCKED,
    }
}
