//! Visits and findings.

use super::duty::UNKNOWN_DUTY;
use super::{known, mirror_open};
use crate::domain::base::error::{Error, FieldError, Result};
use crate::domain::base::ids::{ComponentId, SystemId};
use crate::domain::model::visit;
use crate::domain::model::visit::Finding;
use eavesward_contract as wire;

mirror_open!(FoundClass: visit::FoundClass { Light, Half, Heavy });

impl TryFrom<wire::Finding> for Finding {
    type Error = Error;
    fn try_from(finding: wire::Finding) -> Result<Self> {
        Ok(match finding {
            wire::Finding::Nothing {} => Self::Nothing,
            wire::Finding::Fraction { fraction } => Self::Fraction(fraction),
            wire::Finding::Class { fullness } => Self::Class(known(fullness, "finding.fullness")?),
            wire::Finding::Depth { depth_mm } => Self::DepthMm(depth_mm),
            wire::Finding::Blocked {} => Self::Blocked,
            wire::Finding::Unknown => {
                return Err(Error::field(
                    "finding.found",
                    "this version of the service does not know this kind of finding",
                ));
            }
        })
    }
}

impl From<Finding> for wire::Finding {
    fn from(finding: Finding) -> Self {
        match finding {
            Finding::Nothing => Self::Nothing {},
            Finding::Fraction(fraction) => Self::Fraction { fraction },
            Finding::Class(class) => Self::Class { fullness: class.into() },
            Finding::DepthMm(depth_mm) => Self::Depth { depth_mm },
            Finding::Blocked => Self::Blocked {},
        }
    }
}

/// Reads a visit; a duty that this version does not know is refused by its place.
pub fn visit_facts(request: wire::VisitRequest) -> Result<visit::VisitFacts> {
    let mut items = Vec::with_capacity(request.items.len());
    let mut errors = Vec::new();
    for (index, item) in request.items.into_iter().enumerate() {
        match item.duty.try_into() {
            Ok(duty) => items.push(visit::VisitItem {
                component_id: ComponentId(item.component_id),
                duty,
                done: item.done,
                finding: item.finding.map(TryInto::try_into).transpose()?,
                left_fraction: item.left_fraction,
                cleaned_meanwhile: item.cleaned_meanwhile,
                note: item.note,
            }),
            Err(()) => errors
                .push(FieldError { field: format!("items[{index}].duty"), message: UNKNOWN_DUTY.to_owned() }),
        }
    }
    if !errors.is_empty() {
        return Err(Error::Invalid(errors.into()));
    }
    Ok(visit::VisitFacts {
        system_id: SystemId(request.system_id),
        visited_on: request.visited_on,
        visited_by: request.visited_by,
        items,
        note: request.note,
    })
}

impl From<visit::Visit> for wire::Visit {
    fn from(visit: visit::Visit) -> Self {
        let facts = visit.facts;
        let items = facts.items.into_iter().map(|item| wire::VisitItemAnswer {
            component_id: Some(item.component_id.0),
            duty: Some(item.duty.into()),
            done: Some(item.done),
            finding: item.finding.map(Into::into),
            left_fraction: item.left_fraction,
            cleaned_meanwhile: item.cleaned_meanwhile,
            note: item.note,
        });
        Self {
            id: visit.id.0,
            system_id: facts.system_id.0,
            visited_on: facts.visited_on,
            visited_by: facts.visited_by,
            items: items.collect(),
            note: facts.note,
            withdrawn_at: visit.withdrawn.as_ref().map(|withdrawn| withdrawn.at),
            withdrawn_because: visit.withdrawn.map(|withdrawn| withdrawn.because),
            version: visit.version,
            created_at: visit.created_at,
            updated_at: visit.updated_at,
        }
    }
}

impl From<visit::Revision> for wire::VisitRevision {
    fn from(revision: visit::Revision) -> Self {
        Self {
            version: revision.visit.version,
            replaced_at: revision.replaced_at,
            visit: revision.visit.into(),
        }
    }
}
