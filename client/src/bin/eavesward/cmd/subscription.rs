//! `eavesward subscription`: reminders and digests, posted to an address.

use crate::app::{App, PAGE};
use crate::failure::Failure;
use crate::table::Table;
use crate::{parse, show};
use chrono::{DateTime, Utc};
use clap::{Args, Subcommand};
use eavesward_client::contract::{
    Carries, DeliveryState, DigestForm, ReminderKind, Subscription as Shown, SubscriptionRequest,
    SubscriptionSecret,
};
use eavesward_client::{DeliveryQuery, ListQuery};
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
    /// Replace what a subscription is, but for its secret
    Change {
        /// The subscription's id
        id: Uuid,
        /// What it is to be
        #[command(flatten)]
        facts: Facts,
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
            Self::Change { id, facts } => {
                let known = app.client.subscriptions().get(id).await?;
                let request = facts.request(app).await?;
                if request.carries != known.carries {
                    let carries = show::words(&known.carries);
                    return Err(Failure::usage(format!(
                        "{} carries {carries}; give or leave out --digest accordingly, or add another subscription",
                        known.name
                    )));
                }
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
        app.line(format!("A digest at {schedule} ({zone}), next:"))?;
        for at in &one.next {
            app.line(format!("  {}", at.to_rfc3339()))?;
        }
    } else {
        let kinds: Vec<String> = one.kinds.iter().map(show::words).collect();
        let of = if kinds.is_empty() { "everything".to_owned() } else { kinds.join(", ") };
        app.line(format!("Reminders of {of}"))?;
    }
    if let Some(at) = one.paused_at {
        let because = one.paused_because.as_deref().map(|why| format!(": {why}")).unwrap_or_default();
        app.line(format!("Paused since {}{because}", at.to_rfc3339()))?;
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
