//! Slots for streams, the answers that do not end by themselves, and whether the service still takes requests.

use crate::domain::base::ids::KeyId;
use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, watch};

/// The most streams of one key, so that a program that forgets to close its own leaves room for the others. Judgement: a
/// display needs one, and some programs watch a few systems each.
pub const STREAMS_PER_KEY: usize = 8;

/// The slots for streams. It also knows whether the service takes requests: not while it shuts down.
#[derive(Debug)]
pub struct StreamSlots {
    accepting: watch::Sender<bool>,
    free: Arc<Semaphore>,
    by_key: SlotsByKey,
}

/// How many slots each key has; keys without any are not in it.
type SlotsByKey = Arc<Mutex<HashMap<KeyId, usize>>>;

/// A slot for one stream, which goes on until its reader leaves or the service shuts down. Dropping it frees the slot.
#[derive(Debug)]
pub struct StreamSlot {
    accepting: watch::Receiver<bool>,
    key: KeyId,
    by_key: SlotsByKey,
    _permit: OwnedSemaphorePermit,
}

impl StreamSlots {
    /// So many slots, all of them free.
    pub fn new(slots: usize) -> Self {
        let slots = slots.min(Semaphore::MAX_PERMITS);
        Self {
            accepting: watch::Sender::new(true),
            free: Arc::new(Semaphore::new(slots)),
            by_key: SlotsByKey::default(),
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

    /// A slot for a key, if one is free, the key has fewer than [`STREAMS_PER_KEY`] and the service is not shutting
    /// down.
    pub fn take(&self, key: KeyId) -> Option<StreamSlot> {
        let permit = Arc::clone(&self.free).try_acquire_owned().ok()?;
        let mut by_key = self.by_key.lock().unwrap_or_else(PoisonError::into_inner);
        let of_key = by_key.entry(key).or_default();
        if *of_key >= STREAMS_PER_KEY {
            return None;
        }
        *of_key += 1;
        let accepting = self.accepting.subscribe();
        Some(StreamSlot { accepting, key, by_key: Arc::clone(&self.by_key), _permit: permit })
    }
}

impl StreamSlot {
    /// Ends when the service shuts down.
    pub async fn closed(&mut self) {
        // An error means that the service is gone, which is the same.
        let _ = self.accepting.wait_for(|accepting| !accepting).await;
    }
}

impl Drop for StreamSlot {
    fn drop(&mut self) {
        let mut by_key = self.by_key.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(of_key) = by_key.get_mut(&self.key) {
            *of_key -= 1;
            if *of_key == 0 {
                by_key.remove(&self.key);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_key_cannot_take_every_slot() {
        let slots = StreamSlots::new(STREAMS_PER_KEY + 2);
        let (greedy, modest) = (KeyId(uuid::Uuid::from_u128(1)), KeyId(uuid::Uuid::from_u128(2)));
        let mut held: Vec<StreamSlot> = (0..STREAMS_PER_KEY).filter_map(|_| slots.take(greedy)).collect();
        assert_eq!(held.len(), STREAMS_PER_KEY);
        assert!(slots.take(greedy).is_none(), "a refusal");
        let others = [slots.take(modest), slots.take(modest)];
        assert!(others.iter().all(Option::is_some), "the refusal took no slot");
        assert!(slots.take(modest).is_none(), "all slots are taken");
        held.pop();
        assert!(slots.take(greedy).is_some(), "a slot that is left is free again");
        drop((held, others));
        assert!(slots.by_key.lock().expect("a count").is_empty(), "keys without streams are forgotten");
        slots.close();
        assert!(slots.take(modest).is_none(), "not while it shuts down");
    }
}
