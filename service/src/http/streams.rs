//! Slots for streams, the answers that do not end by themselves, and whether the service still takes requests.

use crate::domain::base::ids::{AccountId, KeyId};
use crate::gate::{Place, Places};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, watch};

/// The most streams of one key, so that a program that forgets to close its own leaves room for the others. Judgement: a
/// display needs one, and some programs watch a few systems each.
pub const STREAMS_PER_KEY: usize = 8;

/// The slots for streams. It also knows whether the service takes requests: not while it shuts down.
#[derive(Debug)]
pub struct StreamSlots {
    accepting: watch::Sender<bool>,
    free: Arc<Semaphore>,
    slots: usize,
    refused: AtomicU64,
    by_key: Places<KeyId>,
    by_account: Places<AccountId>,
}

/// A slot for one stream, which goes on until its reader leaves or the service shuts down. Dropping it frees the slot.
#[derive(Debug)]
pub struct StreamSlot {
    accepting: watch::Receiver<bool>,
    _of_key: Place<KeyId>,
    _of_account: Place<AccountId>,
    _permit: OwnedSemaphorePermit,
}

/// Why a stream gets no slot.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoSlot {
    /// All are taken, or the service shuts down.
    Full,
    /// The key has as many as a key may have.
    OfKey(usize),
    /// The account has as many as an account may have.
    OfAccount(usize),
}

impl StreamSlots {
    /// So many slots, all of them free, and the most of them for one account.
    pub fn new(slots: usize, of_account: usize) -> Self {
        let slots = slots.min(Semaphore::MAX_PERMITS);
        Self {
            accepting: watch::Sender::new(true),
            free: Arc::new(Semaphore::new(slots)),
            slots,
            refused: AtomicU64::new(0),
            by_key: Places::new(STREAMS_PER_KEY),
            by_account: Places::new(of_account),
        }
    }

    /// Says that the service is shutting down; streams end.
    pub fn close(&self) {
        self.accepting.send_replace(false);
        self.free.close();
    }

    /// Whether the service takes requests.
    pub fn is_accepting(&self) -> bool {
        *self.accepting.borrow()
    }

    /// How many streams an account has open, and the most that it may have.
    pub fn of_account(&self, account: AccountId) -> (usize, usize) {
        (self.by_account.taken(account), self.by_account.most())
    }

    /// How many streams are open.
    pub fn open(&self) -> usize {
        self.slots - self.free.available_permits()
    }

    /// How many streams were refused because a key or an account had its share.
    pub fn refused(&self) -> u64 {
        self.refused.load(Ordering::Relaxed)
    }

    fn refuse(&self, why: NoSlot) -> NoSlot {
        self.refused.fetch_add(1, Ordering::Relaxed);
        why
    }

    /// A slot for a key.
    ///
    /// # Errors
    /// Why there is none.
    pub fn take(&self, account: AccountId, key: KeyId) -> Result<StreamSlot, NoSlot> {
        let permit = Arc::clone(&self.free).try_acquire_owned().map_err(|_| NoSlot::Full)?;
        let of_key = self.by_key.take(key).ok_or_else(|| self.refuse(NoSlot::OfKey(self.by_key.most())))?;
        let of_account = self.by_account.take(account);
        let of_account = of_account.ok_or_else(|| self.refuse(NoSlot::OfAccount(self.by_account.most())))?;
        let accepting = self.accepting.subscribe();
        Ok(StreamSlot { accepting, _of_key: of_key, _of_account: of_account, _permit: permit })
    }
}

impl StreamSlot {
    /// Ends when the service shuts down.
    pub async fn closed(&mut self) {
        // An error means that the service is gone, which is the same.
        let _ = self.accepting.wait_for(|accepting| !accepting).await;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use uuid::Uuid;

    fn take(slots: &StreamSlots, account: u128, key: u128) -> Result<StreamSlot, NoSlot> {
        slots.take(AccountId(Uuid::from_u128(account)), KeyId(Uuid::from_u128(key)))
    }

    #[test]
    fn neither_a_key_nor_an_account_can_take_every_slot() {
        let slots = StreamSlots::new(4 * (STREAMS_PER_KEY + 2), STREAMS_PER_KEY + 2);
        let mut held: Vec<StreamSlot> =
            (0..STREAMS_PER_KEY).filter_map(|_| take(&slots, 1, 1).ok()).collect();
        assert_eq!(held.len(), STREAMS_PER_KEY);
        assert_eq!(take(&slots, 1, 1).err(), Some(NoSlot::OfKey(STREAMS_PER_KEY)));
        held.extend((0..2).filter_map(|_| take(&slots, 1, 2).ok()));
        assert_eq!(held.len(), STREAMS_PER_KEY + 2, "another key of the account");
        assert_eq!(take(&slots, 1, 2).err(), Some(NoSlot::OfAccount(STREAMS_PER_KEY + 2)));
        let others: Vec<StreamSlot> = (10..).map_while(|number| take(&slots, number, number).ok()).collect();
        assert_eq!(others.len(), 3 * (STREAMS_PER_KEY + 2), "the refusals took no slot");
        assert_eq!(take(&slots, 1, 1).err(), Some(NoSlot::Full));
        drop((held, others));
        assert!(slots.by_key.is_empty() && slots.by_account.is_empty(), "who has no stream is forgotten");
        slots.close();
        assert_eq!(take(&slots, 1, 1).err(), Some(NoSlot::Full), "not while it shuts down");
    }
}
