//! What accounts have set for duties.

use super::make::{self, account, at, home};
use super::{Rig, on_both};
use eavesward_service::domain::base::error::StoreError;
use eavesward_service::domain::base::ids::AccountId;
use eavesward_service::domain::model::duty::Duty;
use eavesward_service::domain::model::duty_settings::{DutySetting, DutySettings, Overrides};
use eavesward_service::domain::ports::store::duty_settings::DutySettingStore as _;
use eavesward_service::domain::ports::store::outcomes::Updated;
use eavesward_service::domain::ports::store::systems::SystemStore as _;
use eavesward_service::domain::ports::store::tasks::TaskStore as _;
use std::sync::Arc;

on_both!(
    settings_come_back_and_change_under_guard,
    settings_of_another_account_are_out_of_reach,
    one_of_eight_rivals_sets_a_duty_first,
    a_setting_makes_all_systems_of_its_account_stale_and_no_others,
    a_refused_setting_makes_nothing_stale,
    inputs_hold_what_the_account_has_set,
    settings_and_rain_at_once_leave_nothing_behind,
    an_account_that_is_not_there_sets_nothing,
);

fn own(ceiling_months: Option<u32>, tolerance: Option<f64>) -> Overrides {
    Overrides {
        ceiling_months,
        tolerance,
        lead_days: ceiling_months.map(|months| months * 2),
        move_days: None,
    }
}

async fn settings_come_back_and_change_under_guard(rig: &Rig) {
    let store = &rig.database;
    let mine = account(rig).await;
    assert_eq!(store.duty_settings(mine).await.unwrap(), []);
    let put = async |duty, version, own, seconds| {
        store.put_duty_setting(mine, duty, version, own, at(seconds)).await.unwrap()
    };
    let first = own(Some(240), Some(0.1 + 0.2));
    for wrong in [1, -1, i64::MAX] {
        assert_eq!(put(Duty::CleanScreen, wrong, first, 1).await, Updated::Stale { current: 0 });
    }
    assert_eq!(put(Duty::CleanScreen, 0, first, 2).await, Updated::Done);
    assert_eq!(put(Duty::CleanScreen, 0, own(None, None), 3).await, Updated::Stale { current: 1 });
    let stored = |own, version, seconds| DutySetting {
        duty: Duty::CleanScreen,
        own,
        version,
        updated_at: Some(at(seconds)),
    };
    assert_eq!(store.duty_settings(mine).await.unwrap(), [stored(first, 1, 2)]);
    assert_eq!(put(Duty::CleanScreen, 1, own(None, Some(0.99)), 4).await, Updated::Done);
    assert_eq!(put(Duty::CleanScreen, 1, first, 5).await, Updated::Stale { current: 2 });
    assert_eq!(store.duty_settings(mine).await.unwrap(), [stored(own(None, Some(0.99)), 2, 4)]);
    // Back at the defaults the row and its version stay.
    assert_eq!(put(Duty::CleanScreen, 2, own(None, None), 6).await, Updated::Done);
    assert_eq!(put(Duty::CleanScreen, 0, first, 7).await, Updated::Stale { current: 3 });
    assert_eq!(store.duty_settings(mine).await.unwrap(), [stored(own(None, None), 3, 6)]);
    for duty in Duty::ALL.iter().filter(|duty| **duty != Duty::CleanScreen) {
        assert_eq!(put(*duty, 0, own(Some(1), None), 8).await, Updated::Done);
    }
    assert_eq!(store.duty_settings(mine).await.unwrap().len(), Duty::ALL.len());
}

async fn settings_of_another_account_are_out_of_reach(rig: &Rig) {
    let store = &rig.database;
    let (mine, other) = (account(rig).await, account(rig).await);
    let set = async |account, version, months| {
        store
            .put_duty_setting(account, Duty::CheckMesh, version, own(Some(months), None), at(1))
            .await
            .unwrap()
    };
    assert_eq!(set(mine, 0, 5).await, Updated::Done);
    assert_eq!(set(mine, 1, 6).await, Updated::Done);
    assert_eq!(store.duty_settings(other).await.unwrap(), []);
    assert_eq!(set(other, 2, 7).await, Updated::Stale { current: 0 });
    assert_eq!(set(other, 0, 8).await, Updated::Done);
    let months = async |account| store.duty_settings(account).await.unwrap()[0].own.ceiling_months;
    assert_eq!((months(mine).await, months(other).await), (Some(6), Some(8)));
}

async fn one_of_eight_rivals_sets_a_duty_first(rig: &Rig) {
    let mine = account(rig).await;
    let mut rivals = Vec::new();
    for months in 1..=8 {
        let replica = rig.replica().await;
        rivals.push(tokio::spawn(async move {
            let set = own(Some(months), None);
            let done = replica.put_duty_setting(mine, Duty::WorkValve, 0, set, at(1)).await.unwrap();
            (months, done)
        }));
    }
    let mut won = Vec::new();
    for rival in rivals {
        match rival.await.unwrap() {
            (months, Updated::Done) => won.push(months),
            (_, other) => assert_eq!(other, Updated::Stale { current: 1 }),
        }
    }
    let stored = rig.database.duty_settings(mine).await.unwrap();
    assert_eq!((won.len(), stored.len()), (1, 1));
    assert_eq!(stored[0].own.ceiling_months, Some(won[0]));
}

