//! Skill: how well past forecasts matched what was found.

use crate::{AnswerQuery, Client, Error, Items, SkillQuery, requests};
use eavesward_contract::{AnsweredForecast, DutySkill, Page};

/// How well past forecasts matched what was found, and so how far to trust the dates.
#[derive(Clone, Copy, Debug)]
pub struct Skill<'a>(pub(super) &'a Client);

impl Skill<'_> {
    /// Every duty that has findings to compare with a forecast.
    pub async fn by_duty(&self, query: &SkillQuery) -> Result<Vec<DutySkill>, Error> {
        let page: Page<DutySkill> = self.0.call(requests::skill(query)).await?;
        Ok(page.items)
    }

    /// Forecasts with the findings that answered them, as a stream, latest visit first.
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
