//! Tasks: list and read.

use crate::domain::base::check::Check;
use crate::domain::base::error::{Error, Result};
use crate::domain::base::ids::{AccountId, TaskId};
use crate::domain::base::paging;
use crate::domain::base::paging::{After, ListPage, PageRequest};
use crate::domain::context::Context;
use crate::domain::model::account::ReadAccess;
use crate::domain::model::task::{MovedTask, Moves, Task, TaskFilter};
use std::collections::HashSet;

/// Reads the first `most` of the account's tasks by due date, and passes each to `take` once. Returns the first
/// task that is left out, if there are more.
///
/// Pages are read one by one, not all at one instant, so a refresh may move tasks in between. A task that moves to
/// a later date is passed on with its earlier date. A task that moves to before the next page is missed this time,
/// and is found when the list is read again.
pub(crate) async fn for_each(
    cx: &Context,
    account: AccountId,
    filter: &TaskFilter,
    most: usize,
    mut take: impl FnMut(Task, Moves) + Send,
) -> Result<Option<Task>> {
    let mut page = PageRequest { after: None, limit: paging::MAX_ROWS };
    let mut seen = HashSet::new();
    loop {
        let rows = cx.store.moved_tasks(account, filter, &page).await?;
        let more = rows.len() > page.limit as usize;
        for MovedTask { task, moves } in rows.into_iter().take(page.limit as usize) {
            page.after = Some(After { key: task.sort_on(), id: task.id.0 });
            if !seen.insert(task.id) {
                continue;
            }
            if seen.len() > most {
                return Ok(Some(task));
            }
            take(task, moves);
        }
        if !more {
            return Ok(None);
        }
    }
}

/// The account's tasks by due date.
pub async fn list(
    cx: &Context,
    account: AccountId,
    filter: &TaskFilter,
    cursor: Option<&str>,
    limit: Option<u32>,
) -> Result<ListPage<Task>> {
    let mut check = Check::new();
    check.range(filter.from, filter.to);
    check.done()?;
    let asked = PageRequest::read("tasks", cursor, limit)?;
    let rows = cx.store.tasks(account, filter, &asked).await?;
    Ok(asked.page("tasks", rows, |row| (row.sort_on(), row.id.0)))
}

/// One task, if the key can read it.
pub async fn get_within_reach(cx: &Context, reach: &ReadAccess, id: TaskId) -> Result<Task> {
    let found = get(cx, reach.account, id).await?;
    if reach.sees(found.system_id) {
        Ok(found)
    } else {
        Err(Error::NotFound { what: "task", id: id.to_string() })
    }
}

/// One task.
pub async fn get(cx: &Context, account: AccountId, id: TaskId) -> Result<Task> {
    cx.store.task(account, id).await?.ok_or_else(|| Error::NotFound { what: "task", id: id.to_string() })
}
