//! Tasks, visits and the skill of forecasts.

use super::list_methods;
use crate::{
    AnswerQuery, Client, Error, Follow, Items, ReminderQuery, SkillQuery, TaskQuery, VisitQuery, requests,
};
use eavesward_contract::{
    AnsweredForecast, DutySkill, Page, ReminderFeed, Task, Visit, VisitRequest, VisitRevision,
    WithdrawRequest,
};
use uuid::Uuid;

/// What falls due, soonest first; tasks without a date come last.
#[derive(Clone, Copy, Debug)]
pub struct Tasks<'a>(pub(super) &'a Client);

impl Tasks<'_> {
    list_methods!(Task, TaskQuery, requests::list_tasks);

    /// One task.
    pub async fn get(&self, id: Uuid) -> Result<Task, Error> {
        self.0.call(requests::task(id)).await
    }
}

/// The reminders' feed: what became of tasks.
#[derive(Clone, Copy, Debug)]
pub struct Reminders<'a>(pub(super) &'a Client);

impl Reminders<'_> {
    /// A stretch of the feed, oldest entry first. Keep its `cursor` and give it as `after` the next time.
    pub async fn pull(&self, query: &ReminderQuery) -> Result<ReminderFeed, Error> {
        self.0.call(requests::pull_reminders(query)).await
    }

    /// Entries as they come, without an end, from the query's cursor on.
    pub fn follow(&self, query: &ReminderQuery) -> Follow {
        Follow::new(self.0.clone(), query.clone())
    }
}

/// What was done and found.
#[derive(Clone, Copy, Debug)]
pub struct Visits<'a>(pub(super) &'a Client);

impl Visits<'_> {
    list_methods!(Visit, VisitQuery, requests::list_visits);

    /// Logs a visit: tallies of what was done begin anew, and the marks learn from what was found.
    pub async fn log(&self, visit: &VisitRequest) -> Result<Visit, Error> {
        self.0.call(requests::log_visit(visit)?).await
    }

    /// One visit.
    pub async fn get(&self, id: Uuid) -> Result<Visit, Error> {
        self.0.call(requests::visit(id)).await
    }

    /// Corrects a visit, if it still has this version. It is kept as it stood as a revision.
    pub async fn correct(&self, id: Uuid, version: i64, visit: &VisitRequest) -> Result<Visit, Error> {
        self.0.call(requests::correct_visit(id, version, visit)?).await
    }

    /// Withdraws a visit that did not happen as logged. It is kept, and counts for nothing.
    pub async fn withdraw(&self, id: Uuid, withdraw: &WithdrawRequest) -> Result<Visit, Error> {
        self.0.call(requests::withdraw_visit(id, withdraw)?).await
    }

    /// The visit as it stood before each correction or withdrawal, as a stream, oldest first.
    pub fn revisions(&self, id: Uuid) -> Items<VisitRevision> {
        self.0.follow(None, move |cursor| requests::list_visit_revisions(id, cursor.as_deref()))
    }
}

/// How well past forecasts met what was found: how far to trust the dates.
#[derive(Clone, Copy, Debug)]
pub struct Skill<'a>(pub(super) &'a Client);

impl Skill<'_> {
    /// Every duty with findings that answered a forecast.
    pub async fn by_duty(&self, query: &SkillQuery) -> Result<Vec<DutySkill>, Error> {
        let page: Page<DutySkill> = self.0.call(requests::skill(query)).await?;
        Ok(page.items)
    }

    /// The answered forecasts that the query asks for as a stream, latest visit first.
    pub fn answers(&self, query: &AnswerQuery) -> Items<AnsweredForecast> {
        let query = query.clone();
        self.0.follow(query.cursor.clone(), move |cursor| {
            requests::list_answers(&AnswerQuery { cursor, ..query.clone() })
        })
    }

    /// One page of [`Self::answers`].
    pub async fn answers_page(&self, query: &AnswerQuery) -> Result<Page<AnsweredForecast>, Error> {
        self.0.call(requests::list_answers(query)).await
    }
}
