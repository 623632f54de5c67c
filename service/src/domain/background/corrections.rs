//! Corrections after the clock was ahead: nothing that it stored stays for longer than a minute.

use crate::domain::base::error::Result;
use crate::domain::context::Context;
use crate::domain::model::subscription::Carries;
use crate::domain::use_cases::subscriptions::zone_now;
use chrono::{DateTime, TimeDelta, Utc};

/// How often corrections are looked for. Another replica's clock may have been ahead.
const EVERY: TimeDelta = TimeDelta::seconds(30);

/// When corrections were last looked for.
#[derive(Clone, Copy, Debug, Default)]
pub struct LastCorrection(Option<DateTime<Utc>>);

impl LastCorrection {
    /// Corrects if it is time: at the start, when the clock was set back, and every half minute.
    pub async fn run_if_due(&mut self, cx: &Context) -> Result<()> {
        let now = cx.clock.now();
        if self.0.is_some_and(|last| last <= now && now - last < EVERY) {
            return Ok(());
        }
        run(cx).await?;
        self.0 = Some(now);
        Ok(())
    }
}

/// Undoes what a clock that was ahead has stored, and computes the times of digests again.
pub async fn run(cx: &Context) -> Result<()> {
    let now = cx.clock.now();
    let rows = cx.store.undo_future(now).await?;
    let digests = cx.store.digests_set_ahead(now).await?;
    if rows > 0 || !digests.is_empty() {
        let digests = digests.len();
        tracing::warn!(rows, digests, "a clock was ahead; what it stored about the future was corrected");
    }
    for subscription in digests {
        let Carries::Digest(timing) = &subscription.facts.carries else { continue };
        let zone = zone_now(cx, &subscription, timing).await?;
        let next = timing.schedule.next(now, zone);
        cx.store.set_next_digest(&subscription, next, now).await?;
    }
    Ok(())
}
