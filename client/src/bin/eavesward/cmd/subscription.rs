//! `eavesward subscription`: reminders and digests, posted to an address.

use crate::app::{App, PAGE};
use crate::failure::Failure;
use crate::table::Table;
use crate::{parse, show};
use chrono::{DateTime, Utc};
use clap::{Args, Subcommand, ValueEnum};
use eavesward_client::contract::{
    Carries, DeliveryState, DigestForm, ReminderKind, Subscription as Shown, SubscriptionRequest,
    SubscriptionSecret,
};
use eavesward_client::{DeliveryQuery, ListQuery, subscription_update_from};
use uuid::Uuid;

/// What to do with subscriptions.
#[derive(Subcommand)]
pub enum Subscription {
    /// Make a subscription; its signing secret is shown this once
    Add(Facts),
    /// List subscriptions
    List,
    /// Show a subscription with its next times
    Show {
        /// The subscription's id
        id: Uuid,
    },
    /// Change a subscription; what is not given stays as it is
    Change {
        /// The subscription's id
        id: Uuid,
        /// What becomes different
        #[command(flatten)]
        changes: Changes,
    },
    /// Remove a subscription with everything that waits to be sent
    Remove {
        /// The subscription's id
        id: Uuid,
    },
    /// Stop sending
    Pause {
        /// The subscription's id
        id: Uuid,
    },
    /// Go on sending, what was raised meanwhile included
    Resume {
        /// The subscription's id
        id: Uuid,
    },
    /// Change the secret; the old one signs beside the new one for a day
    Secret {
        /// The subscription's id
        id: Uuid,
    },
    /// Post a word to try the way
    Test {
        /// The subscription's id
        id: Uuid,
    },
    /// List what a subscription posted or is to post, latest first
    Deliveries {
        /// The subscription's id
        id: Uuid,
        /// Only those that stand here: waiting, delivered, parked, superseded
        #[arg(long, value_parser = parse::word::<DeliveryState>)]
        state: Option<DeliveryState>,
    },
    /// Show a delivery with every attempt
    Delivery {
        /// The delivery's id
        id: Uuid,
    },
    /// Send a delivery again, under the same id
    Send {
        /// The delivery's id
        id: Uuid,
    },
}

/// What a subscription is.
#[derive(Args)]
pub struct Facts {
    /// What it is called
    #[arg(long)]
    name: String,
    /// Where it is posted to: an https URL
    #[arg(long = "to", value_name = "URL")]
    to: String,
    /// Post a digest at set times, as crontab writes them: minute, hour, day of the month, month, day of the week, such as
    /// "0 7 * * 1"; without it, reminders as they come
    #[arg(long, value_name = "CRONTAB")]
    digest: Option<String>,
    /// Of a digest: the time zone of its times, such as Europe/Lisbon; that of the property without it
    #[arg(long, value_name = "ZONE", requires = "digest")]
    time_zone: Option<String>,
    /// Of a digest: json, text, markdown or csv
    #[arg(long, requires = "digest", value_parser = parse::word::<DigestForm>)]
    form: Option<DigestForm>,
    /// Of reminders: only what tells of these: coming, due, late, moved, done, withdrawn
    #[arg(long, value_delimiter = ',', value_parser = parse::word::<ReminderKind>, conflicts_with = "digest")]
    kind: Vec<ReminderKind>,
    /// Only at this property
    #[arg(long, value_name = "PROPERTY")]
    property: Option<String>,
    /// Only of this system
    #[arg(long, value_name = "SYSTEM")]
    system: Option<String>,
    /// Days ahead: of a digest, how far it looks; of reminders, how long before its date a task is announced
    #[arg(long, value_name = "DAYS", value_parser = parse::days)]
    lead_days: Option<u32>,
}

