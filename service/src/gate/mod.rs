//! Keeps one account from slowing down the others: how many requests it may send, have under way, and work on at once.
//!
//! Each process counts by itself: three replicas take three times the rate.

mod lane;
mod places;
mod rate;

pub use lane::{Lane, Turn};
pub use places::{Place, Places};
pub use rate::{Allowance, Rate};

use crate::domain::base::ids::AccountId;
use std::sync::atomic::{AtomicU64, Ordering};

/// The bounds, from the settings.
#[derive(Clone, Copy, Debug)]
pub struct Bounds {
    /// Requests of one account each second, in the long run; `None` bounds nothing.
    pub per_s: Option<std::num::NonZeroU32>,
    /// Requests that an account may send at once after it was silent.
    pub burst: std::num::NonZeroU32,
    /// Requests of one account that may be under way.
    pub in_flight: usize,
    /// Requests of all accounts that are worked on at once.
    pub at_once: usize,
    /// Heavy requests of all accounts that are worked on at once, beside the others.
    pub heavy_at_once: usize,
}

/// How much a request asks of the service.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Work {
    /// It reads or writes some rows.
    Light,
    /// It computes or carries much: forecasts, digests, rounds, imports.
    Heavy,
}

/// Why a request is refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refusal {
    /// The account sent too many.
    Rate(Allowance),
    /// Too many of the account's are under way.
    UnderWay {
        /// As many as may be.
        most: usize,
        /// Whether heavy ones alone were counted.
        heavy: bool,
    },
}

/// Lets requests through.
#[derive(Debug)]
pub struct Gate {
    rate: Option<Rate>,
    in_flight: Places<AccountId>,
    heavy_in_flight: Places<AccountId>,
    waiting: Places<AccountId>,
    light: Lane,
    heavy: Lane,
    refused: Refused,
}

/// How many requests were refused, by the bound that they met.
#[derive(Debug, Default)]
struct Refused {
    rate: AtomicU64,
    under_way: AtomicU64,
    heavy_under_way: AtomicU64,
}

/// A request that was let through. It holds a place among the account's until it is dropped.
#[derive(Debug)]
pub struct Admitted {
    /// What the account may still send; `None` if rates are not bounded.
    pub allowance: Option<Allowance>,
    _place: Place<AccountId>,
}

impl Gate {
    /// A gate that nobody has passed yet.
    pub fn new(bounds: &Bounds) -> Self {
        // A body waits in memory for a heavy turn, so that few may. Judgement.
        let heavy_in_flight = (bounds.in_flight / 16).max(1);
        // One account gets half of the light places, so that the next one finds a free one and an idle core. Heavy work
        // may take all of its places: whoever comes has the next one that is free.
        let (light_share, heavy_share) = ((bounds.at_once / 2).max(1), bounds.heavy_at_once);
        Self {
            rate: bounds.per_s.map(|per_s| Rate::new(per_s, bounds.burst)),
            in_flight: Places::new(bounds.in_flight),
            heavy_in_flight: Places::new(heavy_in_flight),
            waiting: Places::new(bounds.in_flight),
            light: Lane::new(bounds.at_once, light_share),
            heavy: Lane::new(bounds.heavy_at_once, heavy_share),
            refused: Refused::default(),
        }
    }

    /// Counts a request of an account.
    ///
    /// # Errors
    /// The bound that it would break.
    pub fn admit(&self, account: AccountId) -> Result<Admitted, Refusal> {
        let allowance = self.rate.as_ref().map(|rate| rate.take(account)).transpose();
        let allowance = allowance.map_err(|allowance| self.refuse(Refusal::Rate(allowance)))?;
        let most = self.in_flight.most();
        let place = self.in_flight.take(account);
        let place = place.ok_or_else(|| self.refuse(Refusal::UnderWay { most, heavy: false }))?;
        Ok(Admitted { allowance, _place: place })
    }

    /// Counts a refusal.
    fn refuse(&self, refusal: Refusal) -> Refusal {
        let Refused { rate, under_way, heavy_under_way } = &self.refused;
        let count = match refusal {
            Refusal::Rate(_) => rate,
            Refusal::UnderWay { heavy: false, .. } => under_way,
            Refusal::UnderWay { heavy: true, .. } => heavy_under_way,
        };
        count.fetch_add(1, Ordering::Relaxed);
        refusal
    }

    /// How many requests were refused since the start, by the bound that they met.
    pub fn refused(&self) -> [(&'static str, u64); 3] {
        let Refused { rate, under_way, heavy_under_way } = &self.refused;
        [("rate", rate), ("under_way", under_way), ("heavy_under_way", heavy_under_way)]
            .map(|(bound, count)| (bound, count.load(Ordering::Relaxed)))
    }

    /// A place among the account's heavy requests; light ones need none.
    ///
    /// # Errors
    /// The bound that it would break.
    pub fn place(&self, account: AccountId, work: Work) -> Result<Option<Place<AccountId>>, Refusal> {
        let most = self.heavy_in_flight.most();
        match work {
            Work::Light => Ok(None),
            Work::Heavy => {
                let place = self.heavy_in_flight.take(account).map(Some);
                place.ok_or_else(|| self.refuse(Refusal::UnderWay { most, heavy: true }))
            }
        }
    }

    /// A place among the account's requests that wait for something to happen, if one is free.
    pub fn wait(&self, account: AccountId) -> Option<Place<AccountId>> {
        self.waiting.take(account)
    }

    /// Waits until it is the account's turn to be worked for.
    pub async fn turn(&self, account: AccountId, work: Work) -> Turn {
        match work {
            Work::Light => self.light.turn(account).await,
            Work::Heavy => self.heavy.turn(account).await,
        }
    }
}
