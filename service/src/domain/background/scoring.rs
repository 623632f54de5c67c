//! Scoring: compares the findings of changed visits with the forecasts that they answer, and stores the result.

use crate::domain::base::blocking::caught;
use crate::domain::base::clock::local_date;
use crate::domain::base::error::Result;
use crate::domain::base::ids::{GaugeId, SystemId};
use crate::domain::context;
use crate::domain::context::Context;
use crate::domain::model::inputs::Inputs;
use crate::domain::ports::store::skill::Unscored;
use crate::domain::rules::forecast::gauge_model::GaugeModel;
use crate::domain::rules::forecast::{answered, gauge_model};
use chrono::{DateTime, TimeDelta, Utc};
use std::collections::HashMap;
use std::collections::hash_map::Entry;
use std::sync::Arc;
use tokio::runtime::Handle;

/// Systems that are scored in one call, so that refreshing does not wait long. Most have one new visit; a system
/// with years of visits takes a second.
const BATCH: u32 = 8;

/// How long a claim keeps other workers away.
const HELD: TimeDelta = TimeDelta::minutes(5);

/// When a system whose scoring failed is tried again.
const RETRY: TimeDelta = TimeDelta::minutes(15);

/// Scores some systems whose visits changed: compares each finding with the forecast that it answers. Returns the
/// number of systems. Doing it twice, or on two replicas at once, keeps the same rows.
///
/// It runs on a thread of its own, because computing would delay requests.
pub async fn run(cx: &Context) -> Result<usize> {
    let (cx, runtime) = (cx.clone(), Handle::current());
    tokio::task::spawn_blocking(move || runtime.block_on(batch(&cx)))
        .await
        .unwrap_or_else(|failed| std::panic::resume_unwind(failed.into_panic()))
}

async fn batch(cx: &Context) -> Result<usize> {
    let now = cx.clock.now();
    let claims = cx.store.claim_unscored(now, now + HELD, BATCH).await?;
    let keys: Vec<_> = claims.iter().map(|claim| (claim.account_id, claim.system_id)).collect();
    let inputs = cx.store.inputs(&keys).await?;
    let inputs: HashMap<SystemId, &Inputs> = inputs.iter().map(|input| (input.system.id, input)).collect();
    let mut gauges: HashMap<GaugeId, Arc<GaugeModel>> = HashMap::new();
    for claim in &claims {
        let Some(input) = inputs.get(&claim.system_id) else { continue };
        let gauge = match gauges.entry(input.gauge.id) {
            Entry::Occupied(known) => Arc::clone(known.get()),
            Entry::Vacant(gap) => Arc::clone(gap.insert(context::gauge_model(cx, &input.gauge, now).await?)),
        };
        if let Err(error) = score(cx, claim, input, &gauge, now).await {
            let system = claim.system_id;
            tracing::error!(%system, error = ?error, "the findings of system {system} could not be scored");
            cx.store.release_unscored(claim, now + RETRY).await?;
        }
    }
    cx.gauges.used(&gauges, now);
    Ok(claims.len())
}

async fn score(
    cx: &Context,
    claim: &Unscored,
    input: &Inputs,
    gauge: &Arc<GaugeModel>,
    now: DateTime<Utc>,
) -> Result<()> {
    let known = cx.store.histories(claim.system_id).await?;
    let gauge = gauge_model::until_day(gauge, local_date(now, input.property.facts.time_zone));
    let answers = caught(|| answered::answers(input, &gauge, &known))?;
    Ok(cx.store.finish_scoring(claim, &answers, now).await?)
}
