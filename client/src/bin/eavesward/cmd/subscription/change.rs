//! `eavesward subscription change`.

use crate::app::App;
use crate::failure::Failure;
use crate::{parse, show};
use clap::{Args, ValueEnum};
use eavesward_client::contract::{
    DigestFormat, ReminderKind, Sends, Subscription as Shown, SubscriptionRequest,
};
use eavesward_client::subscription_update_from;

/// Changes of a subscription.
#[derive(Args)]
#[group(required = true, multiple = true)]
pub struct Changes {
    /// The new name
    #[arg(long)]
    name: Option<String>,
    /// Send to this https URL
    #[arg(long = "to", value_name = "URL")]
    to: Option<String>,
    /// For a digest: its times in crontab format
    #[arg(long, value_name = "CRONTAB")]
    digest: Option<String>,
    /// For a digest: the time zone of its times, such as Europe/Lisbon
    #[arg(long, value_name = "ZONE")]
    time_zone: Option<String>,
    /// For a digest: json, text, markdown or csv
    #[arg(long, value_parser = parse::word::<DigestFormat>)]
    format: Option<DigestFormat>,
    /// For reminders: only these kinds: coming, due, late, moved, done, withdrawn
    #[arg(long, value_delimiter = ',', value_parser = parse::word::<ReminderKind>)]
    kind: Vec<ReminderKind>,
    /// Only at this property
    #[arg(long, value_name = "PROPERTY")]
    property: Option<String>,
    /// Only of this system
    #[arg(long, value_name = "SYSTEM")]
    system: Option<String>,
    /// For a digest: how many days it looks ahead
    #[arg(long, value_name = "DAYS", value_parser = parse::days)]
    horizon_days: Option<u32>,
    /// For reminders: how many days before the due date one is sent
    #[arg(long, value_name = "DAYS", value_parser = parse::days)]
    lead_days: Option<u32>,
    /// Clear a setting: kind, property or system (then all are sent), horizon-days or lead-days (then the
    /// default), time-zone (then the property's)
    #[arg(long, value_name = "WHAT", value_enum, value_delimiter = ',', hide_possible_values = true)]
    clear: Vec<Cleared>,
}

/// Settings that can be cleared, named as the options that set them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Cleared {
    /// `--kind`.
    Kind,
    /// `--property`.
    Property,
    /// `--system`.
    System,
    /// `--horizon-days`.
    HorizonDays,
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
                Cleared::HorizonDays => request.horizon_days = None,
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
        request.to = self.to.unwrap_or(request.to);
        request.schedule = self.digest.or(request.schedule);
        request.time_zone = self.time_zone.or(request.time_zone);
        request.format = self.format.or(request.format);
        request.horizon_days = self.horizon_days.or(request.horizon_days);
        request.lead_days = self.lead_days.or(request.lead_days);
        Ok(request)
    }

    /// Refuses contradicting options, and options of the other kind of subscription.
    fn check(&self, known: &Shown) -> Result<(), Failure> {
        for (what, option, given) in [
            (Cleared::Kind, "kind", !self.kind.is_empty()),
            (Cleared::Property, "property", self.property.is_some()),
            (Cleared::System, "system", self.system.is_some()),
            (Cleared::HorizonDays, "horizon-days", self.horizon_days.is_some()),
            (Cleared::LeadDays, "lead-days", self.lead_days.is_some()),
            (Cleared::TimeZone, "time-zone", self.time_zone.is_some()),
        ] {
            if given && self.clear.contains(&what) {
                return Err(Failure::usage(format!("give --{option} or --clear {option}, not both")));
            }
        }
        let of_digests = self.digest.is_some()
            || self.time_zone.is_some()
            || self.format.is_some()
            || self.horizon_days.is_some();
        let of_reminders = !self.kind.is_empty() || self.lead_days.is_some();
        let strange = match known.sends {
            Sends::Reminders if of_digests => {
                "--digest, --time-zone, --format and --horizon-days are for digests"
            }
            Sends::Digest if of_reminders => "--kind and --lead-days are for reminders",
            _ => return Ok(()),
        };
        let sends = show::words(&known.sends);
        Err(Failure::usage(format!(
            "{} sends {sends}, and {strange}; add another subscription for them",
            known.name
        )))
    }
}
