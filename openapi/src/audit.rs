//! The audit: who changed what.

use crate::word::open_words;
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

open_words! {
    /// What kind of actor changed something.
    ///
    /// - `key`: a request with a key.
    /// - `operator`: a command on the service's machine, or the service's own start.
    ActorKind, other: "A kind of actor of a newer service, which this version does not know." {
        /// A request with a key.
        Key "key",
        /// A command on the service's machine, or the service's own start.
        Operator "operator",
    }
}

open_words! {
    /// What kind of thing was changed.
    ThingKind, other: "A kind of thing of a newer service, which this version does not know." {
        /// The account.
        Account "account",
        /// A key.
        Key "key",
        /// The figures of a duty.
        Duty "duty",
        /// A property.
        Property "property",
        /// A rain gauge.
        Gauge "gauge",
        /// A system.
        System "system",
        /// A component.
        Component "component",
        /// A visit.
        Visit "visit",
        /// A kept round.
        Round "round",
        /// A calendar feed.
        Calendar "calendar",
        /// A subscription.
        Subscription "subscription",
        /// A delivery of a subscription.
        Delivery "delivery",
    }
}

/// Who changed something.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct AuditActor {
    /// The kind of actor.
    pub kind: ActorKind,
    /// Id of the key; null for the operator.
    pub id: Option<Uuid>,
    /// Name of the key; null for the operator.
    pub name: Option<String>,
}

/// What was changed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct AuditThing {
    /// The kind of thing.
    pub kind: ThingKind,
    /// Id of the thing, which may no longer be there. For a duty it is its word.
    pub id: String,
}

/// An entry of the audit: who changed what, and when. It never holds what was sent.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct AuditEntry {
    /// Id of the entry.
    pub id: Uuid,
    /// When it was changed, by the service's clock. If the clock was ahead, it is the instant at which that was noticed.
    pub at: DateTime<Utc>,
    /// Who changed it.
    pub actor: AuditActor,
    /// What was done: for a request the `operationId` of this document, such as `create_property`. The operator's are
    /// `create_account`, `create_key` and `restore_backup`. Newer services may have others.
    pub operation: String,
    /// What it was done to; null if it was no single thing.
    pub thing: Option<AuditThing>,
    /// Id of the request, as its answer had it in `X-Request-Id`; null if there was no request.
    pub request_id: Option<Uuid>,
}
