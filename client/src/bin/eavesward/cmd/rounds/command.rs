//! The subcommands of `rounds`.

use super::done::Done;
use super::print::{kept_line, list, show_round};
use super::propose::Propose;
use crate::app::App;
use crate::failure::Failure;
use chrono::NaiveDate;
use clap::Subcommand;
use eavesward_client::KeptRoundQuery;
use eavesward_client::contract::{RoundRequest, RoundState};
use uuid::Uuid;

/// Subcommands for rounds.
#[derive(Subcommand)]
pub enum Rounds {
    /// Propose few trips for what falls due; rounds are kept only with --keep
    Propose(Box<Propose>),
    /// Keep a planned round that you compose yourself
    Keep {
        /// The day
        #[arg(long, value_name = "DATE")]
        on: NaiveDate,
        /// The ids of the tasks, from `due --json` or `rounds propose --json`
        #[arg(required = true, value_name = "TASK")]
        tasks: Vec<Uuid>,
        /// A note
        #[arg(long, value_name = "TEXT")]
        note: Option<String>,
    },
    /// List planned rounds
    List {
        /// Include rounds that are done
        #[arg(long)]
        all: bool,
        /// Planned for this day or later
        #[arg(long, value_name = "DATE")]
        from: Option<NaiveDate>,
        /// Planned for this day or earlier
        #[arg(long, value_name = "DATE")]
        to: Option<NaiveDate>,
    },
    /// Show a kept round: what to do, what to bring, what to be careful of
    Show {
        /// The round's id
        id: Uuid,
    },
    /// Cancel a planned round; its tasks are proposed again
    Cancel {
        /// The round's id
        id: Uuid,
    },
    /// Report a round as done; this logs one visit for each system
    Done(Done),
}

impl Rounds {
    /// Runs the subcommand.
    pub async fn run(self, app: &mut App<'_>) -> Result<(), Failure> {
        match self {
            Self::Propose(asked) => asked.run(app).await,
            Self::Keep { on, tasks, note } => {
                let mut request = RoundRequest::new(on, tasks);
                request.note = note;
                let round = app.client.rounds().keep(&request).await?;
                let text = kept_line(&round);
                app.say(&round, text)
            }
            Self::List { all, from, to } => {
                let mut query = KeptRoundQuery::builder().build();
                (query.from, query.to) = (from, to);
                query.state = (!all).then_some(RoundState::Planned);
                let rounds = app.client.rounds().list(&query).all().await?;
                list(app, &rounds)
            }
            Self::Show { id } => {
                let round = app.client.rounds().get(id).await?;
                if app.json { app.print_json(&round) } else { show_round(app, &round) }
            }
            Self::Cancel { id } => {
                let round = app.client.rounds().get(id).await?;
                app.client.rounds().cancel(id, round.version).await?;
                app.done(format!("Round {id} is cancelled; its tasks are proposed again."))
            }
            Self::Done(done) => done.run(app).await,
        }
    }
}
