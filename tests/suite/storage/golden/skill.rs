//! Forecasts that findings answered.

use super::super::make::{at, day, first, new_visit};
use super::visits::findings;
use super::{Case, Form, Rig, settle};
use eavesward_service::domain::base::error::Stored;
use eavesward_service::domain::base::ids::{AnswerId, VisitId};
use eavesward_service::domain::model::duty::Duty;
use eavesward_service::domain::model::forecast::Window;
use eavesward_service::domain::model::skill;
use eavesward_service::domain::model::skill::{
    Answered, Fullness, LooksHash, PositionRange, Shares, SkillFilter,
};
use eavesward_service::domain::model::visit::Finding;
use eavesward_service::domain::ports::store::skill::SkillStore as _;
use eavesward_service::domain::ports::store::visits::VisitStore as _;
use uuid::Uuid;

pub(super) struct AnswerChanges;

fn answered(name: String, finding: Finding, found: Option<f64>) -> Case<Answered> {
    Case::of(name, |home| {
        let (visit_id, component) = (VisitId(Uuid::new_v5(&home.system.id.0, b"visit")), &home.components[0]);
        Answered {
            id: AnswerId::of(visit_id, component.id, Duty::ClearWeepHole),
            visit_id,
            system_id: home.system.id,
            component_id: component.id,
            component_name: "Screen \"under\" the oak".to_owned(),
            duty: Duty::ClearWeepHole,
            made_on: day(-30),
            visited_on: day(1),
            window: Window { early_on: Some(day(3)), likely_on: Some(day(9)), late_on: None },
            expected: Fullness { low: 0.1 + 0.2, likely: 0.5, high: 0.75 },
            finding,
            found,
            position: PositionRange { from: 0.25, to: 0.5 },
            shares: Shares { below: 0.0, inside: 0.625, above: 0.375 },
            history: LooksHash([17; 32]),
        }
    })
}

impl Form for AnswerChanges {
    const FILE: &'static str = "answered";
    type Value = Answered;

    fn cases() -> Vec<Case<Answered>> {
        let each = findings().into_iter();
        let each = each.map(|(name, finding)| answered(format!("finding: {name}"), finding, None));
        // What was found over what was expected is 1, whose logarithm no machine rounds.
        let mut measured = answered("a number".to_owned(), Finding::Fraction(0.5), Some(0.5));
        measured.value.window = Window { early_on: None, likely_on: None, late_on: Some(day(99)) };
        each.chain([measured]).collect()
    }

    fn rows(case: &Case<Answered>) -> Vec<(&'static str, Uuid)> {
        vec![("answered", case.value.id.0)]
    }

    async fn ground(rig: &Rig, case: &Case<Answered>) {
        settle(rig, &case.home).await;
        let mut visit = new_visit(&case.home, day(1));
        visit.id = case.value.visit_id;
        rig.database.insert_visit(&visit).await.unwrap();
    }

    async fn write(rig: &Rig, case: &Case<Answered>) {
        let claims = rig.database.claim_unscored(at(1), at(61), 10).await.unwrap();
        let claim = claims.iter().find(|claim| claim.system_id == case.home.system.id).unwrap();
        let answers = skill::AnswerChanges { gone: Vec::new(), new: vec![case.value.clone()] };
        rig.database.finish_scoring(claim, &answers, at(2)).await.unwrap();
    }

    async fn read(rig: &Rig, case: &Case<Answered>) -> Stored<Answered> {
        let found = rig.database.answers(case.home.account, &SkillFilter::default(), &first(10)).await?;
        Ok(found.into_iter().next().expect("an answer"))
    }
}
