//! Forecasts that findings answered: who works them out, and what stays.

use super::make::{Home, add_system, at, day, first, home, new_visit};
use super::{Rig, on_both};
use eavesward_service::domain::base::ids::{AnswerId, ComponentId};
use eavesward_service::domain::model::duty::Duty;
use eavesward_service::domain::model::forecast::Window;
use eavesward_service::domain::model::skill::{
    AnswerChanges, Answered, Fullness, LooksHash, PositionRange, Shares, SkillFilter,
};
use eavesward_service::domain::model::visit::{Finding, Visit};
use eavesward_service::domain::ports::store::skill::{SkillStore as _, Unscored};
use eavesward_service::domain::ports::store::visits::VisitStore as _;
use std::collections::BTreeMap;

on_both!(
    answers_come_back_and_add_up,
    a_changed_visit_puts_its_systems_on_the_list,
    a_claim_holds_others_off_until_it_ends,
    a_visit_that_changes_meanwhile_is_worked_out_again,
    a_claimer_that_was_away_too_long_writes_nothing,
);

fn answered(visit: &Visit, number: u8, [below, inside, above]: [f64; 3], found: Option<f64>) -> Answered {
    let component = ComponentId::new();
    Answered {
        id: AnswerId::of(visit.id, component, Duty::CleanScreen),
        visit_id: visit.id,
        system_id: visit.facts.system_id,
        component_id: component,
        component_name: "Screen \"under\" the oak".to_owned(),
        duty: Duty::CleanScreen,
        made_on: day(-30),
        visited_on: day(i64::from(number)),
        window: Window { early_on: Some(day(3)), likely_on: Some(day(9)), late_on: None },
        expected: Fullness { low: 0.1 + 0.2, likely: 0.5, high: 0.75 },
        finding: Finding::DepthMm(0.1 + 0.7),
        found,
        position: PositionRange { from: 0.25, to: 0.5 },
        shares: Shares { below, inside, above },
        history: LooksHash([number; 32]),
    }
}

async fn visit(rig: &Rig, home: &Home) -> Visit {
    let visit = new_visit(home, day(1));
    rig.database.insert_visit(&visit).await.unwrap();
    visit
}

/// Claims what is to be worked out after so many seconds, for a minute.
async fn claim(rig: &Rig, seconds: i64) -> Vec<Unscored> {
    rig.database.claim_unscored(at(seconds), at(seconds + 60), 10).await.unwrap()
}

async fn answers_come_back_and_add_up(rig: &Rig) {
    let (mine, other) = (home(rig).await, home(rig).await);
    let visit = visit(rig, &mine).await;
    let claims = claim(rig, 1).await;
    assert_eq!(claims.len(), 1);
    let new = vec![
        answered(&visit, 1, [0.25, 0.75, 0.0], Some(0.25)),
        answered(&visit, 2, [0.0, 0.5, 0.5], Some(1.0)),
        answered(&visit, 3, [0.0, 1.0, 0.0], None),
    ];
    let store = &rig.database;
    store
        .finish_scoring(&claims[0], &AnswerChanges { gone: Vec::new(), new: new.clone() }, at(2))
        .await
        .unwrap();
    let filter = SkillFilter::default();
    let mut listed = store.answers(mine.account, &filter, &first(10)).await.unwrap();
    listed.reverse();
    assert_eq!(listed, new);
    let histories: BTreeMap<_, _> = new.iter().map(|one| (one.id, one.history)).collect();
    assert_eq!(store.histories(mine.system.id).await.unwrap(), histories);
    let skill = store.skill(mine.account, &filter).await.unwrap();
    assert_eq!(skill.len(), 1);
    assert_eq!((skill[0].duty, skill[0].answered, skill[0].measured), (Duty::CleanScreen, 3, 2));
    let sums = Shares { below: 0.25, inside: 2.25, above: 0.5 };
    assert_eq!((skill[0].sums, skill[0].middles), (sums, 3.0 * 0.375));
    // ln(.25 / .5) + ln(1 / .5) is nothing.
    assert!(skill[0].log_ratios.abs() < 1e-12);
    let narrow = SkillFilter { from: Some(day(2)), to: Some(day(2)), ..filter };
    assert_eq!(store.answers(mine.account, &narrow, &first(10)).await.unwrap(), [new[1].clone()]);
    assert_eq!(store.answers(other.account, &filter, &first(10)).await.unwrap(), []);
    assert_eq!(store.skill(other.account, &filter).await.unwrap(), []);
    // A later round keeps some, drops the rest and adds.
    let again = Visit { version: 2, ..visit.clone() };
    store.update_visit(mine.account, 1, &again).await.unwrap();
    let claims = claim(rig, 100).await;
    let more = answered(&visit, 9, [0.0, 1.0, 0.0], None);
    let answers = AnswerChanges { gone: vec![new[1].id, AnswerId::new()], new: vec![more.clone()] };
    store.finish_scoring(&claims[0], &answers, at(101)).await.unwrap();
    let listed = store.answers(mine.account, &filter, &first(10)).await.unwrap();
    assert_eq!(listed, [more, new[2].clone(), new[0].clone()]);
}

