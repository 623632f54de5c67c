//! What refreshes keep in memory of the rain gauges between two passes: their records and what was computed from
//! them.
//!
//! A rain gauge is read from the store and fitted once. After that only newer readings are read and added, as long
//! as the record only grew at its end. The store counts all other changes and reports them
//! ([`GaugeStore::rain_since`]). Nothing in the cache is the only copy: a process with an empty cache makes the
//! same forecasts.
//!
//! Memory is bounded. Systems are refreshed in the same order every day, so dropping the least recently used gauge
//! would drop each one just before its turn. Instead, a gauge that was used within two days stays, and new ones
//! find no room. Room is made at the cost of the account that holds most of it.
//!
//! [`GaugeStore::rain_since`]: crate::domain::ports::store::gauges::GaugeStore::rain_since

use crate::domain::base::clock::MOST_AHEAD;
use crate::domain::base::error::{Result, Stored};
use crate::domain::base::ids::{AccountId, GaugeId};
use crate::domain::model::gauge::{Gauge, Normals};
use crate::domain::model::rain::{RainKnown, RainRead};
use crate::domain::rules::forecast::gauge_model::GaugeModel;
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use std::collections::HashMap;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

/// Room for a thousand rain gauges with ten years of readings and four kinds of roofs each, 220 kB a gauge.
const MOST_BYTES: usize = 256 << 20;

/// A gauge that was unused for this long makes room. Every gauge with a system in service is used once a day.
const UNUSED: TimeDelta = TimeDelta::days(2);

/// The rain gauges in memory.
pub struct GaugeCache {
    most_bytes: usize,
    /// How many slots were made.
    slots: AtomicU64,
    gauges: Mutex<HashMap<GaugeId, Slot>>,
}

/// The entry of one rain gauge. The task that holds its lock updates it; other tasks wait for that and do not
/// repeat the work.
struct Slot {
    cached: Arc<tokio::sync::Mutex<Option<CachedGauge>>>,
    account: AccountId,
    /// Counts the slots. A later one is dropped before an earlier one that was used at the same instant.
    number: u64,
    bytes: usize,
    used_at: DateTime<Utc>,
}

struct CachedGauge {
    gauge_model: Arc<GaugeModel>,
    rewrites: i64,
    made_of: GaugeVersion,
}

/// What a gauge model is made from apart from the readings: the rain gauge and its normals.
#[derive(PartialEq)]
struct GaugeVersion {
    created_at: DateTime<Utc>,
    normals: Option<Normals>,
}

impl Default for GaugeCache {
    fn default() -> Self {
        Self::with_room(MOST_BYTES)
    }
}

impl GaugeCache {
    /// A cache that keeps at most about this many bytes.
    pub fn with_room(most_bytes: usize) -> Self {
        Self { most_bytes, slots: AtomicU64::new(0), gauges: Mutex::default() }
    }

    /// The model of a rain gauge through a day, or further if a later day was asked for before. `read` reads the
    /// new part of its record.
    pub async fn gauge_model(
        &self,
        gauge: &Gauge,
        through: NaiveDate,
        read: impl AsyncFn(Option<RainKnown>) -> Stored<RainRead>,
    ) -> Result<Arc<GaugeModel>> {
        let made_of = GaugeVersion { created_at: gauge.created_at, normals: gauge.facts.normals.clone() };
        let slot = self.slot(gauge);
        let mut slot = slot.lock().await;
        let cached = slot.take().filter(|cached| cached.made_of == made_of);
        let known = cached
            .as_ref()
            .map(|cached| RainKnown { rewrites: cached.rewrites, through: cached.gauge_model.through() });
        let mut new = read(known).await?;
        let mut gauge_model = cached.map_or(Ok(None), |cached| grown(cached.gauge_model, &new))?;
        if gauge_model.is_none() && !new.whole {
            new = read(None).await?;
        }
        let gauge_model = gauge_model
            .take()
            .unwrap_or_else(|| Arc::new(GaugeModel::new(&new.days, made_of.normals.as_ref(), through)));
        *slot = Some(CachedGauge { gauge_model: Arc::clone(&gauge_model), rewrites: new.rewrites, made_of });
        Ok(gauge_model)
    }

