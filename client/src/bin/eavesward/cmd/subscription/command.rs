//! The subcommands.

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
