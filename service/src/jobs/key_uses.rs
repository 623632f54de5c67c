//! Writes about once a minute when keys were last used.

use super::step;
use crate::domain::background::key_uses;
use crate::domain::context::Context;
use std::time::Duration;
use tokio::sync::watch;

/// How often it is written. A key that is always in use is written so often.
const EVERY: Duration = Duration::from_mins(1);

/// Runs until `stop` says so. Requests may still come then, so the caller writes once more after the last one.
pub async fn run(cx: Context, mut stop: watch::Receiver<bool>) {
    while !*stop.borrow() {
        tokio::select! {
            () = tokio::time::sleep(EVERY) => {}
            _ = stop.changed() => return,
        }
        write(&cx).await;
    }
}

/// Writes what was gathered.
pub async fn write(cx: &Context) {
    if let Err(error) = step(key_uses::write(cx)).await {
        tracing::warn!(error = ?error, "the last uses of keys could not be written; trying again in a minute");
    }
}
