//! How many requests an account may send.

use crate::domain::base::ids::AccountId;
use governor::clock::{Clock as _, DefaultClock};
use governor::middleware::StateInformationMiddleware;
use governor::state::keyed::DefaultKeyedStateStore;
use governor::{Quota, RateLimiter};
use std::num::NonZeroU32;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Duration;

type Limiter =
    RateLimiter<AccountId, DefaultKeyedStateStore<AccountId>, DefaultClock, StateInformationMiddleware>;

/// How many requests are let through between two looks for accounts that have been silent.
const TIDY_EVERY: u32 = 10_000;

/// Counts the requests of each account: a burst at once, and so many a second in the long run.
#[derive(Debug)]
pub struct Rate {
    limiter: Limiter,
    clock: DefaultClock,
    burst: NonZeroU32,
    per_s: NonZeroU32,
    counted: AtomicU32,
}

/// What an account may send.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Allowance {
    /// Requests that it may send at once after it was silent.
    pub burst: u32,
    /// Seconds in which that many are allowed again.
    pub window_s: u64,
    /// Requests that it may send now.
    pub left: u32,
    /// Seconds until it may send the next one, if none is left; otherwise until the burst is whole again.
    pub wait_s: u64,
}

impl Rate {
    /// Nobody has sent anything yet.
    pub fn new(per_s: NonZeroU32, burst: NonZeroU32) -> Self {
        let quota = Quota::per_second(per_s).allow_burst(burst);
        let limiter = RateLimiter::keyed(quota).with_middleware::<StateInformationMiddleware>();
        Self { limiter, clock: DefaultClock::default(), burst, per_s, counted: AtomicU32::new(0) }
    }

    /// Counts a request.
    ///
    /// # Errors
    /// What the account has to wait for, if it sent too many. Such a request is not counted.
    pub fn take(&self, account: AccountId) -> Result<Allowance, Allowance> {
        if self.counted.fetch_add(1, Ordering::Relaxed).is_multiple_of(TIDY_EVERY) {
            self.limiter.retain_recent();
        }
        match self.limiter.check_key(&account) {
            Ok(state) => {
                let left = state.remaining_burst_capacity();
                let missing = u64::from(self.burst.get().saturating_sub(left));
                Ok(self.allowance(left, missing.div_ceil(u64::from(self.per_s.get()))))
            }
            Err(not_yet) => Err(self.allowance(0, whole_seconds(not_yet.wait_time_from(self.clock.now())))),
        }
    }

    fn allowance(&self, left: u32, wait_s: u64) -> Allowance {
        let burst = self.burst.get();
        let window_s = u64::from(burst).div_ceil(u64::from(self.per_s.get()));
        Allowance { burst, window_s, left, wait_s: wait_s.max(1) }
    }
}

/// Seconds, rounded up: who waits that long is not refused again.
fn whole_seconds(wait: Duration) -> u64 {
    wait.as_secs() + u64::from(wait.subsec_nanos() > 0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use uuid::Uuid;

    #[test]
    fn a_burst_is_let_through_and_the_next_one_is_told_when() {
        let number = |number| NonZeroU32::new(number).expect("not zero");
        let rate = Rate::new(number(1), number(3));
        let (busy, other) = (AccountId(Uuid::from_u128(1)), AccountId(Uuid::from_u128(2)));
        // One a second is allowed for good. However slow this machine is, it asks sooner than that at last.
        let mut lefts = Vec::new();
        let refused = loop {
            match rate.take(busy) {
                Ok(allowance) => lefts.push(allowance.left),
                Err(refused) => break refused,
            }
        };
        assert!(lefts.len() >= 3 && lefts[0] == 2, "{lefts:?}");
        assert_eq!(refused, Allowance { burst: 3, window_s: 3, left: 0, wait_s: 1 });
        assert_eq!(rate.take(other).map(|it| it.left), Ok(2), "each account has its own");
    }
}
