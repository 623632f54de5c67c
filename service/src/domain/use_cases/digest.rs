//! Reads the tasks of a digest.

use crate::domain::base::check::Check;
use crate::domain::base::error::Result;
use crate::domain::base::ids::AccountId;
use crate::domain::context::Context;
use crate::domain::model::task::TaskFilter;
use crate::domain::rules::digest::make::{Digest, DigestBuilder, DigestScope, MOST_TASKS};
use crate::domain::use_cases::tasks;

/// The digest of an account's tasks.
///
/// # Errors
/// If the days are out of order, or the storage fails.
pub async fn gather(cx: &Context, account: AccountId, asked: DigestScope) -> Result<Digest> {
    let mut check = Check::new();
    check.range(asked.from, asked.to);
    check.done()?;
    let DigestScope { property_id, system_id, from, to } = asked;
    let filter = TaskFilter { property_id, system_id, from, to, ..TaskFilter::default() };
    let mut maker = DigestBuilder::default();
    let next = tasks::for_each(cx, account, &filter, MOST_TASKS, |task, _| maker.add(task)).await?;
    let all = match &next {
        Some(_) => Some(cx.store.count_tasks(account, &filter).await?),
        None => None,
    };
    Ok(maker.done(asked, u64::from(next.is_some()), all.as_ref()))
}
