//! Subscriptions: make, change, pause, replace the secret, remove.

use crate::domain::base::bounds::NAME_LENGTH;
use crate::domain::base::check::Check;
use crate::domain::base::error::{Error, Result};
use crate::domain::base::ids::{AccountId, SubscriptionId};
use crate::domain::base::paging::{After, ListPage, PageRequest};
use crate::domain::context::Context;
use crate::domain::model::duty_settings::LEAD_DAYS;
use crate::domain::model::signing::{Secrets, SigningSecret};
use crate::domain::model::subscription::{
    Carries, Paused, Subscription, SubscriptionDraft, SubscriptionFacts, Timing, UNREADABLE_SECRET,
    entered_address, timing,
};
use crate::domain::ports::store::outcomes::{Deleted, Updated};
use chrono::{DateTime, TimeDelta, Utc};
use chrono_tz::Tz;

/// Subscriptions that are read at once when the time zone of a property changes.
const AT_ONCE: u32 = 200;

/// The least time between two digests. Judgement: their content changes once a day.
const LEAST_APART: TimeDelta = TimeDelta::hours(1);

async fn checked(cx: &Context, account: AccountId, draft: SubscriptionDraft) -> Result<SubscriptionFacts> {
    let mut check = Check::new();
    check.text("name", &draft.name, NAME_LENGTH);
    if let Err(why) = entered_address(&draft.url, cx.local_webhooks) {
        check.refuse("to", why);
    }
    check.between_if_given("horizon_days", draft.horizon_days.map(f64::from), LEAD_DAYS);
    check.between_if_given("lead_days", draft.lead_days.map(f64::from), LEAD_DAYS);
    let mut home = None;
    if let Some(id) = draft.property_id {
        home = cx.store.property(account, id).await?;
        if home.is_none() {
            check.refuse("property_id", format!("there is no property {id} in this account"));
        }
    }
    if let Some(id) = draft.system_id {
        match cx.store.system(account, id).await? {
            None => check.refuse("system_id", format!("there is no system {id} in this account")),
            Some(system) => {
                if draft.property_id.is_some_and(|property| property != system.facts.property_id) {
                    check.refuse("system_id", "this system is at another property");
                }
                if home.is_none() {
                    home = cx.store.property(account, system.facts.property_id).await?;
                }
            }
        }
    }
    let carries = if draft.digest {
        if !draft.kinds.is_empty() {
            check.refuse("kinds", "a digest lists tasks; leave kinds out, or set `sends` to `reminders`");
        }
        if draft.lead_days.is_some() {
            check.refuse("lead_days", "it is only for reminders; a digest looks `horizon_days` ahead");
        }
        timing(&mut check, &draft, home.map(|property| property.facts.time_zone)).map(Carries::Digest)
    } else {
        let only = "it is only for a digest; leave it out, or set `sends` to `digest`";
        for (field, given) in [
            ("schedule", draft.schedule.is_some()),
            ("time_zone", draft.time_zone.is_some()),
            ("format", draft.form.is_some()),
            ("horizon_days", draft.horizon_days.is_some()),
        ] {
            if given {
                check.refuse(field, only);
            }
        }
        let mut kinds = draft.kinds;
        kinds.sort_unstable();
        kinds.dedup();
        Some(Carries::Reminders { kinds })
    };
    check.done()?;
    // A missing value was refused above.
    let carries = carries.ok_or_else(|| Error::field("schedule", "it is missing"))?;
    let SubscriptionDraft { name, url, property_id, system_id, horizon_days, lead_days, .. } = draft;
    // One of them is absent: that of the other kind was refused above.
    let lead_days = horizon_days.or(lead_days);
    Ok(SubscriptionFacts { name, url, carries, property_id, system_id, lead_days })
}

fn missing(id: SubscriptionId) -> Error {
    Error::NotFound { what: "subscription", id: id.to_string() }
}

