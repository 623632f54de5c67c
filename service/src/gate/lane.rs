//! Work that is done for a bounded number of requests at once, in which accounts take turns.

use crate::domain::base::ids::AccountId;
use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};

/// A lane. Whoever waits is served in order, and an account waits there with no more requests than its share: the others
/// of it wait behind them. So an account that sends a thousand requests delays the next one by its share alone.
#[derive(Debug)]
pub struct Lane {
    all: Arc<Semaphore>,
    share: usize,
    accounts: Arc<Accounts>,
}

/// The accounts that have something in the lane.
#[derive(Debug, Default)]
struct Accounts(Mutex<HashMap<AccountId, Line>>);

/// The requests of one account.
#[derive(Debug)]
struct Line {
    own: Arc<Semaphore>,
    requests: usize,
}

/// A turn. The next request has its turn when this is dropped.
#[derive(Debug)]
pub struct Turn {
    // Fields are dropped in this order: the lane is free before the account's next request enters it. Nobody closes a
    // semaphore here; if one were closed, its requests would not wait.
    _all: Option<OwnedSemaphorePermit>,
    _own: Option<OwnedSemaphorePermit>,
    _account: Waiting,
}

/// A request that is counted in its account's line until it is dropped.
#[derive(Debug)]
struct Waiting {
    account: AccountId,
    accounts: Arc<Accounts>,
}

impl Lane {
    /// A lane for so many requests at once, `share` of them of one account.
    pub fn new(at_once: usize, share: usize) -> Self {
        let bounded = |number: usize| number.clamp(1, Semaphore::MAX_PERMITS);
        Self {
            all: Arc::new(Semaphore::new(bounded(at_once))),
            share: bounded(share),
            accounts: Arc::default(),
        }
    }

    /// Waits for a turn. Dropping the future gives up the place in the line.
    pub async fn turn(&self, account: AccountId) -> Turn {
        let (waiting, own) = self.enter(account);
        let own = own.acquire_owned().await.ok();
        let all = Arc::clone(&self.all).acquire_owned().await.ok();
        Turn { _all: all, _own: own, _account: waiting }
    }

    fn enter(&self, account: AccountId) -> (Waiting, Arc<Semaphore>) {
        let mut accounts = self.accounts.lock();
        let line = accounts.entry(account).or_insert_with(|| Line::new(self.share));
        line.requests += 1;
        let own = Arc::clone(&line.own);
        (Waiting { account, accounts: Arc::clone(&self.accounts) }, own)
    }
}

impl Drop for Waiting {
    fn drop(&mut self) {
        let mut accounts = self.accounts.lock();
        if let Some(line) = accounts.get_mut(&self.account) {
            line.requests -= 1;
            if line.requests == 0 {
                accounts.remove(&self.account);
            }
        }
    }
}

impl Line {
    fn new(share: usize) -> Self {
        Self { own: Arc::new(Semaphore::new(share)), requests: 0 }
    }
}

impl Accounts {
    fn lock(&self) -> MutexGuard<'_, HashMap<AccountId, Line>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tokio::sync::mpsc;
    use uuid::Uuid;

    fn account(number: u128) -> AccountId {
        AccountId(Uuid::from_u128(number))
    }

    #[tokio::test]
    async fn accounts_take_turns() {
        let lane = Arc::new(Lane::new(1, 1));
        let first = lane.turn(account(1)).await;
        let (served, mut order) = mpsc::unbounded_channel();
        // A hundred requests of one account came before the one of another.
        for _ in 0..100 {
            tokio::spawn(serve(Arc::clone(&lane), account(1), served.clone()));
        }
        tokio::task::yield_now().await;
        tokio::spawn(serve(Arc::clone(&lane), account(2), served.clone()));
        tokio::task::yield_now().await;
        drop((first, served));
        let mut places = Vec::new();
        while let Some(account) = order.recv().await {
            places.push(account);
        }
        assert_eq!(places.len(), 101);
        let place = places.iter().position(|served| *served == account(2)).expect("it was served");
        assert!(place <= 1, "it was served as number {}", place + 1);
        assert!(lane.accounts.lock().is_empty(), "accounts without work are forgotten");
    }

    async fn serve(lane: Arc<Lane>, account: AccountId, served: mpsc::UnboundedSender<AccountId>) {
        let turn = lane.turn(account).await;
        served.send(account).expect("somebody counts");
        tokio::task::yield_now().await;
        drop(turn);
    }

    #[tokio::test]
    async fn who_leaves_the_line_holds_up_nobody() {
        let lane = Lane::new(1, 1);
        let turn = lane.turn(account(1)).await;
        tokio::select! {
            biased;
            _ = lane.turn(account(2)) => panic!("the lane is taken"),
            () = tokio::task::yield_now() => {}
        }
        drop(turn);
        drop(lane.turn(account(3)).await);
        assert!(lane.accounts.lock().is_empty());
    }
}