impl Facts {
    async fn request(self, app: &App<'_>) -> Result<SubscriptionRequest, Failure> {
        let property_id = match &self.property {
            Some(given) => Some(app.property_id(given).await?),
            None => None,
        };
        let system_id = match &self.system {
            Some(given) => Some(app.system_id(given).await?),
            None => None,
        };
        Ok(SubscriptionRequest {
            name: self.name,
            url: self.to,
            carries: if self.digest.is_some() { Carries::Digest } else { Carries::Reminders },
            kinds: self.kind,
            property_id,
            system_id,
            lead_days: self.lead_days,
            schedule: self.digest,
            time_zone: self.time_zone,
            form: self.form,
        })
    }
}

/// What of a subscription becomes different.
#[derive(Args)]
#[group(required = true, multiple = true)]
pub struct Changes {
    /// What it is called
    #[arg(long)]
    name: Option<String>,
    /// Where it is posted to: an https URL
    #[arg(long = "to", value_name = "URL")]
    to: Option<String>,
    /// Of a digest: its times, as crontab writes them
    #[arg(long, value_name = "CRONTAB")]
    digest: Option<String>,
    /// Of a digest: the time zone of its times, such as Europe/Lisbon
    #[arg(long, value_name = "ZONE")]
    time_zone: Option<String>,
    /// Of a digest: json, text, markdown or csv
    #[arg(long, value_parser = parse::word::<DigestForm>)]
    form: Option<DigestForm>,
    /// Of reminders: only what tells of these: coming, due, late, moved, done, withdrawn
    #[arg(long, value_delimiter = ',', value_parser = parse::word::<ReminderKind>)]
    kind: Vec<ReminderKind>,
    /// Only at this property
    #[arg(long, value_name = "PROPERTY")]
    property: Option<String>,
    /// Only of this system
    #[arg(long, value_name = "SYSTEM")]
    system: Option<String>,
    /// Days ahead: of a digest, how far it looks; of reminders, how long before its date a task is announced
    #[arg(long, value_name = "DAYS", value_parser = parse::days)]
    lead_days: Option<u32>,
    /// Take away what was set: kind, property or system for all of them, lead-days for the usual, time-zone for that of the
    /// property
    #[arg(long, value_name = "WHAT", value_enum, value_delimiter = ',', hide_possible_values = true)]
    clear: Vec<Cleared>,
}

/// What can be taken away again, by the name of the option that sets it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Cleared {
    /// `--kind`.
    Kind,
    /// `--property`.
    Property,
    /// `--system`.
    System,
    /// `--lead-days`.
    LeadDays,
    /// `--time-zone`.
    TimeZone,
}

impl Changes {
    /// What the subscription is to be, by what it is.
    async fn request(self, app: &App<'_>, known: &Shown) -> Result<SubscriptionRequest, Failure> {
        self.check(known)?;
        let mut request = subscription_update_from(known);
        for what in &self.clear {
            match what {
                Cleared::Kind => request.kinds.clear(),
                Cleared::Property => request.property_id = None,
                Cleared::System => request.system_id = None,
                Cleared::LeadDays => request.lead_days = None,
                Cleared::TimeZone => request.time_zone = None,
            }
        }
        if let Some(given) = &self.property {
            request.property_id = Some(app.property_id(given).await?);
        }
        if let Some(given) = &self.system {
            request.system_id = Some(app.system_id(given).await?);
        }
        if !self.kind.is_empty() {
            request.kinds = self.kind;
        }
        request.name = self.name.unwrap_or(request.name);
        request.url = self.to.unwrap_or(request.url);
        request.schedule = self.digest.or(request.schedule);
        request.time_zone = self.time_zone.or(request.time_zone);
        request.form = self.form.or(request.form);
        request.lead_days = self.lead_days.or(request.lead_days);
        Ok(request)
    }

