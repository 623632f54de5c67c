//! Reminders.

use crate::domain::base::error::Error;
use crate::domain::base::ids::{PropertyId, SystemId};
use crate::domain::model::reminder::{ReminderFilter, ReminderKind};
use crate::domain::use_cases::{accounts, reminders};
use crate::http::access::{Reader, key_of};
use crate::http::acting::Cx;
use crate::http::conditional::hashed;
use crate::http::limits;
use crate::http::problem::ApiError;
use crate::http::query::{Query, entries};
use crate::http::wire::reminder::feed;
use actix_web::{HttpRequest, HttpResponse};
use eavesward_contract as wire;
use serde::Deserialize;
use uuid::Uuid;

/// What of the feed to read.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct RemindersQuery {
    /// A `cursor` as it was given before; `now` for the end of the feed; from the oldest entry that is kept when absent.
    pub after: Option<String>,
    /// Seconds to wait for an entry when there is none, 0 to 30; not at all when absent.
    pub wait: Option<u32>,
    /// Entries at this property.
    pub property_id: Option<Uuid>,
    /// Entries of this system.
    pub system_id: Option<Uuid>,
    /// Entries that tell of one of these, set apart by commas: `coming`, `due`, `late`, `moved`, `done`, `withdrawn`.
    pub kind: Option<String>,
    /// The most entries to give, 1 to 500; 100 when absent.
    pub limit: Option<u32>,
}

/// Pull reminders
///
/// An append-only feed of what became of tasks, oldest first. Keep `cursor` and pass it as `after` the next time: no
/// entry is skipped and none comes twice. Entries are kept for 90 days unless the operator set otherwise. The answer is
/// `410` if some after the cursor are gone, or if the service was restored from a backup since; it says how to start again.
///
/// With `wait` the answer comes when there is an entry, or when the time is over. It is `401` if the key is revoked or
/// expires meanwhile: at once in the process that revokes it, and within 5 seconds in other replicas.
#[utoipa::path(get, path = "/v1/reminders", tag = "reminders", operation_id = "pull_reminders", params(RemindersQuery),
    responses((status = 200, description = "The next entries of the feed", body = wire::ReminderFeed),
        (status = 410, description = "Entries after the cursor are no longer kept", body = wire::Problem,
            content_type = "application/problem+json")))]
pub async fn pull(
    req: HttpRequest,
    caller: Reader,
    cx: Cx,
    query: Query<RemindersQuery>,
) -> Result<HttpResponse, ApiError> {
    let filter = ReminderFilter {
        property_id: query.property_id.map(PropertyId),
        system_id: query.system_id.map(SystemId),
        kinds: entries(
            "kind",
            query.kind.as_deref(),
            "one of coming, due, late, moved, done, withdrawn",
            ReminderKind::parse,
        )?,
    };
    let after = query.after.as_deref();
    reminders::check_wait(query.wait.unwrap_or(0))?;
    let mut pulled = reminders::pull(&cx, caller.0, &filter, after, query.limit, None).await?;
    if pulled.entries.is_empty()
        && query.wait.is_some()
        && let Some(_waiting) = limits::wait(&req, caller.0)?
    {
        let key = key_of(&req)?;
        pulled = tokio::select! {
            biased;
            () = accounts::until_ended(&cx, &key) => return Err(Error::KeyEnded.into()),
            pulled = reminders::pull(&cx, caller.0, &filter, after, query.limit, query.wait) => pulled?,
        };
    }
    hashed(&req, &feed(caller.0, pulled))
}
