//! The account's own figures for duties: list and set.

use crate::domain::base::check::Check;
use crate::domain::base::error::{Error, Result};
use crate::domain::base::ids::AccountId;
use crate::domain::context::Context;
use crate::domain::model::duty::Duty;
use crate::domain::model::duty_settings::{DutySetting, Overrides};
use crate::domain::ports::store::outcomes::Updated;

/// Every duty with what the account has set for it.
pub async fn list(cx: &Context, account: AccountId) -> Result<Vec<DutySetting>> {
    let stored = cx.store.duty_settings(account).await?;
    let of = |duty| stored.iter().find(|setting| setting.duty == duty).copied();
    let all = Duty::ALL.iter().map(|&duty| {
        of(duty).unwrap_or(DutySetting { duty, own: Overrides::default(), version: 0, updated_at: None })
    });
    Ok(all.collect())
}

/// One duty with what the account has set for it.
pub async fn get(cx: &Context, account: AccountId, duty: Duty) -> Result<DutySetting> {
    let all = list(cx, account).await?;
    let found = all.into_iter().find(|setting| setting.duty == duty);
    found.ok_or_else(|| Error::NotFound { what: "duty", id: duty.code().to_owned() })
}

/// Replaces what the account has set for a duty. All systems of the account are forecast again.
pub async fn set(
    cx: &Context,
    account: AccountId,
    duty: Duty,
    version: i64,
    own: Overrides,
) -> Result<DutySetting> {
    let mut check = Check::new();
    own.check(&mut check, duty);
    check.done()?;
    match cx.store.put_duty_setting(account, duty, version, own, cx.clock.now()).await? {
        Updated::Missing => Err(Error::NotFound { what: "account", id: account.to_string() }),
        Updated::Stale { current } => Err(Error::VersionMismatch { current }),
        Updated::Done => {
            cx.wake_jobs();
            get(cx, account, duty).await
        }
    }
}