/// Makes a subscription. It sends what is raised from now on.
pub async fn create(
    cx: &Context,
    account: AccountId,
    id: SubscriptionId,
    draft: SubscriptionDraft,
) -> Result<Subscription> {
    let facts = checked(cx, account, draft).await?;
    if let Some(known) = cx.store.subscription(account, id).await? {
        return readable(known);
    }
    let now = cx.clock.now();
    let mut made = Subscription {
        id,
        account_id: account,
        facts,
        secrets: Secrets { current: SigningSecret::new()?, before: Vec::new() },
        paused: None,
        next_at: None,
        next_set_at: now,
        waiting: 0,
        parked: 0,
        version: 1,
        created_at: now,
        updated_at: now,
    };
    made.next_at = first(&made, now)?;
    cx.store.insert_subscription(&made).await?;
    // Another attempt of the same request may have been faster.
    readable(get(cx, account, id).await?)
}

/// Refuses a subscription that can sign nothing.
pub(crate) fn readable(subscription: Subscription) -> Result<Subscription> {
    if subscription.lost_its_secret() {
        let id = subscription.id;
        return Err(Error::Conflict(format!(
            "Nothing was changed. {UNREADABLE_SECRET} POST /v1/subscriptions/{id}/secret makes one."
        )));
    }
    Ok(subscription)
}

/// The time zone of a digest: the one given, or else the present one of its property.
pub(crate) async fn zone_now(cx: &Context, subscription: &Subscription, timing: &Timing) -> Result<Tz> {
    let (account, facts) = (subscription.account_id, &subscription.facts);
    if timing.zone_given {
        return Ok(timing.zone);
    }
    let property = match (facts.property_id, facts.system_id) {
        (Some(id), _) => Some(id),
        (None, Some(id)) => cx.store.system(account, id).await?.map(|system| system.facts.property_id),
        (None, None) => None,
    };
    let Some(property) = property else { return Ok(timing.zone) };
    Ok(cx.store.property(account, property).await?.map_or(timing.zone, |property| property.facts.time_zone))
}

/// After a property's time zone has changed, updates the digests that follow it.
pub(crate) async fn follow_zones(cx: &Context, account: AccountId) -> Result<()> {
    let mut page = PageRequest { after: None, limit: AT_ONCE };
    loop {
        let found = cx.store.subscriptions(account, &page).await?;
        let last = found.get(AT_ONCE as usize - 1).filter(|_| found.len() > AT_ONCE as usize);
        page.after = last.map(|one| After { key: one.created_at, id: one.id.0 });
        for known in found.into_iter().take(AT_ONCE as usize) {
            follow_zone(cx, known).await?;
        }
        if page.after.is_none() {
            return Ok(());
        }
    }
}

async fn follow_zone(cx: &Context, known: Subscription) -> Result<()> {
    let Carries::Digest(timing) = &known.facts.carries else { return Ok(()) };
    let zone = zone_now(cx, &known, timing).await?;
    if zone == timing.zone {
        return Ok(());
    }
    let carries = Carries::Digest(Timing { zone, ..timing.clone() });
    let mut new =
        Subscription { facts: SubscriptionFacts { carries, ..known.facts.clone() }, ..known.clone() };
    let now = cx.clock.now();
    // A digest that is due stays due.
    if known.next_at.is_none_or(|at| at > now) {
        (new.next_at, new.next_set_at) = (next(&new, now), now);
    }
    // If another change was faster, it has read the new zone.
    cx.store.update_subscription(&new).await?;
    Ok(())
}

/// When the next digest is made; none if its times are over.
fn next(subscription: &Subscription, now: DateTime<Utc>) -> Option<DateTime<Utc>> {
    match &subscription.facts.carries {
        Carries::Digest(timing) => timing.schedule.next(now, timing.zone),
        Carries::Reminders { .. } => None,
    }
}

/// The same for times that the caller has just set.
///
/// # Errors
/// If the times never come, or come too often.
fn first(subscription: &Subscription, now: DateTime<Utc>) -> Result<Option<DateTime<Utc>>> {
    let Carries::Digest(timing) = &subscription.facts.carries else { return Ok(None) };
    let times = timing.schedule.upcoming(now, timing.zone, 30);
    if times.windows(2).any(|pair| pair[1] - pair[0] < LEAST_APART) {
        return Err(Error::field(
            "schedule",
            "its times are less than an hour apart; a digest changes once a day",
        ));
    }
    let never = || Error::field("schedule", "it has no time within the next five years");
    times.first().copied().map(Some).ok_or_else(never)
}

