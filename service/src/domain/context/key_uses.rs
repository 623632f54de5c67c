//! When keys were used, until it is written.

use crate::domain::base::ids::KeyId;
use crate::domain::model::account::Key;
use chrono::{DateTime, DurationRound as _, TimeDelta, Utc};
use std::collections::HashMap;
use std::sync::{Mutex, MutexGuard, PoisonError};

/// The most keys that are held between two writes: about 5 MB. Further ones are noted after the next write. Judgement.
const MOST: usize = 100_000;

/// The minutes in which keys were last used, by key. Requests only write here; a job writes it to the store.
#[derive(Debug, Default)]
pub struct KeyUses(Mutex<HashMap<KeyId, DateTime<Utc>>>);

/// The minute of an instant.
pub fn minute(at: DateTime<Utc>) -> DateTime<Utc> {
    at.duration_trunc(TimeDelta::minutes(1)).unwrap_or(at)
}

impl KeyUses {
    /// Notes that a key was used, unless its row says so already.
    pub fn note(&self, key: &Key, now: DateTime<Utc>) {
        let at = minute(now);
        if key.last_used_at == Some(at) {
            return;
        }
        let mut used = self.held();
        if used.len() < MOST || used.contains_key(&key.id) {
            // Not the later one of both: the clock may have been ahead before.
            used.insert(key.id, at);
        }
    }

    /// Takes all out, by key.
    pub fn take(&self) -> Vec<(KeyId, DateTime<Utc>)> {
        let mut used: Vec<_> = std::mem::take(&mut *self.held()).into_iter().collect();
        used.sort_unstable();
        used
    }

    /// Puts back what could not be written, where no later use was noted.
    pub fn give_back(&self, unwritten: Vec<(KeyId, DateTime<Utc>)>) {
        let mut used = self.held();
        for (key, at) in unwritten {
            if used.len() >= MOST {
                return;
            }
            used.entry(key).or_insert(at);
        }
    }

    fn held(&self) -> MutexGuard<'_, HashMap<KeyId, DateTime<Utc>>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::base::ids::AccountId;
    use uuid::Uuid;

    fn key(number: u128, last_used_at: Option<DateTime<Utc>>) -> Key {
        Key {
            id: KeyId(Uuid::from_u128(number)),
            account_id: AccountId(Uuid::nil()),
            name: "orchard tablet".to_owned(),
            scopes: Vec::new(),
            system_id: None,
            hash: [0; 32],
            hint: String::new(),
            created_at: DateTime::UNIX_EPOCH,
            expires_at: None,
            revoked_at: None,
            last_used_at,
        }
    }

    fn at(seconds: i64) -> DateTime<Utc> {
        DateTime::UNIX_EPOCH + TimeDelta::seconds(seconds)
    }

    #[test]
    fn uses_are_held_to_the_minute_and_once() {
        let uses = KeyUses::default();
        uses.note(&key(2, None), at(59));
        uses.note(&key(1, None), at(61));
        uses.note(&key(1, None), at(179));
        uses.note(&key(3, Some(at(120))), at(179));
        let (one, two) = (KeyId(Uuid::from_u128(1)), KeyId(Uuid::from_u128(2)));
        assert_eq!(uses.take(), [(one, at(120)), (two, at(0))], "the third key's row has that minute");
        assert_eq!(uses.take(), []);
        uses.note(&key(1, None), at(240));
        uses.give_back(vec![(one, at(120)), (two, at(0))]);
        assert_eq!(uses.take(), [(one, at(240)), (two, at(0))]);
        // The clock was ahead, and is right again.
        uses.note(&key(1, None), at(86_400));
        uses.note(&key(1, None), at(300));
        assert_eq!(uses.take(), [(one, at(300))]);
    }

    #[test]
    fn no_more_keys_are_held_than_there_is_room_for() {
        let uses = KeyUses::default();
        for number in 0..MOST as u128 + 5 {
            uses.note(&key(number, None), at(0));
        }
        uses.note(&key(7, None), at(60));
        let held = uses.take();
        assert_eq!(held.len(), MOST);
        assert_eq!(held[7].1, at(60), "one that is held goes on");
    }
}
