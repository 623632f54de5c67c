//! Writes an act into the audit, in the transaction of what it changed.

use crate::domain::base::clock::Clock;
use crate::domain::model::audit::{Act, ThingKind};
use crate::storage::sql::{Sql, sql};
use chrono::{DateTime, Utc};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// What a database acts for. Its clones share whether that is recorded.
#[derive(Clone)]
pub(super) struct Recorder {
    act: Arc<Act>,
    clock: Arc<dyn Clock>,
    recorded: Arc<AtomicBool>,
}

impl Recorder {
    pub(super) fn new(act: Arc<Act>, clock: Arc<dyn Clock>) -> Self {
        Self { act, clock, recorded: Arc::default() }
    }

    /// The statement that records the act; none if an earlier transaction of the act has recorded it, or if there is
    /// nothing to record.
    pub(super) fn entries(&self) -> Option<Sql> {
        if self.recorded.load(Ordering::Acquire) || self.act.deeds.is_empty() {
            return None;
        }
        Some(insert(&self.act, self.clock.now()))
    }

    /// Notes that a transaction has recorded the act.
    pub(super) fn note(&self) {
        self.recorded.store(true, Ordering::Release);
    }
}

/// Inserts the entries of an act.
pub(super) fn insert(act: &Act, at: DateTime<Utc>) -> Sql {
    let mut query = sql(
        "INSERT INTO audit (id, account_id, at, actor, actor_id, operation, thing, thing_id, request_id) ",
    );
    query.bind_rows(&act.deeds, |row, deed| {
        row.on(deed.id).on(act.account).on(at);
        row.on(act.actor.kind().code()).on(act.actor.id()).on(deed.operation);
        let id = deed.thing_id.get();
        row.on(deed.thing.filter(|_| id.is_some()).map(ThingKind::code)).on(id.cloned());
        row.on(act.request_id);
    });
    query
}
