//! The subcommands of `subscription`.

use super::change::Changes;
use super::deliveries::{deliveries, delivery};
use super::facts::Facts;
use super::print::{list, print, with_secret};
use crate::app::App;
use crate::failure::Failure;
use crate::parse;
use clap::Subcommand;
use eavesward_client::contract::DeliveryState;
use uuid::Uuid;

/// Subcommands for subscriptions.
#[derive(Subcommand)]
pub enum Subscription {
    /// Make a subscription; its signing secret is shown only once
    Add(Facts),
    /// List subscriptions
    List,
    /// Show a subscription and its next times
    Show {
        /// The subscription's id
        id: Uuid,
    },
    /// Change a subscription; what you do not give stays
    Change {
        /// The subscription's id
        id: Uuid,
        /// The changes
        #[command(flatten)]
        changes: Changes,
    },
    /// Remove a subscription and its unsent messages
    Remove {
        /// The subscription's id
        id: Uuid,
    },
    /// Pause sending
    Pause {
        /// The subscription's id
        id: Uuid,
    },
    /// Resume sending, including what arose during the pause
    Resume {
        /// The subscription's id
        id: Uuid,
    },
    /// Change the secret; for one day messages are signed with both secrets
    Secret {
        /// The subscription's id
        id: Uuid,
    },
    /// Send a test message
    Test {
        /// The subscription's id
        id: Uuid,
    },
    /// List what a subscription sent or will send, latest first
    Deliveries {
        /// The subscription's id
        id: Uuid,
        /// Only deliveries with this status: waiting, delivered, parked, superseded
        #[arg(long, value_parser = parse::word::<DeliveryState>)]
        state: Option<DeliveryState>,
    },
    /// Show a delivery with every attempt
    Delivery {
        /// The delivery's id
        id: Uuid,
    },
    /// Send a delivery again with the same id
    Send {
        /// The delivery's id
        id: Uuid,
    },
}

impl Subscription {
    /// Runs the subcommand.
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
                app.say(&now, format!("{} is resumed.", now.name))
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
                        "Queued; `eavesward subscription delivery {}` shows whether it arrived.",
                        made.id
                    ),
                )
            }
            Self::Deliveries { id, state } => deliveries(app, id, state).await,
            Self::Delivery { id } => delivery(app, id).await,
            Self::Send { id } => {
                let sent = app.client.subscriptions().send_again(id).await?;
                app.say(&sent, "Queued again.")
            }
        }
    }
}
