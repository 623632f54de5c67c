//! Answered forecasts in the store.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, AnswerId, ClaimId, SystemId};
use crate::domain::base::paging::PageRequest;
use crate::domain::model::skill::{AnswerChanges, Answered, DutySkill, LooksHash, SkillFilter};
use async_trait::async_trait;
use chrono::{DateTime, NaiveDate, Utc};
use std::collections::BTreeMap;

/// A claimed system whose visits changed since it was last scored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Unscored {
    /// The account that owns it.
    pub account_id: AccountId,
    /// The system.
    pub system_id: SystemId,
    /// Counts up with every change of its visits. This is the value at the time of the claim.
    pub changes: i64,
    /// The claim.
    pub held_by: ClaimId,
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
    /// Claims up to `limit` systems whose visits changed since they were last scored, until `until`. Two replicas
    /// never get the same system at once. A claim is ignored if a clock that was ahead has made it.
    async fn claim_unscored(
        &self,
        now: DateTime<Utc>,
        until: DateTime<Utc>,
        limit: u32,
    ) -> Stored<Vec<Unscored>>;
    /// Extends claims until `until`. Claims that were lost to another worker stay lost.
    async fn renew_unscored(
        &self,
        claims: &[Unscored],
        now: DateTime<Utc>,
        until: DateTime<Utc>,
    ) -> Stored<()>;
    /// The inspections on which a system's stored answers are based.
    async fn histories(&self, system: SystemId) -> Stored<BTreeMap<AnswerId, LooksHash>>;
    /// Removes stored answers of a claimed system that are no longer valid, and adds new ones. Does nothing if a
    /// visit changed since the claim, or if another worker holds the system by now.
    async fn finish_scoring(
        &self,
        claim: &Unscored,
        answers: &AnswerChanges,
        now: DateTime<Utc>,
    ) -> Stored<()>;
    /// Releases claims that are still held. These systems cannot be claimed before `at`.
    async fn release_unscored(
        &self,
        claims: &[Unscored],
        now: DateTime<Utc>,
        at: DateTime<Utc>,
    ) -> Stored<()>;
    /// When the first of the systems that are held now is free, unless it is released before.
    async fn unscored_held_until(&self, now: DateTime<Utc>) -> Stored<Option<DateTime<Utc>>>;
    /// How many systems have to be scored.
    async fn unscored_count(&self) -> Stored<i64>;
}
