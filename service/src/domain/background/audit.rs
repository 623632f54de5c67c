//! Removes entries of the audit that are older than they are kept.

use crate::domain::base::error::Result;
use crate::domain::context::Context;
use chrono::TimeDelta;

/// Entries that one transaction removes. Judgement: it takes some milliseconds, so that no writer waits long.
const BATCH: u32 = 1000;

/// One pass removes entries of so many days at most, the oldest ones. A clock that is far ahead for a while can then not
/// remove everything. Passes run daily, so this keeps up. Judgement.
const MOST_AT_ONCE: TimeDelta = TimeDelta::days(31);

/// Removes old entries. Returns how many there were.
pub async fn tidy(cx: &Context) -> Result<u64> {
    let Some(oldest) = cx.store.oldest_audit().await? else { return Ok(0) };
    let before = (cx.clock.now() - cx.retention.audit).min(oldest + MOST_AT_ONCE);
    let mut all = 0;
    loop {
        let removed = cx.store.forget_audit(before, BATCH).await?;
        all += removed;
        if removed < u64::from(BATCH) {
            return Ok(all);
        }
    }
}
