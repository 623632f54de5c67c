//! Scoring: compares the findings of changed visits with the forecasts that they answer, and stores the result.

use crate::domain::background::lease::{LEASE, Lease, RETRY_SOON, together, wait_after};
use crate::domain::base::blocking::{caught, joined};
use crate::domain::base::clock::local_date;
use crate::domain::base::error::{Error, Result};
use crate::domain::base::ids::{GaugeId, SystemId};
use crate::domain::base::trace_context::SPANS;
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
use tracing::{Instrument as _, Span};

/// Systems that are scored in one call, so that refreshing does not wait long. Most have one new visit; a system
/// with years of visits takes a second.
const BATCH: u32 = 8;

/// Scores some systems whose visits changed: compares each finding with the forecast that it answers. Returns the
/// number of systems. Doing it twice, or on two replicas at once, keeps the same rows.
///
/// It runs on a thread of its own, because computing would delay requests.
pub async fn run(cx: &Context) -> Result<usize> {
    let (cx, runtime) = (cx.clone(), Handle::current());
    joined(tokio::task::spawn_blocking(move || runtime.block_on(leased(&cx))).await)
}

async fn leased(cx: &Context) -> Result<usize> {
    let now = cx.clock.now();
    let claims = cx.store.claim_unscored(now, now + LEASE, BATCH).await?;
    let lease = Lease::on(cx, claims.clone());
    let alone = async |claim: &Unscored, error: Error| {
        let (system, now, wait) = (claim.system_id, cx.clock.now(), wait_after(&error));
        tracing::error!(%system, error = ?error, "the findings of system {system} could not be scored");
        Ok(cx.store.release_unscored(std::slice::from_ref(claim), now, now + wait).await?)
    };
    let span = match claims.len() {
        0 => Span::none(),
        systems => tracing::info_span!(target: SPANS, "score findings", eavesward.systems = systems as i64),
    };
    let scored = together(&claims, async |some| batch(cx, some).await, alone).instrument(span).await;
    match scored {
        Ok(()) if *cx.closing.borrow() => lease.give_back(TimeDelta::zero()).await,
        Ok(()) => lease.settle(),
        Err(error) => {
            lease.give_back(RETRY_SOON).await;
            return Err(error);
        }
    }
    Ok(claims.len())
}

/// Scores some systems. When the service shuts down, it leaves the rest. Those that are scored are not on the list
/// any more, so a repetition passes over them.
async fn batch(cx: &Context, claims: &[Unscored]) -> Result<()> {
    let now = cx.clock.now();
    let keys: Vec<_> = claims.iter().map(|claim| (claim.account_id, claim.system_id)).collect();
    let inputs = cx.store.inputs(&keys).await?;
    let inputs: HashMap<SystemId, &Inputs> = inputs.iter().map(|input| (input.system.id, input)).collect();
    let mut gauges: HashMap<GaugeId, Arc<GaugeModel>> = HashMap::new();
    for claim in claims {
        if *cx.closing.borrow() {
            break;
        }
        let Some(input) = inputs.get(&claim.system_id) else { continue };
        let gauge = match gauges.entry(input.gauge.id) {
            Entry::Occupied(known) => Arc::clone(known.get()),
            Entry::Vacant(gap) => Arc::clone(gap.insert(context::gauge_model(cx, &input.gauge, now).await?)),
        };
        score(cx, claim, input, &gauge, now).await?;
    }
    cx.gauges.used(&gauges, now);
    Ok(())
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
