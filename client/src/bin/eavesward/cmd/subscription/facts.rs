//! `eavesward subscription add`.

use crate::app::App;
use crate::failure::Failure;
use crate::parse;
use clap::Args;
use eavesward_client::contract::{DigestFormat, ReminderKind, Sends, SubscriptionRequest};

/// A new subscription.
#[derive(Args)]
pub struct Facts {
    /// The name
    #[arg(long)]
    name: String,
    /// Send to this https URL
    #[arg(long = "to", value_name = "URL")]
    to: String,
    /// Send a digest at these times, in crontab format: minute, hour, day of the month, month, day of the week,
    /// such as "0 7 * * 1"; without it, send reminders as they arise
    #[arg(long, value_name = "CRONTAB")]
    digest: Option<String>,
    /// For a digest: the time zone of its times, such as Europe/Lisbon; the property's by default
    #[arg(long, value_name = "ZONE", requires = "digest")]
    time_zone: Option<String>,
    /// For a digest: json, text, markdown or csv
    #[arg(long, requires = "digest", value_parser = parse::word::<DigestFormat>)]
    format: Option<DigestFormat>,
    /// For reminders: only these kinds: coming, due, late, moved, done, withdrawn
    #[arg(long, value_delimiter = ',', value_parser = parse::word::<ReminderKind>, conflicts_with = "digest")]
    kind: Vec<ReminderKind>,
    /// Only at this property
    #[arg(long, value_name = "PROPERTY")]
    property: Option<String>,
    /// Only of this system
    #[arg(long, value_name = "SYSTEM")]
    system: Option<String>,
    /// For a digest: how many days it looks ahead; 7 by default
    #[arg(long, value_name = "DAYS", requires = "digest", value_parser = parse::days)]
    horizon_days: Option<u32>,
    /// For reminders: how many days before the due date one is sent; as soon as it arises by default
    #[arg(long, value_name = "DAYS", conflicts_with = "digest", value_parser = parse::days)]
    lead_days: Option<u32>,
}

impl Facts {
    /// The request from the options.
    pub async fn request(self, app: &App<'_>) -> Result<SubscriptionRequest, Failure> {
        let property_id = match &self.property {
            Some(given) => Some(app.property_id(given).await?),
            None => None,
        };
        let system_id = match &self.system {
            Some(given) => Some(app.system_id(given).await?),
            None => None,
        };
        let mut request = SubscriptionRequest::new(self.name, self.to)
            .sends(if self.digest.is_some() { Sends::Digest } else { Sends::Reminders })
            .kinds(self.kind)
            .property_id(property_id)
            .system_id(system_id)
            .horizon_days(self.horizon_days)
            .lead_days(self.lead_days)
            .format(self.format);
        (request.schedule, request.time_zone) = (self.digest, self.time_zone);
        Ok(request)
    }
}