/// One subscription.
pub async fn get(cx: &Context, account: AccountId, id: SubscriptionId) -> Result<Subscription> {
    cx.store.subscription(account, id).await?.ok_or_else(|| missing(id))
}

/// The account's subscriptions, oldest first.
pub async fn list(
    cx: &Context,
    account: AccountId,
    cursor: Option<&str>,
    limit: Option<u32>,
) -> Result<ListPage<Subscription>> {
    let asked = PageRequest::read("subscriptions", cursor, limit)?;
    let rows = cx.store.subscriptions(account, &asked).await?;
    Ok(asked.page("subscriptions", rows, |one| (one.created_at, one.id.0)))
}

/// The result of a change that depends on the version.
async fn changed(
    cx: &Context,
    account: AccountId,
    id: SubscriptionId,
    done: Updated,
) -> Result<Subscription> {
    match done {
        Updated::Missing => Err(missing(id)),
        Updated::Stale { current } => Err(Error::VersionMismatch { current }),
        Updated::Done => {
            cx.notify_readers();
            get(cx, account, id).await
        }
    }
}

/// Replaces the settings of a subscription. What waits to be sent goes to the new address.
pub async fn update(
    cx: &Context,
    account: AccountId,
    id: SubscriptionId,
    version: i64,
    draft: SubscriptionDraft,
) -> Result<Subscription> {
    let known = get(cx, account, id).await?;
    let (facts, now) = (checked(cx, account, draft).await?, cx.clock.now());
    let mut new = Subscription { facts, updated_at: now, next_set_at: now, version, ..known.clone() };
    // A digest that is due stays due, unless its times have changed.
    new.next_at = match (&known.facts.carries, &new.facts.carries) {
        (Carries::Digest(old), Carries::Digest(timing)) if old.same_times(timing) => known.next_at,
        _ => first(&new, now)?,
    };
    let done = cx.store.update_subscription(&new).await?;
    changed(cx, account, id, done).await
}

/// Stops sending, or resumes with the entries that were raised meanwhile and are still stored. Doing it twice
/// changes nothing.
pub async fn pause(
    cx: &Context,
    account: AccountId,
    id: SubscriptionId,
    pause: bool,
) -> Result<Subscription> {
    let known = get(cx, account, id).await?;
    if known.paused.is_some() == pause {
        return Ok(known);
    }
    let known = if pause { known } else { readable(known)? };
    let paused = pause.then(|| Paused { at: cx.clock.now(), because: None });
    let done = set_paused(cx, known, paused).await?;
    changed(cx, account, id, done).await
}

/// Pauses a subscription, or lets it go on.
pub(crate) async fn set_paused(cx: &Context, known: Subscription, paused: Option<Paused>) -> Result<Updated> {
    let now = cx.clock.now();
    let mut new = Subscription { paused, updated_at: now, ..known };
    // Missed digests are not made later.
    (new.next_at, new.next_set_at) = (next(&new, now), now);
    Ok(cx.store.update_subscription(&new).await?)
}

/// Replaces the secret. The old one keeps signing for a day. One that was paused because the old one cannot be read goes
/// on.
pub async fn rotate(cx: &Context, account: AccountId, id: SubscriptionId) -> Result<Subscription> {
    let known = get(cx, account, id).await?;
    let now = cx.clock.now();
    let secrets = known.secrets.clone().rotated(now)?;
    let mut new = Subscription { secrets, updated_at: now, ..known };
    if new.is_paused_for_its_secret() {
        new.paused = None;
        (new.next_at, new.next_set_at) = (next(&new, now), now);
    }
    let done = cx.store.update_subscription(&new).await?;
    changed(cx, account, id, done).await
}

/// Removes a subscription with everything that waits to be sent.
pub async fn delete(cx: &Context, account: AccountId, id: SubscriptionId, version: i64) -> Result<()> {
    match cx.store.delete_subscription(account, id, version).await? {
        Deleted::Done => Ok(()),
        Deleted::Missing | Deleted::InUse { .. } => Err(missing(id)),
        Deleted::Stale { current } => Err(Error::VersionMismatch { current }),
    }
}