    fn slot(&self, gauge: &Gauge) -> Arc<tokio::sync::Mutex<Option<CachedGauge>>> {
        let mut gauges = self.gauges.lock().unwrap_or_else(PoisonError::into_inner);
        let (account, used_at) = (gauge.account_id, DateTime::UNIX_EPOCH);
        let new = || {
            let number = self.slots.fetch_add(1, Ordering::Relaxed);
            Slot { cached: Arc::default(), account, number, bytes: 0, used_at }
        };
        Arc::clone(&gauges.entry(gauge.id).or_insert_with(new).cached)
    }

    /// Tells the cache which models were used and are not needed for now. It counts their memory and makes room if
    /// needed.
    pub fn used(&self, models: &HashMap<GaugeId, Arc<GaugeModel>>, now: DateTime<Utc>) {
        let mut gauges = self.gauges.lock().unwrap_or_else(PoisonError::into_inner);
        for (id, gauge_model) in models {
            gauge_model.forget_ahead();
            if let Some(slot) = gauges.get_mut(id) {
                (slot.bytes, slot.used_at) = (gauge_model.bytes(), now);
            }
        }
        let bytes = |gauges: &HashMap<GaugeId, Slot>| gauges.values().map(|slot| slot.bytes).sum::<usize>();
        if bytes(&gauges) <= self.most_bytes {
            return;
        }
        // A clock that was ahead may have noted a later instant.
        gauges.retain(|_, slot| slot.used_at > now - UNUSED && slot.used_at <= now + MOST_AHEAD);
        let mut over = bytes(&gauges).saturating_sub(self.most_bytes);
        for (id, gauge_model) in models {
            let Some(slot) = gauges.get_mut(id).filter(|_| over > 0) else { continue };
            // Roofs take most of the memory but little time to compute.
            gauge_model.forget_roofs();
            let left = gauge_model.bytes();
            over = over.saturating_sub(slot.bytes.saturating_sub(left));
            slot.bytes = left;
        }
        drop_latest_of_largest(&mut gauges, over);
    }
}

/// Removes gauges until so many bytes are free: each time of the account that holds most, the one that was used last.
/// So an account with many gauges cannot push out those of the others.
fn drop_latest_of_largest(gauges: &mut HashMap<GaugeId, Slot>, mut over: usize) {
    if over == 0 {
        return;
    }
    let mut held: HashMap<AccountId, (usize, Vec<GaugeId>)> = HashMap::new();
    for (id, slot) in &*gauges {
        let (bytes, of_account) = held.entry(slot.account).or_default();
        *bytes += slot.bytes;
        of_account.push(*id);
    }
    for (_, of_account) in held.values_mut() {
        of_account.sort_unstable_by_key(|id| gauges.get(id).map(|slot| (slot.used_at, slot.number)));
    }
    while over > 0 {
        let Some((bytes, of_account)) = held.values_mut().max_by_key(|(bytes, _)| *bytes) else { return };
        let Some(slot) = of_account.pop().and_then(|id| gauges.remove(&id)) else { return };
        *bytes -= slot.bytes;
        over = over.saturating_sub(slot.bytes);
    }
}

