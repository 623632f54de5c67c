//! Ids and secrets: the one place that asks the machine for randomness.

use uuid::Uuid;

macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident),* $(,)?) => {
        $($(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, serde::Serialize, serde::Deserialize)]
        #[serde(transparent)]
        pub struct $name(pub Uuid);

        impl $name {
            /// A new id, ordered by the time it was made.
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
    /// Id of something that is posted.
    DeliveryId,
    /// Id of a round that is kept.
    RoundId,
}

impl ReminderId {
    /// The id of an entry by its place in its account's feed.
    pub fn of(account: AccountId, number: i64) -> Self {
        Self(Uuid::new_v5(&account.0, &number.to_be_bytes()))
    }
}

impl DeliveryId {
    /// The id under which a subscription carries an entry: computed, so that it is posted under one id however often, and
    /// written down once.
    pub fn of_entry(subscription: SubscriptionId, number: i64) -> Self {
        Self(Uuid::new_v5(&subscription.0, &number.to_be_bytes()))
    }

    /// The id of the digest of an instant.
    pub fn of_digest(subscription: SubscriptionId, micros: i64) -> Self {
        Self(Uuid::new_v5(&Uuid::new_v5(&subscription.0, b"digest"), &micros.to_be_bytes()))
    }
}

impl VisitId {
    /// The id of the visit that a round makes to a system: computed, so that doing a round twice logs it once.
    pub fn of(round: RoundId, system: SystemId) -> Self {
        Self(Uuid::new_v5(&round.0, system.0.as_bytes()))
    }
}

/// A random id for anything that needs one before it is known what it is for.
pub fn seed() -> Uuid {
    Uuid::now_v7()
}

/// A random number from 0 to 1, for spreading what would come at once; 0.5 when the operating system gives none.
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
/// When the operating system gives none.
pub fn random_256() -> Result<[u8; 32], getrandom::Error> {
    let mut bytes = [0_u8; 32];
    getrandom::fill(&mut bytes)?;
    Ok(bytes)
}