    /// Refuses what contradicts itself, and what is of the other kind of subscription.
    fn check(&self, known: &Shown) -> Result<(), Failure> {
        for (what, option, given) in [
            (Cleared::Kind, "kind", !self.kind.is_empty()),
            (Cleared::Property, "property", self.property.is_some()),
            (Cleared::System, "system", self.system.is_some()),
            (Cleared::LeadDays, "lead-days", self.lead_days.is_some()),
            (Cleared::TimeZone, "time-zone", self.time_zone.is_some()),
        ] {
            if given && self.clear.contains(&what) {
                return Err(Failure::usage(format!("give --{option} or --clear {option}, not both")));
            }
        }
        let of_digests = self.digest.is_some() || self.time_zone.is_some() || self.form.is_some();
        let strange = match known.carries {
            Carries::Reminders if of_digests => "--digest, --time-zone and --form are of digests",
            Carries::Digest if !self.kind.is_empty() => "--kind is of reminders",
            _ => return Ok(()),
        };
        let carries = show::words(&known.carries);
        Err(Failure::usage(format!(
            "{} carries {carries}, and {strange}; add another subscription for them",
            known.name
        )))
    }
}

impl Subscription {
    /// Does it.
    pub async fn run(self, app: &mut App<'_>) -> Result<(), Failure> {
        match self {
            Self::Add(facts) => {
                let made = app.client.subscriptions().create(&facts.request(app).await?).await?;
                with_secret(app, &made)
            }
            Self::List => list(app).await,
            Self::Show { id } => {
                let found = app.client.subscriptions().get(id).await?;
                print(app, &found)
            }
            Self::Change { id, changes } => {
                let known = app.client.subscriptions().get(id).await?;
                let request = changes.request(app, &known).await?;
                let now = app.client.subscriptions().update(id, known.version, &request).await?;
                print(app, &now)
            }
            Self::Remove { id } => {
                let known = app.client.subscriptions().get(id).await?;
                app.client.subscriptions().delete(id, known.version).await?;
                app.done(format!("{} is removed.", known.name))
            }
            Self::Pause { id } => {
                let now = app.client.subscriptions().pause(id).await?;
                app.say(&now, format!("{} is paused.", now.name))
            }
            Self::Resume { id } => {
                let now = app.client.subscriptions().resume(id).await?;
                app.say(&now, format!("{} goes on.", now.name))
            }
            Self::Secret { id } => {
                let made = app.client.subscriptions().rotate_secret(id).await?;
                with_secret(app, &made)
            }
            Self::Test { id } => {
                let made = app.client.subscriptions().test(id).await?;
                app.say(
                    &made,
                    format!(
                        "On its way; `eavesward subscription delivery {}` says what came of it.",
                        made.id
                    ),
                )
            }
            Self::Deliveries { id, state } => deliveries(app, id, state).await,
            Self::Delivery { id } => delivery(app, id).await,
            Self::Send { id } => {
                let sent = app.client.subscriptions().send_again(id).await?;
                app.say(&sent, "On its way again.")
            }
        }
    }
}

fn instant(at: Option<DateTime<Utc>>) -> String {
    at.map_or_else(|| "-".to_owned(), |at| at.to_rfc3339())
}

fn with_secret(app: &mut App<'_>, made: &SubscriptionSecret) -> Result<(), Failure> {
    if app.json {
        return app.print_json(made);
    }
    print(app, &made.subscription)?;
    app.line(format!("Secret, shown this once: {}", made.secret))
}

