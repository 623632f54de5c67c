//! Rounds, their tasks, and the visits that they made.

use super::super::make::{Home, at, day, new_visit, round_task};
use super::{Case, Form, Rig};
use eavesward_service::domain::base::error::Stored;
use eavesward_service::domain::base::ids::{RoundId, VisitId};
use eavesward_service::domain::model::duty;
use eavesward_service::domain::model::round::{DoneOn, Round, TaskOutcome};
use eavesward_service::domain::model::visit::Visit;
use eavesward_service::domain::ports::store::outcomes::{Finished, Inserted};
use eavesward_service::domain::ports::store::rounds::RoundStore as _;
use uuid::Uuid;

pub(super) struct Rounds;

/// A round of all duties of a home.
fn planned(home: &Home) -> Round {
    let each = home.components.iter().enumerate();
    let tasks = each.flat_map(|(index, component)| {
        duty::of(&component.facts.part).iter().map(move |duty| round_task(home, index, *duty))
    });
    let round = Round {
        id: RoundId(Uuid::new_v5(&home.account.0, b"round")),
        account_id: home.account,
        on: day(4),
        note: Some("ladder – the long one".to_owned()),
        tasks: tasks.collect(),
        done: None,
        version: 1,
        created_at: at(30),
        updated_at: at(31),
    };
    round.in_order()
}

/// The same done: the first task visited, the second left out with a reason, the others without.
fn done(home: &Home) -> Round {
    let mut round = planned(home);
    round.done = Some(DoneOn { on: day(5), at: at(60) });
    (round.version, round.updated_at) = (2, at(60));
    for (number, task) in round.tasks.iter_mut().enumerate() {
        task.outcome = Some(match number {
            0 => TaskOutcome::Visited(VisitId::of(round.id, home.system.id)),
            1 => TaskOutcome::Skipped(Some("the shed was locked".to_owned())),
            _ => TaskOutcome::Skipped(None),
        });
    }
    round
}

impl Form for Rounds {
    const FILE: &'static str = "rounds";
    type Value = Round;

    fn cases() -> Vec<Case<Round>> {
        let mut bare = Case::of("planned, without a note", planned);
        bare.value.note = None;
        vec![Case::of("planned", planned), bare, Case::of("done", done)]
    }

    fn rows(case: &Case<Round>) -> Vec<(&'static str, Uuid)> {
        vec![("rounds", case.value.id.0), ("round_tasks", case.value.id.0), ("visits", case.home.system.id.0)]
    }

    async fn write(rig: &Rig, case: &Case<Round>) {
        let round = &case.value;
        let first = Round { note: round.note.clone(), ..planned(&case.home) };
        assert_eq!(rig.database.insert_round(&first).await.unwrap(), Inserted::Done);
        if round.done.is_some() {
            let id = VisitId::of(round.id, case.home.system.id);
            let visit = Visit { id, ..new_visit(&case.home, day(5)) };
            assert_eq!(rig.database.finish_round(round, &[visit]).await.unwrap(), Finished::Done);
        }
    }

    async fn read(rig: &Rig, case: &Case<Round>) -> Stored<Round> {
        let found = rig.database.round(case.home.account, case.value.id).await?;
        Ok(found.expect("a round of this id"))
    }
}
