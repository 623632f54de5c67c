//! Accounts and keys.

use super::{known, mirror_open};
use crate::domain::base::error::{Error, Result};
use crate::domain::base::ids::SystemId;
use crate::domain::model::account;
use crate::domain::model::quota::{Counted, Usage};
use eavesward_contract as wire;

mirror_open!(Scope: account::Scope { Read, Write, Admin });

mirror_open!(QuotaOf: Counted {
    Keys, Calendars, Properties, Gauges, RainDays, Systems, Subscriptions, TestMessages
} or wire::QuotaOf::Streams | wire::QuotaOf::Other(_));

/// An account with what it has used. The streams are those of this process.
pub fn account(account: account::Account, usage: Vec<Usage>, streams: (usize, usize)) -> wire::Account {
    let stored = usage.into_iter().map(|usage| (wire::QuotaOf::from(usage.of), usage.used, usage.most));
    let (used, most) = streams;
    let streams = (wire::QuotaOf::Streams, used as u64, Some(most as u64));
    let quotas = stored.chain([streams]).map(|(of, used, most)| wire::Quota { of, used, most }).collect();
    wire::Account { id: account.id.0, name: account.name, created_at: account.created_at, quotas }
}

impl From<account::Key> for wire::ApiKey {
    fn from(key: account::Key) -> Self {
        Self {
            id: key.id.0,
            name: key.name,
            scopes: key.scopes.into_iter().map(Into::into).collect(),
            system_id: key.system_id.map(|id| id.0),
            hint: key.hint,
            created_at: key.created_at,
            expires_at: key.expires_at,
            revoked_at: key.revoked_at,
            last_used_at: key.last_used_at,
        }
    }
}

impl TryFrom<wire::KeyRequest> for account::KeyDraft {
    type Error = Error;
    fn try_from(request: wire::KeyRequest) -> Result<Self> {
        let scopes = request.scopes.into_iter().map(|scope| known(scope, "scopes"));
        Ok(Self {
            name: request.name,
            scopes: scopes.collect::<Result<_>>()?,
            system_id: request.system_id.map(SystemId),
            expires_at: request.expires_at,
        })
    }
}
