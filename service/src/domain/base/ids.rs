//! Ids and secrets: the only place that asks the machine for randomness.

use uuid::Uuid;

macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident),* $(,)?) => {
        $($(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, serde::Serialize, serde::Deserialize)]
        #[serde(transparent)]
        pub struct $name(pub Uuid);

        impl $name {
            /// A new id. Ids sort by the time at which they were made.
            #[expect(clippy::new_without_default, reason = "a new id is never a default")]
            pub fn new() -> Self {
                Self(Uuid::now_v7())
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                self.0.fmt(f)
            }
        })*
    };
}

ids! {
    /// Id of an account.
    AccountId,
    /// Id of a key.
    KeyId,
    /// Id of a property.
    PropertyId,
    /// Id of a gauge.
    GaugeId,
    /// Id of a system.
    SystemId,
    /// Id of a component.
    ComponentId,
    /// Id of a visit.
    VisitId,
    /// Id of a task.
    TaskId,
    /// Id of a forecast that a finding answered.
    AnswerId,
    /// Id of an entry of the reminders' feed.
    ReminderId,
    /// Id of a calendar feed.
    CalendarId,
    /// Id of a subscription.
    SubscriptionId,
    /// Id of a delivery, which a webhook receives.
    DeliveryId,
    /// Id of a kept round.
    RoundId,
    /// Id of a roof.
    RoofId,
    /// Id of an entry of the audit.
    AuditId,
    /// Id of a claim on work. It tells a claim from a later one on the same work.
    ClaimId,
}

/// The generation of a feed until a backup is restored.
pub const FIRST_GENERATION: i64 = 1;

/// The place of an entry in a feed, as bytes. In the first generation it is the number alone.
fn place(generation: i64, number: i64) -> Vec<u8> {
    let number = number.to_be_bytes();
    if generation == FIRST_GENERATION { number.to_vec() } else { [generation.to_be_bytes(), number].concat() }
}

impl ReminderId {
    /// The id of an entry, computed from its place in its account's feed. After a backup was restored, other entries
    /// get the same numbers. So the feed's generation is part of the place.
    pub fn of(account: AccountId, generation: i64, number: i64) -> Self {
        Self(Uuid::new_v5(&account.0, &place(generation, number)))
    }
}

impl DeliveryId {
    /// The id under which a subscription sends an entry. It is computed, so that every attempt uses the same id and
    /// the delivery is stored once.
    pub fn of_entry(subscription: SubscriptionId, generation: i64, number: i64) -> Self {
        Self(Uuid::new_v5(&subscription.0, &place(generation, number)))
    }

    /// The id of the digest that was due at an instant (`due`), which was computed at another (`set`). Both are
    /// microseconds since 1970. If a clock that was ahead has made the digest too early, its time is computed again,
    /// and the digest of that time has another id.
    pub fn of_digest(subscription: SubscriptionId, due: i64, set: i64) -> Self {
        let digests = Uuid::new_v5(&subscription.0, b"digest");
        Self(Uuid::new_v5(&digests, &[due.to_be_bytes(), set.to_be_bytes()].concat()))
    }
}

impl RoofId {
    /// The id of a system's roof. It is computed, because a system is stored with one roof.
    pub fn of(system: SystemId) -> Self {
        Self(Uuid::new_v5(&system.0, b"roof"))
    }
}

impl VisitId {
    /// The id of the visit that a round makes to a system. It is computed, so that doing a round twice logs the
    /// visit once.
    pub fn of(round: RoundId, system: SystemId) -> Self {
        Self(Uuid::new_v5(&round.0, system.0.as_bytes()))
    }
}

/// A random id, for when an id is needed before its kind is known.
pub fn seed() -> Uuid {
    Uuid::now_v7()
}

/// A random number from 0 to 1, for spreading work that would start all at once. It is 0.5 if the operating system
/// gives no randomness.
pub fn spread() -> f64 {
    let mut bytes = [0_u8; 4];
    match getrandom::fill(&mut bytes) {
        Ok(()) => f64::from(u32::from_le_bytes(bytes)) / f64::from(u32::MAX),
        Err(_) => 0.5,
    }
}

/// 256 random bits.
///
/// # Errors
/// If the operating system gives none.
pub fn random_256() -> Result<[u8; 32], getrandom::Error> {
    let mut bytes = [0_u8; 32];
    getrandom::fill(&mut bytes)?;
    Ok(bytes)
}