async fn a_setting_makes_all_systems_of_its_account_stale_and_no_others(rig: &Rig) {
    let home = home(rig).await;
    let other = make::home(rig).await;
    let gauge = make::new_gauge(home.account, "Second gauge");
    eavesward_service::domain::ports::store::gauges::GaugeStore::insert_gauge(&rig.database, &gauge)
        .await
        .unwrap();
    make::add_system(rig, home.account, home.property.id, gauge.id, "Greenhouse").await;
    make::settle(rig, &home, at(100), at(1_000_000)).await;
    let set = own(Some(3), None);
    let done = rig.database.put_duty_setting(home.account, Duty::CheckPump, 0, set, at(101)).await.unwrap();
    assert_eq!(done, Updated::Done);
    let claims = make::claim_all(rig, at(102)).await;
    assert_eq!(claims.len(), 2);
    assert!(claims.iter().all(|claim| claim.account_id == home.account && claim.inputs_version == 2));
    assert!(claims.iter().all(|claim| claim.system_id != other.system.id));
}

async fn a_refused_setting_makes_nothing_stale(rig: &Rig) {
    let home = home(rig).await;
    make::settle(rig, &home, at(100), at(1_000_000)).await;
    for version in [1, 9] {
        let set = own(Some(3), None);
        let refused =
            rig.database.put_duty_setting(home.account, Duty::CheckPump, version, set, at(101)).await;
        assert_eq!(refused.unwrap(), Updated::Stale { current: 0 });
    }
    assert_eq!(rig.database.stale_count(at(102)).await.unwrap(), 0);
}

async fn inputs_hold_what_the_account_has_set(rig: &Rig) {
    let home = home(rig).await;
    let (second, _) =
        make::add_system(rig, home.account, home.property.id, home.gauge.id, "Greenhouse").await;
    let other = make::home(rig).await;
    let store = &rig.database;
    let sets = [
        (Duty::CleanScreen, own(Some(7), Some(0.4))),
        (Duty::RemoveSediment, own(Some(60), None)),
        (Duty::CheckTrap, own(None, None)),
    ];
    for (duty, own) in sets {
        store.put_duty_setting(home.account, duty, 0, own, at(1)).await.unwrap();
    }
    let asked = [(home.account, home.system.id), (other.account, other.system.id), (home.account, second.id)];
    let found = store.inputs(&asked).await.unwrap();
    let expected: DutySettings = sets.into_iter().collect();
    assert_eq!(*found[0].duty_settings, expected);
    assert_eq!(*found[1].duty_settings, DutySettings::default());
    assert!(Arc::ptr_eq(&found[0].duty_settings, &found[2].duty_settings), "read once for the account");
    assert_eq!(found[0].duty_settings.figures(Duty::CleanScreen).tolerance, Some(0.4));
}

async fn settings_and_rain_at_once_leave_nothing_behind(rig: &Rig) {
    let home = home(rig).await;
    for number in 0..20 {
        let name = format!("System {number}");
        make::add_system(rig, home.account, home.property.id, home.gauge.id, &name).await;
    }
    let (account, gauge) = (home.account, home.gauge.id);
    let mut running = Vec::new();
    for duty in [Duty::CleanScreen, Duty::CheckMesh] {
        let database = rig.replica().await;
        running.push(tokio::spawn(async move {
            for version in 0..15 {
                let set = own(u32::try_from(version + 1).ok(), None);
                let done = database.put_duty_setting(account, duty, version, set, at(version)).await.unwrap();
                assert_eq!(done, Updated::Done);
            }
        }));
    }
    let database = rig.replica().await;
    running.push(tokio::spawn(async move {
        use eavesward_service::domain::ports::store::gauges::GaugeStore as _;
        for step in 0..15 {
            database.put_rain(account, gauge, &make::readings(step, &[2.0])).await.unwrap().unwrap();
        }
    }));
    for task in running {
        task.await.unwrap();
    }
    let stored = rig.database.duty_settings(account).await.unwrap();
    assert!(
        stored.len() == 2 && stored.iter().all(|set| (set.version, set.own.ceiling_months) == (15, Some(15)))
    );
    let claims = make::claim_all(rig, at(1000)).await;
    assert!(claims.len() == 21 && claims.iter().all(|claim| claim.inputs_version == 1 + 45), "{claims:?}");
}

async fn an_account_that_is_not_there_sets_nothing(rig: &Rig) {
    let nobody = AccountId::new();
    let refused = rig.database.put_duty_setting(nobody, Duty::CheckMesh, 0, own(None, None), at(1)).await;
    assert!(matches!(refused, Err(StoreError::Dangling(_))), "{refused:?}");
}
