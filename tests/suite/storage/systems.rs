//! Systems, components and what forecasts are made from.

use super::make::{self, Home, NAMES, account, after, at, day, first, home};
use super::{Rig, on_both};
use eavesward_service::domain::base::ids::{AccountId, ComponentId, SystemId};
use eavesward_service::domain::model::component::ComponentFacts;
use eavesward_service::domain::model::duty::Duty;
use eavesward_service::domain::model::duty_settings::Overrides;
use eavesward_service::domain::model::part::Part;
use eavesward_service::domain::model::system::{SystemFacts, SystemFilter};
use eavesward_service::domain::model::visit::{Visit, Withdrawn};
use eavesward_service::domain::ports::store::duty_settings::DutySettingStore as _;
use eavesward_service::domain::ports::store::gauges::GaugeStore as _;
use eavesward_service::domain::ports::store::outcomes::Updated;
use eavesward_service::domain::ports::store::properties::PropertyStore as _;
use eavesward_service::domain::ports::store::systems::SystemStore as _;
use eavesward_service::domain::ports::store::tasks::TaskStore as _;
use eavesward_service::domain::ports::store::visits::VisitStore as _;

on_both!(
    systems_come_back_and_change_under_guard,
    systems_are_filtered_and_paged_by_name,
    components_come_go_and_are_replaced,
    a_component_that_changed_meanwhile_is_left_alone,
    systems_of_another_account_are_out_of_reach,
    inputs_hold_everything_and_nothing_withdrawn,
    every_write_that_matters_makes_systems_stale,
);

async fn systems_come_back_and_change_under_guard(rig: &Rig) {
    let home = home(rig).await;
    let store = &rig.database;
    let id = home.system.id;
    assert_eq!(store.system(home.account, id).await.unwrap().as_ref(), Some(&home.system));
    let facts = SystemFacts {
        name: "Greenhouse".to_owned(),
        retired_on: Some(day(30)),
        demand_l_per_day: 1.0 / 3.0,
        ..home.system.facts.clone()
    };
    let update = |version| store.update_system(home.account, id, version, &facts, at(99));
    assert_eq!(update(3).await.unwrap(), Updated::Stale { current: 1 });
    assert_eq!(update(1).await.unwrap(), Updated::Done);
    let stored = store.system(home.account, id).await.unwrap().unwrap();
    assert_eq!((stored.version, stored.created_at, stored.updated_at), (2, home.system.created_at, at(99)));
    assert_eq!(stored.facts, facts);
    let unknown = store.update_system(home.account, SystemId::new(), 1, &facts, at(99)).await.unwrap();
    assert_eq!(unknown, Updated::Missing);
}

async fn systems_are_filtered_and_paged_by_name(rig: &Rig) {
    let home = home(rig).await;
    let store = &rig.database;
    let property = make::new_property(home.account, "Terrace");
    let gauge = make::new_gauge(home.account, "Terrace gauge");
    store.insert_property(&property).await.unwrap();
    store.insert_gauge(&gauge).await.unwrap();
    for name in NAMES {
        make::add_system(rig, home.account, property.id, gauge.id, name).await;
    }
    let list = async |filter: SystemFilter, page| store.systems(home.account, &filter, &page).await.unwrap();
    let all = list(SystemFilter::default(), first(100)).await;
    assert_eq!(all.len(), 9);
    assert!(all.is_sorted_by_key(|row| (row.facts.name.clone(), row.id)));
    let there = SystemFilter { property_id: Some(property.id), gauge_id: None };
    assert_eq!(list(there.clone(), first(100)).await.len(), 8);
    let under = SystemFilter { property_id: None, gauge_id: Some(home.gauge.id) };
    assert_eq!(list(under, first(100)).await, std::slice::from_ref(&home.system));
    let neither = SystemFilter { property_id: Some(property.id), gauge_id: Some(home.gauge.id) };
    assert_eq!(list(neither, first(100)).await, []);
    let here = list(there.clone(), first(100)).await;
    let rest = list(there, after(here[3].facts.name.clone(), here[3].id.0, 100)).await;
    assert_eq!(rest, here[4..]);
}

