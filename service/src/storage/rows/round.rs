use super::RowRef;
use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, ComponentId, PropertyId, RoundId, SystemId, TaskId, VisitId};
use crate::domain::model::duty::Duty;
use crate::domain::model::hazard;
use crate::domain::model::part::Part;
use crate::domain::model::round::{DoneOn, Round, RoundTask, TaskOutcome};
use crate::domain::ports::store::rounds::PlannedTask;
use uuid::Uuid;

/// The columns of a [`RoundRow`].
pub(in crate::storage) const ROUND_COLUMNS: &str =
    "id, account_id, planned_on, note, done_on, done_at, version, created_at, updated_at";

#[derive(sqlx::FromRow)]
pub(in crate::storage) struct RoundRow {
    pub(in crate::storage) id: Uuid,
    account_id: Uuid,
    planned_on: i64,
    note: Option<String>,
    done_on: Option<i64>,
    done_at: Option<i64>,
    pub(in crate::storage) version: i64,
    created_at: i64,
    updated_at: i64,
}

impl RoundRow {
    /// Whether it was done.
    pub(in crate::storage) fn is_done(&self) -> bool {
        self.done_at.is_some()
    }

    pub(in crate::storage) fn read(self, tasks: Vec<RoundTask>) -> Stored<Round> {
        let place = RowRef { table: "rounds", id: self.id };
        let done = place.date_if("done_on", self.done_on)?.zip(place.instant_if("done_at", self.done_at)?);
        let round = Round {
            id: RoundId(self.id),
            account_id: AccountId(self.account_id),
            on: place.date("planned_on", self.planned_on)?,
            note: self.note,
            tasks,
            done: done.map(|(on, at)| DoneOn { on, at }),
            version: self.version,
            created_at: place.instant("created_at", self.created_at)?,
            updated_at: place.instant("updated_at", self.updated_at)?,
        };
        Ok(round.in_order())
    }
}

#[derive(sqlx::FromRow)]
pub(in crate::storage) struct PlannedTaskRow {
    task_id: Uuid,
    round_id: Uuid,
    planned_on: i64,
    time_zone: String,
}

impl PlannedTaskRow {
    pub(in crate::storage) fn read(self) -> Stored<PlannedTask> {
        let place = RowRef { table: "rounds", id: self.round_id };
        Ok(PlannedTask {
            task_id: TaskId(self.task_id),
            round_id: RoundId(self.round_id),
            on: place.date("planned_on", self.planned_on)?,
            zone: place.word("time_zone", self.time_zone.parse().ok())?,
        })
    }
}

#[derive(sqlx::FromRow)]
pub(in crate::storage) struct RoundTaskRow {
    pub(in crate::storage) round_id: Uuid,
    task_id: Uuid,
    property_id: Uuid,
    system_id: Uuid,
    component_id: Uuid,
    duty: String,
    due_on: Option<i64>,
    is_open: i64,
    visit_id: Option<Uuid>,
    skipped_because: Option<String>,
    property_name: String,
    system_name: String,
    component_name: String,
    part: String,
}

impl RoundTaskRow {
    pub(in crate::storage) fn read(self) -> Stored<RoundTask> {
        let place = RowRef { table: "round_tasks", id: self.round_id };
        let part: Part = RowRef { table: "components", id: self.component_id }.json("part", &self.part)?;
        let duty = place.word("duty", Duty::parse(&self.duty))?;
        let outcome = match self.visit_id {
            _ if self.is_open != 0 => None,
            Some(visit) => Some(TaskOutcome::Visited(VisitId(visit))),
            None => Some(TaskOutcome::Skipped(self.skipped_because)),
        };
        Ok(RoundTask {
            task_id: TaskId(self.task_id),
            property_id: PropertyId(self.property_id),
            system_id: SystemId(self.system_id),
            component_id: ComponentId(self.component_id),
            property_name: self.property_name,
            system_name: self.system_name,
            component_name: self.component_name,
            kind: part.kind(),
            duty,
            due_on: place.date_if("due_on", self.due_on)?,
            hazards: hazard::hazards(&part, duty),
            outcome,
        })
    }
}
