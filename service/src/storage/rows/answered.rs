use super::RowRef;
use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AnswerId, ComponentId, SystemId, VisitId};
use crate::domain::model::duty::Duty;
use crate::domain::model::forecast::Window;
use crate::domain::model::skill::{Answered, Fullness, LooksHash, PositionRange, Shares};
use crate::domain::model::visit::Finding;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use std::borrow::Cow;
use uuid::Uuid;

/// The columns of an [`AnsweredRow`].
pub(in crate::storage) const ANSWERED_COLUMNS: &str =
    "id, system_id, duty, visited_on, history, below, inside, above, answer";

#[derive(sqlx::FromRow)]
pub(in crate::storage) struct AnsweredRow {
    id: Uuid,
    system_id: Uuid,
    duty: String,
    visited_on: i64,
    history: Vec<u8>,
    below: f64,
    inside: f64,
    above: f64,
    answer: String,
}

/// The part of an answer that is stored as JSON.
#[derive(Serialize, Deserialize)]
pub(in crate::storage) struct StoredAnswer<'a> {
    visit_id: VisitId,
    component_id: ComponentId,
    component_name: Cow<'a, str>,
    made_on: NaiveDate,
    window: Window,
    expected: Fullness,
    finding: Finding,
    found: Option<f64>,
    /// From and to.
    position: (f64, f64),
}

impl<'a> StoredAnswer<'a> {
    /// Takes the part of an answer that has no column of its own.
    pub(in crate::storage) fn of(answered: &'a Answered) -> Self {
        Self {
            visit_id: answered.visit_id,
            component_id: answered.component_id,
            component_name: Cow::Borrowed(&answered.component_name),
            made_on: answered.made_on,
            window: answered.window,
            expected: answered.expected,
            finding: answered.finding,
            found: answered.found,
            position: (answered.position.from, answered.position.to),
        }
    }
}

impl AnsweredRow {
    pub(in crate::storage) fn read(self) -> Stored<Answered> {
        let place = RowRef { table: "answered", id: self.id };
        let kept: StoredAnswer<'_> = place.json("answer", &self.answer)?;
        Ok(Answered {
            id: AnswerId(self.id),
            visit_id: kept.visit_id,
            system_id: SystemId(self.system_id),
            component_id: kept.component_id,
            component_name: kept.component_name.into_owned(),
            duty: place.word("duty", Duty::parse(&self.duty))?,
            made_on: kept.made_on,
            visited_on: place.date("visited_on", self.visited_on)?,
            window: kept.window,
            expected: kept.expected,
            finding: kept.finding,
            found: kept.found,
            position: PositionRange { from: kept.position.0, to: kept.position.1 },
            shares: Shares { below: self.below, inside: self.inside, above: self.above },
            history: LooksHash(place.word("history", self.history.try_into().ok())?),
        })
    }
}
