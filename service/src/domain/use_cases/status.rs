//! The status of a system.

use crate::domain::base::blocking;
use crate::domain::base::clock::local_date;
use crate::domain::base::error::{Error, Result};
use crate::domain::base::ids::{AccountId, SystemId};
use crate::domain::context::{Context, gauge_model};
use crate::domain::model::status::{Polled, Status};
use crate::domain::rules::forecast::gauge_model::until_day;
use crate::domain::rules::upkeep::upkeep;

/// Makes the status of a system that was never refreshed.
pub async fn make_status(cx: &Context, account: AccountId, id: SystemId) -> Result<Option<Status>> {
    let Some(input) = cx.store.inputs(&[(account, id)]).await?.pop() else { return Ok(None) };
    let now = cx.clock.now();
    let as_of = local_date(now, input.property.facts.time_zone);
    let gauge_model = until_day(&gauge_model(cx, &input.gauge, now).await?, as_of);
    blocking::blocking(move || Ok(Some(upkeep(&input, &gauge_model, as_of, now)?.status))).await
}

/// The status of a system as of its last refresh; made now if it was never refreshed.
pub async fn get(cx: &Context, account: AccountId, id: SystemId) -> Result<Polled> {
    if let Some(polled) = cx.store.status(account, id).await? {
        return Ok(polled);
    }
    let made = make_status(cx, account, id).await?;
    made.map(|status| Polled { status, ends_at: None })
        .ok_or_else(|| Error::NotFound { what: "system", id: id.to_string() })
}