/// A model with the new readings added; `None` if it has to be made again from the whole record.
fn grown(gauge_model: Arc<GaugeModel>, new: &RainRead) -> Result<Option<Arc<GaugeModel>>> {
    if new.whole {
        return Ok(None);
    }
    if new.days.is_empty() {
        return Ok(Some(gauge_model));
    }
    Ok(gauge_model.grown(&new.days)?.map(Arc::new))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::model::gauge::{GaugeFacts, RainSpan};
    use crate::domain::model::property::Position;
    use crate::domain::model::rain::RainDay;
    use crate::domain::rules::forecast::convert::to_day;
    use eavesward_engine::Roof;
    use std::cell::{Cell, RefCell};

    fn now(days: i64) -> DateTime<Utc> {
        DateTime::UNIX_EPOCH + TimeDelta::days(20_000 + days)
    }

    fn day(number: i64) -> NaiveDate {
        now(number).date_naive()
    }

    fn gauge(normals: Option<Normals>) -> Gauge {
        Gauge {
            id: GaugeId(uuid::Uuid::from_u128(7)),
            account_id: AccountId(uuid::Uuid::from_u128(1)),
            facts: GaugeFacts {
                normals,
                ..GaugeFacts::new("orchard gauge", Position { latitude_deg: 48.0, longitude_deg: 0.5 })
            },
            span: RainSpan::default(),
            version: 1,
            created_at: now(0),
            updated_at: now(0),
        }
    }

    fn roof(coefficient: f64) -> Roof {
        Roof { wetting_loss_mm: 0.5, ..Roof::new(50.0, coefficient) }
    }

    /// A record like a store's, and what was asked of it.
    #[derive(Default)]
    struct Record {
        days: RefCell<Vec<RainDay>>,
        rewrites: Cell<i64>,
        asked: RefCell<Vec<Option<RainKnown>>>,
    }

    impl Record {
        fn of(days: i64) -> Self {
            let record = Self::default();
            record.add(0, days);
            record
        }

        fn add(&self, from: i64, to: i64) {
            let reading = |n: i64| RainDay { date: day(n), rain_mm: (n * n % 11) as f64 / 2.0 };
            self.days.borrow_mut().extend((from..to).map(reading));
        }

        async fn gauge_model(&self, cache: &GaugeCache, gauge: &Gauge, through: i64) -> Arc<GaugeModel> {
            let read = async |known: Option<RainKnown>| {
                self.asked.borrow_mut().push(known);
                let rewrites = self.rewrites.get();
                let after = known.filter(|known| known.rewrites == rewrites).and_then(|known| known.through);
                let new =
                    |one: &&RainDay| one.date <= day(through) && after.is_none_or(|last| one.date > last);
                let days = self.days.borrow().iter().filter(new).copied().collect();
                Ok(RainRead { rewrites, whole: after.is_none(), days })
            };
            cache.gauge_model(gauge, day(through), read).await.unwrap()
        }

        fn asked(&self) -> Vec<Option<NaiveDate>> {
            self.asked.take().into_iter().map(|known| known.and_then(|known| known.through)).collect()
        }
    }

    /// The same figures to the last bit.
    fn same(a: &GaugeModel, b: &GaugeModel) -> bool {
        let roofs = [roof(0.9), roof(0.6)];
        let alike = |roof| a.catchment(roof).unwrap() == b.catchment(roof).unwrap();
        a.through() == b.through()
            && a.gauge.climate() == b.gauge.climate()
            && a.gauge.record() == b.gauge.record()
            && roofs.iter().all(alike)
    }

    #[tokio::test]
    async fn only_what_is_new_is_read_and_gives_what_all_of_it_gives() {
        let (cache, record, gauge) = (GaugeCache::default(), Record::of(800), gauge(None));
        let first = record.gauge_model(&cache, &gauge, 799).await;
        first.catchment(&roof(0.9)).unwrap();
        assert_eq!(record.asked(), [None]);
        assert!(Arc::ptr_eq(&first, &record.gauge_model(&cache, &gauge, 800).await), "nothing is new");
        assert_eq!(record.asked(), [Some(day(799))]);
        for last in 800..830 {
            record.add(last, last + 1);
            let grown = record.gauge_model(&cache, &gauge, last).await;
            assert_eq!(record.asked(), [Some(day(last - 1))]);
            let whole = GaugeModel::new(&record.days.borrow(), None, day(last));
            assert!(same(&grown, &whole), "through {}", day(last));
        }
        assert_eq!(first.through(), Some(day(799)), "whoever holds the one of before keeps it");
    }

    #[tokio::test]
    async fn a_rewritten_record_and_other_normals_are_read_from_the_start() {
        let (cache, record, gauge) = (GaugeCache::default(), Record::of(800), gauge(None));
        record.gauge_model(&cache, &gauge, 900).await;
        record.days.borrow_mut()[17].rain_mm = 99.0;
        record.rewrites.set(1);
        let corrected = record.gauge_model(&cache, &gauge, 900).await;
        assert!(same(&corrected, &GaugeModel::new(&record.days.borrow(), None, day(900))));
        assert_eq!(record.asked(), [None, Some(day(799))], "and once is enough");
        let normals = Normals {
            rain_mm: vec![60.0; 12],
            wet_days: vec![9.0; 12],
            wet_day_threshold_mm: 1.0,
            years: 30.0,
        };
        let with = super::tests::gauge(Some(normals.clone()));
        let changed = record.gauge_model(&cache, &with, 900).await;
        assert!(same(&changed, &GaugeModel::new(&record.days.borrow(), Some(&normals), day(900))));
        assert_eq!(record.asked(), [None]);
        let again = Gauge { created_at: now(5), ..with };
        record.gauge_model(&cache, &again, 900).await;
        assert_eq!(record.asked(), [None], "another gauge of the same id");
    }

    #[tokio::test]
    async fn a_reading_that_does_not_come_after_the_last_one_leads_back_to_the_whole_record() {
        let (cache, record, gauge) = (GaugeCache::default(), Record::of(800), gauge(None));
        record.gauge_model(&cache, &gauge, 900).await;
        record.asked();
        // As a store would report if it failed to count a change.
        record.days.borrow_mut().push(RainDay { date: day(800), rain_mm: f64::NAN });
        let gauge_model = record.gauge_model(&cache, &gauge, 900).await;
        assert_eq!(record.asked(), [Some(day(799)), None]);
        assert_eq!(gauge_model.through(), Some(day(799)));
    }

    #[tokio::test]
    async fn a_full_cache_lets_go_of_roofs_then_of_newcomers_and_first_of_what_lies_unused() {
        let record = Record::of(4000);
        let gauges: Vec<Gauge> =
            (0..3).map(|n| Gauge { id: GaugeId(uuid::Uuid::from_u128(n)), ..gauge(None) }).collect();
        // Room for two without roofs.
        let cache = GaugeCache::with_room(80_000);
        let use_it = async |n: usize, at: i64| {
            let gauge_model = record.gauge_model(&cache, &gauges[n], 5000).await;
            gauge_model.catchment(&roof(0.9)).unwrap();
            cache.used(&HashMap::from([(gauges[n].id, gauge_model)]), now(at));
            record.asked().remove(0).is_some()
        };
        assert!(!use_it(0, 0).await && !use_it(1, 0).await && !use_it(2, 0).await, "all of them are new");
        assert!(use_it(0, 1).await && use_it(1, 1).await, "the first two stayed");
        assert!(!use_it(2, 1).await, "the third found no place");
        assert!(!use_it(2, 3).await && use_it(2, 3).await, "the others lay unused for two days");
        assert!(!use_it(0, 3).await);
    }

    #[tokio::test]
    async fn an_account_with_many_gauges_leaves_the_others_their_share() {
        let record = Record::of(4000);
        let of = |account: u128, n: u128| Gauge {
            id: GaugeId(uuid::Uuid::from_u128(100 * account + n)),
            account_id: AccountId(uuid::Uuid::from_u128(account)),
            ..gauge(None)
        };
        // Room for four without roofs.
        let cache = GaugeCache::with_room(150_000);
        let use_it = async |account: u128, n: u128| {
            let gauge = of(account, n);
            let gauge_model = record.gauge_model(&cache, &gauge, 5000).await;
            cache.used(&HashMap::from([(gauge.id, gauge_model)]), now(0));
            record.asked().remove(0).is_some()
        };
        for n in 0..20 {
            assert!(!use_it(1, n).await, "new");
        }
        assert!(use_it(1, 0).await && use_it(1, 3).await && !use_it(1, 4).await, "four stayed");
        assert!(!use_it(2, 0).await && use_it(2, 0).await, "the other account has room at once");
        assert!(!use_it(2, 1).await && use_it(2, 1).await, "for half of all");
        for n in 5..20 {
            use_it(1, n).await;
        }
        assert!(use_it(2, 0).await && use_it(2, 1).await, "and keeps it");
        assert!(use_it(1, 0).await && use_it(1, 1).await);
    }

    #[tokio::test]
    async fn roofs_that_nobody_asks_for_are_let_go() {
        let (cache, record, gauge) = (GaugeCache::default(), Record::of(800), gauge(None));
        let gauge_model = record.gauge_model(&cache, &gauge, 900).await;
        let bare = gauge_model.bytes();
        gauge_model.catchment(&roof(0.9)).unwrap();
        let one = gauge_model.bytes() - bare;
        gauge_model.catchment(&roof(0.6)).unwrap();
        record.add(800, 801);
        let gauge_model = record.gauge_model(&cache, &gauge, 900).await;
        assert!(gauge_model.bytes() > bare + one, "both were asked for");
        gauge_model.catchment(&roof(0.6)).unwrap();
        record.add(801, 802);
        let gauge_model = record.gauge_model(&cache, &gauge, 900).await;
        assert!(gauge_model.bytes() < bare + one + one / 2, "one of them was not");
        assert_eq!(gauge_model.through().map(to_day), Some(to_day(day(801))));
    }
}
