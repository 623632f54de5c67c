//! Skill: how well each duty was predicted.

use crate::domain::base::error::Result;
use crate::domain::base::ids::AccountId;
use crate::domain::base::paging::{ListPage, PageRequest};
use crate::domain::context::Context;
use crate::domain::model::skill::{Answered, DutySkill, SkillFilter};

/// How well each duty was predicted. Duties without answers are left out.
pub async fn by_duty(cx: &Context, account: AccountId, filter: &SkillFilter) -> Result<Vec<DutySkill>> {
    filter.check()?;
    let mut duties = cx.store.skill(account, filter).await?;
    duties.sort_by_key(|skill| skill.duty);
    Ok(duties)
}

/// The answered forecasts themselves, latest visit first.
pub async fn list(
    cx: &Context,
    account: AccountId,
    filter: &SkillFilter,
    cursor: Option<&str>,
    limit: Option<u32>,
) -> Result<ListPage<Answered>> {
    const LIST: &str = "answers";
    filter.check()?;
    let page = PageRequest::read(LIST, cursor, limit)?;
    let rows = cx.store.answers(account, filter, &page).await?;
    Ok(page.page(LIST, rows, |answered| (answered.visited_on, answered.id.0)))
}