async fn components_come_go_and_are_replaced(rig: &Rig) {
    let home = home(rig).await;
    let store = &rig.database;
    let (account, system) = (home.account, home.system.id);
    assert_eq!(store.components(account, system).await.unwrap(), home.components);
    let vent = make::new_component(system, 40, Part::Vent { mesh_mm: Some(0.9) });
    store.insert_component(account, &vent).await.unwrap();
    store.insert_component(account, &vent).await.unwrap();
    assert_eq!(store.component(account, vent.id).await.unwrap().as_ref(), Some(&vent));

    let facts = ComponentFacts { name: "north vent".to_owned(), last_served_on: None, ..vent.facts.clone() };
    let update = |version| store.update_component(account, vent.id, version, &facts, at(50));
    assert_eq!(update(1).await.unwrap(), Updated::Done);
    assert_eq!(update(1).await.unwrap(), Updated::Stale { current: 2 });
    let vent = store.component(account, vent.id).await.unwrap().unwrap();
    assert_eq!((vent.version, vent.updated_at, &vent.facts), (2, at(50), &facts));
    let unknown = store.update_component(account, ComponentId::new(), 1, &facts, at(50)).await.unwrap();
    assert_eq!(unknown, Updated::Missing);

    let mut new = make::new_component(system, 60, Part::Vent { mesh_mm: None });
    new.replaces = Some(vent.id);
    assert!(store.replace_component(account, &vent, &new, day(3)).await.unwrap());
    let old = store.component(account, vent.id).await.unwrap().unwrap();
    assert_eq!((old.removed_on, old.version, old.updated_at), (Some(day(3)), 3, at(60)));
    assert_eq!(store.component(account, new.id).await.unwrap().as_ref(), Some(&new));
    assert!(store.retire_component(account, &new, day(9), at(70)).await.unwrap());
    let retired = store.component(account, new.id).await.unwrap().unwrap();
    assert_eq!((retired.removed_on, retired.version, retired.updated_at), (Some(day(9)), 2, at(70)));

    let all = store.components(account, system).await.unwrap();
    assert_eq!(all.len(), 5);
    assert!(all.is_sorted_by_key(|row| (row.created_at, row.id)));
    assert_eq!(store.components_of(account, &[]).await.unwrap(), []);
    let (other, others) = make::add_system(rig, account, home.property.id, home.gauge.id, "Other").await;
    let both = store.components_of(account, &[system, other.id]).await.unwrap();
    assert_eq!(both.len(), 8);
    let of = |id| both.iter().filter(|row| row.system_id == id).cloned().collect::<Vec<_>>();
    assert_eq!((of(system), of(other.id)), (all, others));
}

async fn a_component_that_changed_meanwhile_is_left_alone(rig: &Rig) {
    let home = home(rig).await;
    let store = &rig.database;
    let seen = &home.components[1];
    store.update_component(home.account, seen.id, 1, &seen.facts, at(50)).await.unwrap();
    let new = make::new_component(home.system.id, 60, seen.facts.part.clone());
    assert!(!store.replace_component(home.account, seen, &new, day(3)).await.unwrap());
    assert!(!store.retire_component(home.account, seen, day(3), at(70)).await.unwrap());
    let stored = store.component(home.account, seen.id).await.unwrap().unwrap();
    assert_eq!((stored.removed_on, stored.version), (None, 2));
    assert_eq!(store.component(home.account, new.id).await.unwrap(), None);
}

async fn systems_of_another_account_are_out_of_reach(rig: &Rig) {
    let home = home(rig).await;
    let store = &rig.database;
    let other = account(rig).await;
    let (id, component) = (home.system.id, &home.components[0]);
    assert_eq!(store.system(other, id).await.unwrap(), None);
    assert_eq!(store.systems(other, &SystemFilter::default(), &first(9)).await.unwrap(), []);
    assert_eq!(store.update_system(other, id, 1, &home.system.facts, at(9)).await.unwrap(), Updated::Missing);
    assert_eq!(store.components(other, id).await.unwrap(), []);
    assert_eq!(store.components_of(other, &[id]).await.unwrap(), []);
    assert_eq!(store.component(other, component.id).await.unwrap(), None);
    let update = store.update_component(other, component.id, 1, &component.facts, at(9)).await;
    assert_eq!(update.unwrap(), Updated::Missing);
    let new = make::new_component(id, 60, component.facts.part.clone());
    store.insert_component(other, &new).await.unwrap();
    assert!(!store.replace_component(other, component, &new, day(3)).await.unwrap());
    assert!(!store.retire_component(other, component, day(3), at(9)).await.unwrap());
    assert_eq!(store.inputs(&[(other, id)]).await.unwrap(), []);
    assert_eq!(store.system(home.account, id).await.unwrap(), Some(home.system));
    assert_eq!(store.components(home.account, id).await.unwrap(), home.components);
}