fn print(app: &mut App<'_>, one: &Shown) -> Result<(), Failure> {
    if app.json {
        return app.print_json(one);
    }
    app.line(format!("{}  {}", one.id, one.name))?;
    app.line(format!("To: {}", one.url))?;
    if let (Some(schedule), Some(zone)) = (&one.schedule, &one.local_time_zone) {
        let whose = if one.time_zone.is_some() { "" } else { ", as at its property" };
        let form = one.form.map_or_else(String::new, |form| format!(" as {}", show::words(&form)));
        app.line(format!("A digest{form} at {schedule} ({zone}{whose}), next:"))?;
        for at in &one.next {
            app.line(format!("  {}", at.to_rfc3339()))?;
        }
    } else {
        let kinds: Vec<String> = one.kinds.iter().map(show::words).collect();
        let of = if kinds.is_empty() { "everything".to_owned() } else { kinds.join(", ") };
        app.line(format!("Reminders of {of}"))?;
    }
    // By their ids: a name would have to be asked for, and a secret that is shown once must not be lost over that.
    match (one.property_id, one.system_id) {
        (None, None) => app.line("Of the whole account")?,
        (property, system) => {
            property.iter().try_for_each(|id| app.line(format!("Only at property {id}")))?;
            system.iter().try_for_each(|id| app.line(format!("Only of system {id}")))?;
        }
    }
    let ahead = one.lead_days.map_or_else(|| "as usual".to_owned(), |days| days.to_string());
    app.line(format!("Days ahead: {ahead}"))?;
    if let Some(at) = one.paused_at {
        let because = one.paused_because.as_deref().map(|why| format!(": {why}")).unwrap_or_default();
        app.line(format!("Paused since {}{because}", at.to_rfc3339()))?;
    }
    if let Some(until) = one.old_secret_until {
        app.line(format!("The secret before the last change signs too until {}", until.to_rfc3339()))?;
    }
    app.line(format!("{} waiting, {} given up", one.waiting, one.parked))
}

async fn list(app: &mut App<'_>) -> Result<(), Failure> {
    let all = app.client.subscriptions().list(&ListQuery::builder().limit(PAGE).build()).all().await?;
    if app.json {
        return app.print_json(&all);
    }
    if all.is_empty() {
        return app.line("No subscriptions. Make one with `eavesward subscription add`.");
    }
    let mut table = Table::new(["subscription", "name", "carries", "next", "waiting", "given up", "to"]);
    for one in all {
        let next =
            if one.paused_at.is_some() { "paused".to_owned() } else { instant(one.next.first().copied()) };
        table.row([
            one.id.to_string(),
            one.name,
            show::words(&one.carries),
            next,
            one.waiting.to_string(),
            one.parked.to_string(),
            one.url,
        ]);
    }
    Ok(table.write(app.io.out)?)
}

async fn deliveries(app: &mut App<'_>, id: Uuid, state: Option<DeliveryState>) -> Result<(), Failure> {
    let query = DeliveryQuery::builder().maybe_state(state).limit(PAGE).build();
    let all = app.client.subscriptions().deliveries(id, &query).all().await?;
    if app.json {
        return app.print_json(&all);
    }
    if all.is_empty() {
        return app.line("No such delivery.");
    }
    let mut table = Table::new(["delivery", "made", "what", "stands", "attempts", "next"]);
    for one in all {
        table.row([
            one.id.to_string(),
            one.created_at.to_rfc3339(),
            show::words(&one.content),
            show::words(&one.state),
            one.attempts.to_string(),
            instant(one.next_at),
        ]);
    }
    Ok(table.write(app.io.out)?)
}

async fn delivery(app: &mut App<'_>, id: Uuid) -> Result<(), Failure> {
    let log = app.client.subscriptions().delivery(id).await?;
    if app.json {
        return app.print_json(&log);
    }
    let one = &log.delivery;
    app.line(format!("{}  {}, {}", one.id, show::words(&one.content), show::words(&one.state)))?;
    if one.next_at.is_some() {
        app.line(format!("Next attempt {}", instant(one.next_at)))?;
    }
    if log.attempts.is_empty() {
        return app.line("Not tried yet.");
    }
    let mut table = Table::new(["tried", "took", "answer"]);
    for attempt in log.attempts {
        let status = attempt.status.map(|status| status.to_string());
        table.row([
            attempt.at.to_rfc3339(),
            format!("{} ms", attempt.took_ms),
            status.or(attempt.error).unwrap_or_default(),
        ]);
    }
    Ok(table.write(app.io.out)?)
}
