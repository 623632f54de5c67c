//! The secrets of subscriptions at the start of the service: each one that is in clear, or under a key that was replaced,
//! is encrypted with the present key. A subscription whose secret cannot be read is paused until it has another one, or
//! until the key is back.

use crate::domain::base::error::Result;
use crate::domain::base::ids::SubscriptionId;
use crate::domain::context::Context;
use crate::domain::model::subscription::{Paused, UNREADABLE_SECRET};
use crate::domain::ports::store::outcomes::Updated;
use crate::domain::use_cases::subscriptions::set_paused;
use uuid::Uuid;

/// Subscriptions that are read at once.
const AT_ONCE: u32 = 200;

/// What was found and done.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct SecretsCheck {
    /// Secrets that were encrypted.
    pub sealed: u64,
    /// Secrets that stay in clear or under an old key, because there is no key or because they were changed meanwhile.
    pub left: u64,
    /// Subscriptions that were paused because their secret cannot be read.
    pub paused: u64,
    /// Subscriptions that go on because their secret can be read again.
    pub resumed: u64,
}

/// Looks at the secrets of all accounts.
pub async fn check(cx: &Context) -> Result<SecretsCheck> {
    let mut found = SecretsCheck::default();
    let mut after = SubscriptionId(Uuid::nil());
    loop {
        let some = cx.store.every_subscription(after, AT_ONCE).await?;
        let (full, last) = (some.len() == AT_ONCE as usize, some.last().map(|one| one.id));
        for one in some {
            let sealed = cx.store.seal_secrets(&one).await?;
            found.sealed += sealed.sealed;
            found.left += sealed.left;
            let lost = one.lost_its_secret();
            if lost && one.paused.is_none() {
                let paused = Paused { at: cx.clock.now(), because: Some(UNREADABLE_SECRET.to_owned()) };
                let done = set_paused(cx, one, Some(paused)).await?;
                found.paused += u64::from(done == Updated::Done);
            } else if !lost && one.is_paused_for_its_secret() {
                // Read again: it may have been encrypted just now.
                let Some(one) = cx.store.subscription(one.account_id, one.id).await? else { continue };
                let done = set_paused(cx, one, None).await?;
                found.resumed += u64::from(done == Updated::Done);
            }
        }
        match last {
            Some(last) if full => after = last,
            _ => return Ok(found),
        }
    }
}