async fn inputs_hold_everything_and_nothing_withdrawn(rig: &Rig) {
    let home = home(rig).await;
    let store = &rig.database;
    let visits: Vec<Visit> = [3, 1, 2].map(|number| make::new_visit(&home, day(number))).to_vec();
    for visit in &visits {
        store.insert_visit(visit).await.unwrap();
    }
    let withdrawn = Some(Withdrawn { at: at(90), because: "another roof".to_owned() });
    let gone = Visit { withdrawn, version: 2, ..visits[2].clone() };
    assert_eq!(store.update_visit(home.account, 1, &gone).await.unwrap(), Updated::Done);
    assert!(store.retire_component(home.account, &home.components[2], day(3), at(70)).await.unwrap());
    let other = make::home(rig).await;

    let asked: [(AccountId, SystemId); 4] = [
        (other.account, other.system.id),
        (home.account, SystemId::new()),
        (home.account, home.system.id),
        (other.account, home.system.id),
    ];
    let found = store.inputs(&asked).await.unwrap();
    assert_eq!(found.len(), 2);
    assert_eq!(
        (&found[0].system, &found[0].property, &found[0].gauge),
        (&other.system, &other.property, &other.gauge)
    );
    let mine = &found[1];
    assert_eq!((&mine.system, &mine.property, &mine.gauge), (&home.system, &home.property, &home.gauge));
    assert_eq!(mine.components.len(), 3, "those taken out too");
    assert_eq!(mine.components[2].removed_on, Some(day(3)));
    assert_eq!(mine.visits, [visits[1].clone(), visits[0].clone()], "by day, the withdrawn one left out");
    assert_eq!(store.inputs(&[]).await.unwrap(), []);
}

/// Settles the system, writes, and expects it to be stale or not.
async fn expect(rig: &Rig, home: &Home, step: i64, what: &str, stale: i64) {
    let now = at(10_000 + step * 100);
    assert_eq!(rig.database.stale_count(now).await.unwrap(), stale, "after {what}");
    make::settle(rig, home, now, at(1_000_000)).await;
}

async fn every_write_that_matters_makes_systems_stale(rig: &Rig) {
    let home = home(rig).await;
    let (store, account) = (&rig.database, home.account);
    let (second, _) = make::add_system(rig, account, home.property.id, home.gauge.id, "Greenhouse").await;
    let _elsewhere = make::home(rig).await;
    let component = &home.components[0];
    expect(rig, &home, 0, "registering", 3).await;

    store.update_property(account, home.property.id, 1, &home.property.facts, at(9)).await.unwrap();
    expect(rig, &home, 1, "a property", 2).await;
    store.update_property(account, home.property.id, 1, &home.property.facts, at(9)).await.unwrap();
    expect(rig, &home, 2, "a refused update", 0).await;
    store.update_gauge(account, home.gauge.id, 1, &home.gauge.facts, at(9)).await.unwrap();
    expect(rig, &home, 3, "a gauge", 2).await;
    store.put_rain(account, home.gauge.id, &make::readings(0, &[1.0, 2.0])).await.unwrap();
    expect(rig, &home, 4, "new rain", 2).await;
    store.put_rain(account, home.gauge.id, &make::readings(0, &[1.0, 2.0])).await.unwrap();
    expect(rig, &home, 5, "the same rain", 0).await;
    store.put_rain(account, home.gauge.id, &make::readings(0, &[1.5])).await.unwrap();
    expect(rig, &home, 6, "changed rain", 2).await;
    store.delete_rain(account, home.gauge.id, day(0), day(0)).await.unwrap();
    expect(rig, &home, 7, "removed rain", 2).await;
    store.update_system(account, second.id, 1, &second.facts, at(9)).await.unwrap();
    expect(rig, &home, 8, "a system", 1).await;
    store.update_component(account, component.id, 1, &component.facts, at(9)).await.unwrap();
    expect(rig, &home, 9, "a component", 1).await;
    let vent = make::new_component(home.system.id, 40, Part::Vent { mesh_mm: None });
    store.insert_component(account, &vent).await.unwrap();
    expect(rig, &home, 10, "another component", 1).await;
    store.insert_component(account, &vent).await.unwrap();
    expect(rig, &home, 11, "a repeated component", 0).await;
    let new = make::new_component(home.system.id, 41, Part::Vent { mesh_mm: None });
    store.replace_component(account, &vent, &new, day(1)).await.unwrap();
    expect(rig, &home, 12, "a replacement", 1).await;
    store.retire_component(account, &new, day(2), at(9)).await.unwrap();
    expect(rig, &home, 13, "a retirement", 1).await;
    let visit = make::new_visit(&home, day(1));
    store.insert_visit(&visit).await.unwrap();
    expect(rig, &home, 14, "a visit", 1).await;
    store.insert_visit(&visit).await.unwrap();
    expect(rig, &home, 15, "a repeated visit", 0).await;
    store.update_visit(account, 1, &Visit { version: 2, ..visit }).await.unwrap();
    expect(rig, &home, 16, "a corrected visit", 1).await;
    let own = Overrides { ceiling_months: Some(2), ..Overrides::default() };
    store.put_duty_setting(account, Duty::CheckMesh, 0, own, at(9)).await.unwrap();
    expect(rig, &home, 17, "an own figure for a duty", 2).await;
    assert_eq!(store.stale_count(at(1_000_000)).await.unwrap(), 3, "when the day is over");
}
