//! A bounded number of places for each of those who ask for them.

use std::collections::HashMap;
use std::hash::Hash;
use std::sync::{Arc, Mutex, PoisonError};

/// At most so many places for each key. Keys without a place are forgotten.
#[derive(Clone, Debug)]
pub struct Places<K> {
    most: usize,
    taken: Arc<Mutex<HashMap<K, usize>>>,
}

/// A place. Dropping it frees the place.
#[derive(Debug)]
pub struct Place<K: Copy + Eq + Hash> {
    key: K,
    of: Places<K>,
}

impl<K: Copy + Eq + Hash> Places<K> {
    /// So many places for each key.
    pub fn new(most: usize) -> Self {
        Self { most, taken: Arc::default() }
    }

    /// A place, if the key has fewer than the most.
    pub fn take(&self, key: K) -> Option<Place<K>> {
        let mut taken = self.taken.lock().unwrap_or_else(PoisonError::into_inner);
        let of_key = taken.get(&key).copied().unwrap_or_default();
        if of_key >= self.most {
            return None;
        }
        taken.insert(key, of_key + 1);
        drop(taken);
        Some(Place { key, of: Self { most: self.most, taken: Arc::clone(&self.taken) } })
    }

    /// How many of its places a key has taken.
    pub fn taken(&self, key: K) -> usize {
        let taken = self.taken.lock().unwrap_or_else(PoisonError::into_inner);
        taken.get(&key).copied().unwrap_or_default()
    }

    /// How many places each key has.
    pub fn most(&self) -> usize {
        self.most
    }

    /// Whether no place is taken.
    pub fn is_empty(&self) -> bool {
        self.taken.lock().unwrap_or_else(PoisonError::into_inner).is_empty()
    }
}

impl<K: Copy + Eq + Hash> Drop for Place<K> {
    fn drop(&mut self) {
        let mut taken = self.of.taken.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(of_key) = taken.get_mut(&self.key) {
            *of_key -= 1;
            if *of_key == 0 {
                taken.remove(&self.key);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_key_has_places_of_its_own_and_gets_them_back() {
        let places = Places::new(2);
        let held = (places.take(1), places.take(1));
        assert!(held.0.is_some() && held.1.is_some());
        assert!(places.take(1).is_none(), "both are taken");
        assert!(places.take(2).is_some(), "another key");
        drop(held);
        assert!(places.take(1).is_some());
        assert!(places.is_empty(), "keys without a place are forgotten");
    }
}
