//! What a new subscription is.

use crate::app::App;
use crate::failure::Failure;
use crate::parse;
use clap::Args;
use eavesward_client::contract::{Carries, DigestForm, ReminderKind, SubscriptionRequest};

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
    /// The request that makes it.
    pub async fn request(self, app: &App<'_>) -> Result<SubscriptionRequest, Failure> {
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
