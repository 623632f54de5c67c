//! Visits, and what they were before each change.

use super::super::make::{at, day, new_visit};
use super::{Case, Form, Rig};
use eavesward_service::domain::base::error::Stored;
use eavesward_service::domain::base::ids::VisitId;
use eavesward_service::domain::model::duty::Duty;
use eavesward_service::domain::model::visit::{Finding, FoundClass, Revision, Visit, VisitItem, Withdrawn};
use eavesward_service::domain::ports::store::outcomes::Updated;
use eavesward_service::domain::ports::store::visits::VisitStore as _;
use uuid::Uuid;

pub(super) struct Visits;

/// Every kind of finding, by its name. A new one does not compile here until it has its case.
pub(super) fn findings() -> Vec<(String, Finding)> {
    let classes = FoundClass::ALL.iter().map(|class| (class.code().to_owned(), Finding::Class(*class)));
    let others = [
        ("nothing", Finding::Nothing),
        ("a fraction", Finding::Fraction(0.1 + 0.2)),
        ("a depth", Finding::DepthMm(31.5)),
        ("blocked", Finding::Blocked),
    ];
    let number = |one: &Finding| match one {
        Finding::Nothing => 0,
        Finding::Fraction(_) => 1,
        Finding::DepthMm(_) => 2,
        Finding::Blocked => 3,
        Finding::Class(_) => 4,
    };
    assert!(others.iter().map(|(_, one)| number(one)).eq(0..4));
    classes.chain(others.map(|(name, one)| (name.to_owned(), one))).collect()
}

fn visit(name: &str, items: impl FnOnce(VisitItem) -> Vec<VisitItem>) -> Case<(Visit, Vec<Revision>)> {
    Case::of(name, |home| {
        let mut visit = new_visit(home, day(1));
        visit.id = VisitId(Uuid::new_v5(&home.system.id.0, b"visit"));
        visit.facts.items = items(visit.facts.items[0].clone());
        (visit, Vec::new())
    })
}

/// Changes a visit; what it was becomes a revision.
fn change((visit, revisions): &mut (Visit, Vec<Revision>), how: impl FnOnce(&mut Visit)) {
    let mut new = visit.clone();
    new.updated_at = at(60 + new.version);
    new.version += 1;
    how(&mut new);
    revisions.push(Revision { replaced_at: new.updated_at, visit: std::mem::replace(visit, new) });
}

impl Form for Visits {
    const FILE: &'static str = "visits";
    type Value = (Visit, Vec<Revision>);

    fn cases() -> Vec<Case<Self::Value>> {
        let found = findings().into_iter().map(|(name, finding)| {
            visit(&format!("finding: {name}"), |item| vec![VisitItem { finding: Some(finding), ..item }])
        });
        let duties = Duty::ALL.iter().map(|&duty| {
            visit(&format!("duty: {}", duty.code()), |item| vec![VisitItem { duty, note: None, ..item }])
        });
        let several = visit("several duties, one only looked at", |item| {
            let looked = VisitItem { done: false, cleaned_meanwhile: false, ..item.clone() };
            vec![VisitItem { finding: None, duty: Duty::CleanScreen, ..item }, looked]
        });
        let mut changed = visit("corrected, withdrawn and noted once more", |item| {
            vec![VisitItem { left_fraction: Some(0.125), ..item }]
        });
        change(&mut changed.value, |visit| visit.facts.items[0].done = false);
        change(&mut changed.value, |visit| {
            let because = "the wrong terrace – twice".to_owned();
            visit.withdrawn = Some(Withdrawn { at: visit.updated_at, because });
        });
        change(&mut changed.value, |visit| {
            visit.facts.note = Some("see the day after".to_owned());
            visit.facts.visited_by = None;
        });
        found.chain(duties).chain([several, changed]).collect()
    }

    fn rows(case: &Case<Self::Value>) -> Vec<(&'static str, Uuid)> {
        vec![("visits", case.home.system.id.0), ("visit_revisions", case.value.0.id.0)]
    }

    async fn write(rig: &Rig, case: &Case<Self::Value>) {
        let (account, (last, revisions)) = (case.home.account, &case.value);
        let mut steps = revisions.iter().map(|revision| &revision.visit).chain([last]);
        rig.database.insert_visit(steps.next().unwrap()).await.unwrap();
        for (version, step) in (1..).zip(steps) {
            assert_eq!(rig.database.update_visit(account, version, step).await.unwrap(), Updated::Done);
        }
    }

    async fn read(rig: &Rig, case: &Case<Self::Value>) -> Stored<Self::Value> {
        let id = case.value.0.id;
        let found = rig.database.visit(case.home.account, id).await?;
        Ok((found.expect("a visit of this id"), rig.database.revisions(id).await?))
    }
}
