//! What of a subscription becomes different.

use crate::app::App;
use crate::failure::Failure;
use crate::{parse, show};
use clap::{Args, ValueEnum};
use eavesward_client::contract::{
    Carries, DigestForm, ReminderKind, Subscription as Shown, SubscriptionRequest,
};
use eavesward_client::subscription_update_from;

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
    pub async fn request(self, app: &App<'_>, known: &Shown) -> Result<SubscriptionRequest, Failure> {
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
