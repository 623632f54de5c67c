//! Rounds: tasks put together into trips.

use super::lists::list_methods;
use crate::{Client, Error, KeptRoundQuery, RoundQuery, requests};
use eavesward_contract::{Round, RoundDone, RoundDoneRequest, RoundProposal, RoundRequest};
use uuid::Uuid;

/// Tasks put together into few trips: proposed, kept as planned, and done.
#[derive(Clone, Copy, Debug)]
pub struct Rounds<'a>(pub(super) &'a Client);

impl Rounds<'_> {
    list_methods!(Round, KeptRoundQuery, requests::list_rounds);

    /// Puts tasks together into trips; nothing is stored.
    pub async fn propose(&self, query: &RoundQuery) -> Result<RoundProposal, Error> {
        self.0.call(requests::propose_rounds(query)).await
    }

    /// Keeps a round as planned; its tasks are not proposed again until its day is over, it is done or called off.
    pub async fn keep(&self, round: &RoundRequest) -> Result<Round, Error> {
        self.0.call(requests::keep_round(round)?).await
    }

    /// One kept round.
    pub async fn get(&self, id: Uuid) -> Result<Round, Error> {
        self.0.call(requests::round(id)).await
    }

    /// Calls a planned round off, if it still has this version.
    pub async fn call_off(&self, id: Uuid, version: i64) -> Result<(), Error> {
        self.0.send(requests::call_off_round(id, version)).await.map(drop)
    }

    /// Reports a round as done: logs one visit a system, all of them or none. The same report
    /// twice gives the same visits; another one is refused with a conflict.
    pub async fn finish(&self, id: Uuid, report: &RoundDoneRequest) -> Result<RoundDone, Error> {
        self.0.call(requests::finish_round(id, report)?).await
    }
}
