//! Answered forecasts in the store.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, AnswerId, SystemId};
use crate::domain::base::paging::PageRequest;
use crate::domain::model::skill::{AnswerChanges, Answered, DutySkill, LooksHash, SkillFilter};
use async_trait::async_trait;
use chrono::{DateTime, NaiveDate, Utc};
use std::collections::BTreeMap;

/// A claimed system whose visits changed since its answers were worked out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Unscored {
    /// Whose it is.
    pub account_id: AccountId,
    /// The system.
    pub system_id: SystemId,
    /// Counts up with every change of its visits; as it was when it was claimed.
    pub changes: i64,
    /// Until when the claim holds others off; tells it from a later one.
    pub held_until: DateTime<Utc>,
}

/// Forecasts that findings answered.
#[async_trait]
pub trait SkillStore: Send + Sync {
    /// The answers of each duty together, in no order.
    async fn skill(&self, account: AccountId, filter: &SkillFilter) -> Stored<Vec<DutySkill>>;
    /// The answers, latest visit first: by `(visited_on, id)` descending.
    async fn answers(
        &self,
        account: AccountId,
        filter: &SkillFilter,
        page: &PageRequest<NaiveDate>,
    ) -> Stored<Vec<Answered>>;
    /// Claims up to `limit` systems whose visits changed since their answers were worked out, and holds them until
    /// `until`. Two replicas never get the same system at once.
    async fn claim_unscored(
        &self,
        now: DateTime<Utc>,
        until: DateTime<Utc>,
        limit: u32,
    ) -> Stored<Vec<Unscored>>;
    /// What the answers that are kept of a system rest on.
    async fn histories(&self, system: SystemId) -> Stored<BTreeMap<AnswerId, LooksHash>>;
    /// Removes what is no longer so of a claimed system and writes what is new. Does nothing when a visit changed since the
    /// claim, or when somebody else holds it by now.
    async fn finish_scoring(
        &self,
        claim: &Unscored,
        answers: &AnswerChanges,
        now: DateTime<Utc>,
    ) -> Stored<()>;
    /// Lets go of a claimed system whose answers could not be worked out, to be tried again at `at`.
    async fn release_unscored(&self, claim: &Unscored, at: DateTime<Utc>) -> Stored<()>;
    /// How many systems have answers to be worked out.
    async fn unscored_count(&self) -> Stored<i64>;
}
