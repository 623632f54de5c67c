//! Subscriptions: make, change, pause, rotate the secret, remove.

use crate::domain::base::bounds::NAME_LENGTH;
use crate::domain::base::check::Check;
use crate::domain::base::error::{Error, Result};
use crate::domain::base::ids::{AccountId, SubscriptionId};
use crate::domain::base::paging::{ListPage, PageRequest};
use crate::domain::context::Context;
use crate::domain::model::duty_settings::LEAD_DAYS;
use crate::domain::model::signing::{Secrets, SigningSecret};
use crate::domain::model::subscription::{
    Carries, Paused, Subscription, SubscriptionDraft, SubscriptionFacts, Timing, address, timing,
};
use crate::domain::ports::store::outcomes::{Deleted, Updated};
use chrono::{DateTime, TimeDelta, Utc};
use chrono_tz::Tz;

/// The most subscriptions of an account. Judgement: one for each of its people and programs, and no flood.
const MOST: i64 = 200;

/// The least time between two digests. Judgement: what they tell changes with the day.
const LEAST_APART: TimeDelta = TimeDelta::hours(1);

async fn checked(cx: &Context, account: AccountId, draft: SubscriptionDraft) -> Result<SubscriptionFacts> {
    let mut check = Check::new();
    check.text("name", &draft.name, NAME_LENGTH);
    if let Err(why) = address(&draft.url, cx.local_webhooks) {
        check.refuse("url", why);
    }
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
                    check.refuse("system_id", "it stands at another property");
                }
                if home.is_none() {
                    home = cx.store.property(account, system.facts.property_id).await?;
                }
            }
        }
    }
    let carries = if draft.digest {
        if !draft.kinds.is_empty() {
            check.refuse("kinds", "a digest lists tasks; leave kinds out, or carry reminders");
        }
        timing(&mut check, &draft, home.map(|property| property.facts.time_zone)).map(Carries::Digest)
    } else {
        let only = "it belongs to a digest; leave it out, or carry a digest";
        for (field, given) in [
            ("schedule", draft.schedule.is_some()),
            ("time_zone", draft.time_zone.is_some()),
            ("form", draft.form.is_some()),
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
    // What is missing was refused above.
    let carries = carries.ok_or_else(|| Error::field("schedule", "it is missing"))?;
    let SubscriptionDraft { name, url, property_id, system_id, lead_days, .. } = draft;
    Ok(SubscriptionFacts { name, url, carries, property_id, system_id, lead_days })
}

fn missing(id: SubscriptionId) -> Error {
    Error::NotFound { what: "subscription", id: id.to_string() }
}

/// Makes a subscription. It carries what is raised from now on.
pub async fn create(
    cx: &Context,
    account: AccountId,
    id: SubscriptionId,
    draft: SubscriptionDraft,
) -> Result<Subscription> {
    let facts = checked(cx, account, draft).await?;
    if let Some(known) = cx.store.subscription(account, id).await? {
        return Ok(known);
    }
    if cx.store.subscription_count(account).await? >= MOST {
        return Err(Error::Conflict(format!(
            "An account has at most {MOST} subscriptions; remove one that is not needed."
        )));
    }
    let now = cx.clock.now();
    let mut made = Subscription {
        id,
        account_id: account,
        facts,
        secrets: Secrets { current: SigningSecret::new()?, before: Vec::new() },
        paused: None,
        next_at: None,
        waiting: 0,
        parked: 0,
        version: 1,
        created_at: now,
        updated_at: now,
    };
    made.next_at = first(&made, now)?;
    cx.store.insert_subscription(&made).await?;
    // Another attempt of the same request may have been faster.
    get(cx, account, id).await
}

/// The zone of a digest's times: as given, or that of its property as it is now.
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

/// Lets digests follow the clocks of their properties after one of these was moved to another zone.
pub(crate) async fn follow_zones(cx: &Context, account: AccountId) -> Result<()> {
    let all = PageRequest { after: None, limit: MOST as u32 };
    for known in cx.store.subscriptions(account, &all).await? {
        let Carries::Digest(timing) = &known.facts.carries else { continue };
        let zone = zone_now(cx, &known, timing).await?;
        if zone == timing.zone {
            continue;
        }
        let carries = Carries::Digest(Timing { zone, ..timing.clone() });
        let mut new =
            Subscription { facts: SubscriptionFacts { carries, ..known.facts.clone() }, ..known.clone() };
        let now = cx.clock.now();
        // One that is due stays due.
        if known.next_at.is_none_or(|at| at > now) {
            new.next_at = next(&new, now);
        }
        // Whoever was faster has read the new zone.
        cx.store.update_subscription(&new).await?;
    }
    Ok(())
}

/// When the next digest is made; never, if its times are over.
fn next(subscription: &Subscription, now: DateTime<Utc>) -> Option<DateTime<Utc>> {
    match &subscription.facts.carries {
        Carries::Digest(timing) => timing.schedule.next(now, timing.zone),
        Carries::Reminders { .. } => None,
    }
}

/// The same for times that somebody has just asked for.
///
/// # Errors
/// When they never come, or come too often.
fn first(subscription: &Subscription, now: DateTime<Utc>) -> Result<Option<DateTime<Utc>>> {
    let Carries::Digest(timing) = &subscription.facts.carries else { return Ok(None) };
    let times = timing.schedule.upcoming(now, timing.zone, 30);
    if times.windows(2).any(|pair| pair[1] - pair[0] < LEAST_APART) {
        return Err(Error::field(
            "schedule",
            "its times are less than an hour apart; a digest changes once a day",
        ));
    }
    let never = || Error::field("schedule", "it never comes, or not within five years");
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

/// What became of a guarded change.
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

/// Replaces what a subscription is. What waits to be sent goes to the new address.
pub async fn update(
    cx: &Context,
    account: AccountId,
    id: SubscriptionId,
    version: i64,
    draft: SubscriptionDraft,
) -> Result<Subscription> {
    let known = get(cx, account, id).await?;
    let (facts, now) = (checked(cx, account, draft).await?, cx.clock.now());
    let mut new = Subscription { facts, updated_at: now, version, ..known.clone() };
    // One that is due stays due, unless its times are other ones now.
    new.next_at = match (&known.facts.carries, &new.facts.carries) {
        (Carries::Digest(old), Carries::Digest(timing)) if old.same_times(timing) => known.next_at,
        _ => first(&new, now)?,
    };
    let done = cx.store.update_subscription(&new).await?;
    changed(cx, account, id, done).await
}

/// Stops sending, or goes on with what was raised meanwhile and is still kept. Doing it twice changes nothing.
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
    let now = cx.clock.now();
    let paused = pause.then_some(Paused { at: now, because: None });
    let mut new = Subscription { paused, updated_at: now, ..known };
    // Digests that were missed are not made up for.
    new.next_at = next(&new, now);
    let done = cx.store.update_subscription(&new).await?;
    changed(cx, account, id, done).await
}

/// Puts a new secret in the place of the old one, which signs for a day yet.
pub async fn rotate(cx: &Context, account: AccountId, id: SubscriptionId) -> Result<Subscription> {
    let known = get(cx, account, id).await?;
    let now = cx.clock.now();
    let secrets = known.secrets.clone().rotated(now)?;
    let done = cx.store.update_subscription(&Subscription { secrets, updated_at: now, ..known }).await?;
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