async fn a_changed_visit_puts_its_systems_on_the_list(rig: &Rig) {
    let home = home(rig).await;
    let store = &rig.database;
    assert_eq!(store.unscored_count().await.unwrap(), 0, "a system without visits has nothing to work out");
    let visit = visit(rig, &home).await;
    store.insert_visit(&visit).await.unwrap();
    assert_eq!(store.unscored_count().await.unwrap(), 1, "a repeated request adds nothing");
    let claims = claim(rig, 1).await;
    assert_eq!((claims[0].system_id, claims[0].changes), (home.system.id, 1));
    store.finish_scoring(&claims[0], &AnswerChanges::default(), at(2)).await.unwrap();
    assert_eq!(store.unscored_count().await.unwrap(), 0);
    // A correction that moves a visit to another system concerns both.
    let (other, _) = add_system(rig, home.account, home.property.id, home.gauge.id, "Annexe").await;
    let mut moved = Visit { version: 2, ..visit.clone() };
    moved.facts.system_id = other.id;
    store.update_visit(home.account, 1, &moved).await.unwrap();
    let mut claimed: Vec<_> = claim(rig, 3).await.into_iter().map(|claim| claim.system_id).collect();
    claimed.sort_unstable();
    let mut both = vec![home.system.id, other.id];
    both.sort_unstable();
    assert_eq!(claimed, both);
    // An update that was refused changes nothing.
    for claim in claim(rig, 100).await {
        store.finish_scoring(&claim, &AnswerChanges::default(), at(101)).await.unwrap();
    }
    store.update_visit(home.account, 1, &moved).await.unwrap();
    assert_eq!(store.unscored_count().await.unwrap(), 0);
}

async fn a_claim_holds_others_off_until_it_ends(rig: &Rig) {
    let home = home(rig).await;
    visit(rig, &home).await;
    let replica = rig.replica().await;
    let claims = claim(rig, 1).await;
    assert_eq!(claims.len(), 1);
    assert_eq!(replica.claim_unscored(at(2), at(62), 10).await.unwrap(), [], "it is held");
    rig.database.release_unscored(&claims, at(3), at(30)).await.unwrap();
    assert_eq!(replica.claim_unscored(at(29), at(89), 10).await.unwrap(), [], "it is to be tried later");
    assert_eq!(replica.claim_unscored(at(30), at(90), 10).await.unwrap().len(), 1);
    // A clock that is ahead claims it, and is set right.
    assert_eq!(replica.claim_unscored(at(9_000), at(9_010), 10).await.unwrap().len(), 1);
    let claims = claim(rig, 20).await;
    assert_eq!(claims.len(), 1);
    // Renewed, it holds on.
    rig.database.renew_unscored(&claims, at(79), at(90)).await.unwrap();
    assert_eq!(replica.claim_unscored(at(89), at(99), 10).await.unwrap(), []);
    assert_eq!(replica.unscored_held_until(at(89)).await.unwrap(), Some(at(90)));
    // Eight at once: one gets it.
    let rivals = (0..8).map(|_| {
        let replica = replica.clone();
        tokio::spawn(async move { replica.claim_unscored(at(90), at(150), 10).await.unwrap().len() })
    });
    let mut won = 0;
    for rival in rivals.collect::<Vec<_>>() {
        won += rival.await.unwrap();
    }
    assert_eq!(won, 1);
}

async fn a_visit_that_changes_meanwhile_is_worked_out_again(rig: &Rig) {
    let home = home(rig).await;
    let visit = visit(rig, &home).await;
    let claims = claim(rig, 1).await;
    let again = Visit { version: 2, ..visit.clone() };
    rig.database.update_visit(home.account, 1, &again).await.unwrap();
    let old = AnswerChanges { gone: Vec::new(), new: vec![answered(&visit, 1, [0.0, 1.0, 0.0], None)] };
    rig.database.finish_scoring(&claims[0], &old, at(2)).await.unwrap();
    let filter = SkillFilter::default();
    assert_eq!(rig.database.answers(home.account, &filter, &first(10)).await.unwrap(), []);
    // It is free at once, whoever holds it.
    let claims = claim(rig, 3).await;
    assert_eq!((claims.len(), claims[0].changes), (1, 2));
    rig.database.finish_scoring(&claims[0], &old, at(4)).await.unwrap();
    assert_eq!(rig.database.answers(home.account, &filter, &first(10)).await.unwrap(), old.new);
}

async fn a_claimer_that_was_away_too_long_writes_nothing(rig: &Rig) {
    let home = home(rig).await;
    let visit = visit(rig, &home).await;
    let slow = claim(rig, 1).await;
    let quick = claim(rig, 61).await;
    assert_eq!((slow.len(), quick.len()), (1, 1));
    let of = |number| AnswerChanges {
        gone: Vec::new(),
        new: vec![answered(&visit, number, [0.0, 1.0, 0.0], None)],
    };
    rig.database.finish_scoring(&slow[0], &of(1), at(62)).await.unwrap();
    assert_eq!(rig.database.unscored_count().await.unwrap(), 1, "somebody else holds it");
    let right = of(2);
    rig.database.finish_scoring(&quick[0], &right, at(63)).await.unwrap();
    rig.database.finish_scoring(&slow[0], &of(3), at(64)).await.unwrap();
    let filter = SkillFilter::default();
    assert_eq!(rig.database.answers(home.account, &filter, &first(10)).await.unwrap(), right.new);
}
