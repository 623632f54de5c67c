//! Writes when keys were last used.

use crate::domain::base::error::Result;
use crate::domain::context::Context;

/// Writes what was gathered since the last time. Returns how many keys it changed. After a failure the next call writes
/// the same again.
pub async fn write(cx: &Context) -> Result<u64> {
    let used = cx.key_uses.take();
    if used.is_empty() {
        return Ok(0);
    }
    match cx.store.note_key_uses(&used, cx.clock.now()).await {
        Ok(rows) => Ok(rows),
        Err(error) => {
            cx.key_uses.give_back(used);
            Err(error.into())
        }
    }
}
