//! Scoring: holds the findings of changed visits against the forecasts they answer, and stores what comes of it.

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

/// Systems that are seen to in one go, so that refreshing is not kept waiting: most have a visit that is new, and one with
/// years of them takes a second.
const BATCH: u32 = 8;

/// How long a claim holds others off.
const HELD: TimeDelta = TimeDelta::minutes(5);

/// When a system whose answers could not be worked out is tried again.
const RETRY: TimeDelta = TimeDelta::minutes(15);

/// Works out what the findings of some systems answered whose visits changed; says for how many. Doing it twice, or on two
/// replicas at once, keeps the same rows.
///
/// On a thread of its own: what is computed would keep requests waiting.
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
            tracing::error!(%system, error = ?error, "the answers of system {system} could not be worked out");
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
