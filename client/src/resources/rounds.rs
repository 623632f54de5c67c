//! Rounds: tasks grouped into trips.

use super::lists::list_methods;
use crate::{Client, Error, KeptRoundQuery, RoundQuery, requests};
use eavesward_contract::{Round, RoundDone, RoundDoneRequest, RoundProposal, RoundRequest};
use uuid::Uuid;

/// Tasks grouped into few trips: proposed, kept as planned, and done.
#[derive(Clone, Copy, Debug)]
pub struct Rounds<'a>(pub(super) &'a Client);

impl Rounds<'_> {
    list_methods!(Round, KeptRoundQuery, requests::list_rounds);

    /// Groups tasks into trips. Nothing is stored.
    pub async fn propose(&self, query: &RoundQuery) -> Result<RoundProposal, Error> {
        self.0.call(requests::propose_rounds(query)).await
    }

    /// Keeps a planned round. Its tasks are reserved until its day ends, or until it is done or cancelled.
    pub async fn keep(&self, round: &RoundRequest) -> Result<Round, Error> {
        self.0.call(requests::keep_round(round)?).await
    }

    /// One kept round.
    pub async fn get(&self, id: Uuid) -> Result<Round, Error> {
        self.0.call(requests::round(id)).await
    }

    /// Cancels a planned round, if it still has this version.
    pub async fn cancel(&self, id: Uuid, version: i64) -> Result<(), Error> {
        self.0.send(requests::cancel_round(id, version)).await.map(drop)
    }

    /// Reports a round as done. It logs one visit for each system, all of them or none. The same report twice gives
    /// the same visits. A different second report is refused ([`Error::is_conflict`]).
    pub async fn finish(&self, id: Uuid, report: &RoundDoneRequest) -> Result<RoundDone, Error> {
        self.0.call(requests::finish_round(id, report)?).await
    }
}
