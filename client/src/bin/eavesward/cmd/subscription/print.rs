//! Prints subscriptions.

use crate::app::{App, PAGE};
use crate::failure::Failure;
use crate::show;
use crate::table::Table;
use chrono::{DateTime, Utc};
use eavesward_client::ListQuery;
use eavesward_client::contract::{Subscription as Shown, SubscriptionSecret};

/// An instant as text, or a dash.
pub fn instant(at: Option<DateTime<Utc>>) -> String {
    at.map_or_else(|| "-".to_owned(), |at| at.to_rfc3339())
}

/// Prints a subscription with its secret.
pub fn with_secret(app: &mut App<'_>, made: &SubscriptionSecret) -> Result<(), Failure> {
    if app.json {
        return app.print_json(made);
    }
    print(app, &made.subscription)?;
    match &made.secret {
        Some(secret) => app.line(format!("Secret, shown only once: {secret}")),
        None => Ok(()),
    }
}

/// Prints a subscription.
pub fn print(app: &mut App<'_>, one: &Shown) -> Result<(), Failure> {
    if app.json {
        return app.print_json(one);
    }
    app.line(format!("{}  {}", one.id, one.name))?;
    app.line(format!("To: {}", one.to))?;
    if let (Some(schedule), Some(zone)) = (&one.schedule, &one.local_time_zone) {
        let whose = if one.time_zone.is_some() { "" } else { ", as at the property" };
        let format = one.format.map_or_else(String::new, |format| format!(" as {}", show::words(&format)));
        app.line(format!("A digest{format} at {schedule} ({zone}{whose}), next:"))?;
        for at in &one.next_at {
            app.line(format!("  {}", at.to_rfc3339()))?;
        }
    } else {
        let kinds: Vec<String> = one.kinds.iter().map(show::words).collect();
        let of = if kinds.is_empty() { "every kind".to_owned() } else { kinds.join(", ") };
        app.line(format!("Reminders of {of}"))?;
    }
    // Show ids, not names: a name needs another call, and its failure would lose a secret that is shown only once.
    match (one.property_id, one.system_id) {
        (None, None) => app.line("For the whole account")?,
        (property, system) => {
            property.iter().try_for_each(|id| app.line(format!("Only at property {id}")))?;
            system.iter().try_for_each(|id| app.line(format!("Only for system {id}")))?;
        }
    }
    let ahead = one.horizon_days.or(one.lead_days);
    let ahead = ahead.map_or_else(|| "the default".to_owned(), |days| days.to_string());
    app.line(format!("Days ahead: {ahead}"))?;
    if let Some(at) = one.paused_at {
        let because = one.paused_because.as_deref().map(|why| format!(": {why}")).unwrap_or_default();
        app.line(format!("Paused since {}{because}", at.to_rfc3339()))?;
    }
    if let Some(until) = one.old_secret_until {
        app.line(format!("Messages are also signed with the old secret until {}", until.to_rfc3339()))?;
    }
    app.line(format!("{} waiting, {} given up", one.waiting, one.parked))
}

/// Prints the table of subscriptions.
pub async fn list(app: &mut App<'_>) -> Result<(), Failure> {
    let all = app.client.subscriptions().list(&ListQuery::builder().limit(PAGE).build()).all().await?;
    if app.json {
        return app.print_json(&all);
    }
    if all.is_empty() {
        return app.line("No subscriptions. Make one with `eavesward subscription add`.");
    }
    let mut table = Table::new(["subscription", "name", "sends", "next", "waiting", "given up", "to"]);
    for one in all {
        let next =
            if one.paused_at.is_some() { "paused".to_owned() } else { instant(one.next_at.first().copied()) };
        table.row([
            one.id.to_string(),
            one.name,
            show::words(&one.sends),
            next,
            one.waiting.to_string(),
            one.parked.to_string(),
            one.to,
        ]);
    }
    Ok(table.write(app.io.out)?)
}
