//! The audit: who changed what in an account.

use crate::domain::base::ids::{AccountId, AuditId, KeyId};
use crate::domain::base::words::words;
use chrono::{DateTime, TimeDelta, Utc};
use std::sync::OnceLock;
use uuid::Uuid;

words! {
    /// What kind of actor changed something.
    ActorKind {
        /// A request with a key.
        Key "key",
        /// A command on the service's machine, or the service's own start.
        Operator "operator",
    }
}

words! {
    /// What kind of thing was changed.
    ThingKind {
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

/// The least time for which entries are kept. Judgement: a review looks at the last quarter.
pub const LEAST_KEPT: TimeDelta = TimeDelta::days(90);

/// Who changes something.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Actor {
    /// A key.
    Key(KeyId),
    /// The operator.
    Operator,
}

impl Actor {
    /// Its kind.
    pub const fn kind(self) -> ActorKind {
        match self {
            Self::Key(_) => ActorKind::Key,
            Self::Operator => ActorKind::Operator,
        }
    }

    /// Its id, if it has one.
    pub const fn id(self) -> Option<Uuid> {
        match self {
            Self::Key(id) => Some(id.0),
            Self::Operator => None,
        }
    }
}

/// One change: an operation on a thing.
#[derive(Debug)]
pub struct Deed {
    /// Id of its entry.
    pub id: AuditId,
    /// The operation's word, as the API's document names it.
    pub operation: &'static str,
    /// What kind of thing it changes; none if it concerns the account's data as a whole.
    pub thing: Option<ThingKind>,
    /// The thing's id. It is set when it is known: that of a new thing only when it is made.
    pub thing_id: OnceLock<String>,
}

impl Deed {
    /// A deed on a thing whose id is not known yet.
    pub fn new(operation: &'static str, thing: ThingKind) -> Self {
        Self { id: AuditId::new(), operation, thing: Some(thing), thing_id: OnceLock::new() }
    }

    /// A deed on a thing.
    pub fn on(operation: &'static str, thing: ThingKind, id: &impl ToString) -> Self {
        Self { thing_id: OnceLock::from(id.to_string()), ..Self::new(operation, thing) }
    }
}

/// What is being done to an account, and by which actor. A store that acts for it records it together with what it changes.
#[derive(Debug)]
pub struct Act {
    /// The account.
    pub account: AccountId,
    /// Who.
    pub actor: Actor,
    /// What; an entry each.
    pub deeds: Vec<Deed>,
    /// The request, as the log names it.
    pub request_id: Option<Uuid>,
}

impl Act {
    /// An act of the operator.
    pub fn of_operator(account: AccountId, deeds: Vec<Deed>) -> Self {
        Self { account, actor: Actor::Operator, deeds, request_id: None }
    }

    /// Says which id the new thing gets. What is known already stays.
    pub fn makes(&self, id: Uuid) {
        for deed in &self.deeds {
            deed.thing_id.get_or_init(|| id.to_string());
        }
    }
}

/// Who changed something, as it is stored. A newer version may have written a word that this one does not know.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RecordedActor {
    /// The word of its kind.
    pub kind: String,
    /// Its id, if it has one.
    pub id: Option<Uuid>,
    /// The name of the key, if it is one.
    pub name: Option<String>,
}

/// What was changed, as it is stored.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RecordedThing {
    /// The word of its kind.
    pub kind: String,
    /// Its id; a duty has its word.
    pub id: String,
}

/// An entry of the audit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AuditEntry {
    /// Id.
    pub id: AuditId,
    /// The account.
    pub account_id: AccountId,
    /// When.
    pub at: DateTime<Utc>,
    /// Who.
    pub actor: RecordedActor,
    /// The operation's word.
    pub operation: String,
    /// On what.
    pub thing: Option<RecordedThing>,
    /// In which request.
    pub request_id: Option<Uuid>,
}

/// Which entries to list.
#[derive(Clone, Debug, Default)]
pub struct AuditFilter {
    /// Only what this key did.
    pub key: Option<KeyId>,
    /// Only what was done to the thing with this id.
    pub thing_id: Option<String>,
    /// Not before this instant.
    pub from: Option<DateTime<Utc>>,
    /// Before this instant.
    pub until: Option<DateTime<Utc>>,
}
