//! The audit: list who changed what.

use crate::domain::base::check::Check;
use crate::domain::base::error::Result;
use crate::domain::base::ids::AccountId;
use crate::domain::base::paging::{ListPage, PageRequest};
use crate::domain::context::Context;
use crate::domain::model::audit::{AuditEntry, AuditFilter};
use uuid::Uuid;

/// The most characters of a thing's id: longer than any.
pub const THING_ID_LENGTH: usize = 100;

/// The list's name in a cursor.
const LIST: &str = "audit";

/// The account's entries, newest first.
///
/// # Errors
/// If a filter or the cursor is not right.
pub async fn list(
    cx: &Context,
    account: AccountId,
    filter: AuditFilter,
    cursor: Option<&str>,
    limit: Option<u32>,
) -> Result<ListPage<AuditEntry>> {
    let mut check = Check::new();
    if let Some(id) = &filter.thing_id {
        check.text("thing_id", id, THING_ID_LENGTH);
    }
    if let (Some(from), Some(until)) = (filter.from, filter.until)
        && from > until
    {
        check.refuse("until", format!("{until} is before `from`, which is {from}"));
    }
    check.done()?;
    let asked = PageRequest::read(LIST, cursor, limit)?;
    // Entries have UUIDs as they are usually written.
    let thing_id = filter.thing_id.map(|id| Uuid::parse_str(&id).map_or(id, |id| id.to_string()));
    let rows = cx.store.audit(account, &AuditFilter { thing_id, ..filter }, &asked).await?;
    Ok(asked.page(LIST, rows, |entry| (entry.at, entry.id.0)))
}
