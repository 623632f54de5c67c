//! Properties and gauges.

use super::make::{self, NAMES, account, after, at, first, home, new_gauge, new_property};
use super::{Rig, on_both};
use eavesward_service::domain::base::error::StoreError;
use eavesward_service::domain::base::ids::{GaugeId, PropertyId};
use eavesward_service::domain::model::gauge::GaugeFacts;
use eavesward_service::domain::model::property::{Months, PropertyFacts, Temperatures};
use eavesward_service::domain::ports::store::gauges::GaugeStore as _;
use eavesward_service::domain::ports::store::outcomes::{Deleted, Updated};
use eavesward_service::domain::ports::store::properties::PropertyStore as _;
use eavesward_service::domain::ports::store::systems::SystemStore as _;

on_both!(
    properties_come_back_and_change_under_guard,
    gauges_come_back_and_change_under_guard,
    figures_kept_as_json_come_back_to_the_bit,
    names_sort_byte_by_byte_on_every_database,
    a_repeated_insert_changes_nothing,
    what_systems_use_is_not_removed,
    places_of_another_account_are_out_of_reach,
    a_reference_into_another_account_is_refused,
);

async fn properties_come_back_and_change_under_guard(rig: &Rig) {
    let store = &rig.database;
    let mine = account(rig).await;
    let property = new_property(mine, "Orchard");
    store.insert_property(&property).await.unwrap();
    assert_eq!(store.property(mine, property.id).await.unwrap().as_ref(), Some(&property));

    let facts = PropertyFacts { name: "Terrace".to_owned(), notes: None, ..property.facts.clone() };
    let update = |version| store.update_property(mine, property.id, version, &facts, at(9));
    assert_eq!(update(2).await.unwrap(), Updated::Stale { current: 1 });
    assert_eq!(update(1).await.unwrap(), Updated::Done);
    assert_eq!(update(1).await.unwrap(), Updated::Stale { current: 2 });
    let stored = store.property(mine, property.id).await.unwrap().unwrap();
    assert_eq!((stored.version, stored.created_at, stored.updated_at), (2, property.created_at, at(9)));
    assert_eq!(stored.facts, facts);
    let unknown = PropertyId::new();
    assert_eq!(store.update_property(mine, unknown, 1, &facts, at(9)).await.unwrap(), Updated::Missing);
    // Of the months, what was given and nothing else.
    let (mut facts, mut version) = (facts, 2);
    for months in [
        Months::default(),
        Months { evaporation_mm_per_day: None, ..property.facts.months },
        Months { temperatures: Temperatures::default(), ..property.facts.months },
        Months {
            temperatures: Temperatures { mean_c: None, ..property.facts.months.temperatures },
            evaporation_mm_per_day: None,
        },
    ] {
        facts.months = months;
        store.update_property(mine, property.id, version, &facts, at(9)).await.unwrap();
        version += 1;
        assert_eq!(store.property(mine, property.id).await.unwrap().unwrap().facts.months, months);
    }

    assert_eq!(store.delete_property(mine, unknown, 1).await.unwrap(), Deleted::Missing);
    assert_eq!(store.delete_property(mine, property.id, 1).await.unwrap(), Deleted::Stale { current: 6 });
    assert_eq!(store.delete_property(mine, property.id, 6).await.unwrap(), Deleted::Done);
    assert_eq!(store.property(mine, property.id).await.unwrap(), None);
}

async fn gauges_come_back_and_change_under_guard(rig: &Rig) {
    let store = &rig.database;
    let mine = account(rig).await;
    let gauge = new_gauge(mine, "Gatehouse");
    store.insert_gauge(&gauge).await.unwrap();
    assert_eq!(store.gauge(mine, gauge.id).await.unwrap().as_ref(), Some(&gauge));

    let facts = GaugeFacts { name: "Greenhouse".to_owned(), normals: None, ..gauge.facts.clone() };
    let update = |version| store.update_gauge(mine, gauge.id, version, &facts, at(9));
    assert_eq!(update(7).await.unwrap(), Updated::Stale { current: 1 });
    assert_eq!(update(1).await.unwrap(), Updated::Done);
    let stored = store.gauge(mine, gauge.id).await.unwrap().unwrap();
    assert_eq!((stored.version, stored.updated_at), (2, at(9)));
    assert_eq!(stored.facts, facts);
    let unknown = GaugeId::new();
    assert_eq!(store.update_gauge(mine, unknown, 1, &facts, at(9)).await.unwrap(), Updated::Missing);

    store.put_rain(mine, gauge.id, &make::readings(0, &[1.5, 2.5])).await.unwrap().unwrap();
    assert_eq!(store.delete_gauge(mine, unknown, 1).await.unwrap(), Deleted::Missing);
    assert_eq!(store.delete_gauge(mine, gauge.id, 1).await.unwrap(), Deleted::Stale { current: 2 });
    assert_eq!(store.delete_gauge(mine, gauge.id, 2).await.unwrap(), Deleted::Done);
    assert_eq!(store.gauge(mine, gauge.id).await.unwrap(), None);
    assert_eq!(store.rain_record(gauge.id, make::day(10)).await.unwrap(), []);
}

async fn figures_kept_as_json_come_back_to_the_bit(rig: &Rig) {
    let mine = account(rig).await;
    let mut gauge = new_gauge(mine, "Gatehouse");
    // Quotients have as many digits as a float can have; a hasty reader gets the last bit of some of them wrong.
    let figures = (1..=500).map(|number| f64::from(number) / 7.3).collect();
    if let Some(normals) = &mut gauge.facts.normals {
        normals.rain_mm = figures;
    }
    rig.database.insert_gauge(&gauge).await.unwrap();
    assert_eq!(rig.database.gauge(mine, gauge.id).await.unwrap(), Some(gauge));
}

async fn names_sort_byte_by_byte_on_every_database(rig: &Rig) {
    let store = &rig.database;
    let mine = account(rig).await;
    for name in NAMES {
        store.insert_property(&new_property(mine, name)).await.unwrap();
        store.insert_gauge(&new_gauge(mine, name)).await.unwrap();
    }
    let properties = store.properties(mine, &first(100)).await.unwrap();
    assert!(properties.is_sorted_by_key(|row| (row.facts.name.clone(), row.id)));
    let gauges = store.gauges(mine, &first(100)).await.unwrap();
    assert!(gauges.is_sorted_by_key(|row| (row.facts.name.clone(), row.id)));
    let names: Vec<&str> = gauges.iter().map(|row| row.facts.name.as_str()).collect();
    assert_eq!(names, ["Orchard", "Orchard", "Zeder", "apfel", "orchard", "Äpfel", "École", "Ωμέγα"]);

    // One by one, over the equal names too. A page reads one row more than it shows.
    let mut walked = store.properties(mine, &first(1)).await.unwrap();
    assert_eq!(walked.len(), 2);
    walked.truncate(1);
    while let Some(last) = walked.last() {
        let page = store.properties(mine, &after(last.facts.name.clone(), last.id.0, 1)).await.unwrap();
        let Some(next) = page.into_iter().next() else { break };
        walked.push(next);
    }
    assert_eq!(walked, properties);
}

async fn a_repeated_insert_changes_nothing(rig: &Rig) {
    let home = home(rig).await;
    let store = &rig.database;
    let mut property = home.property.clone();
    "Another".clone_into(&mut property.facts.name);
    store.insert_property(&property).await.unwrap();
    assert_eq!(store.property(home.account, property.id).await.unwrap(), Some(home.property.clone()));
    let mut gauge = home.gauge.clone();
    "Another".clone_into(&mut gauge.facts.name);
    store.insert_gauge(&gauge).await.unwrap();
    assert_eq!(store.gauge(home.account, gauge.id).await.unwrap(), Some(home.gauge.clone()));
    let mut system = home.system.clone();
    "Another".clone_into(&mut system.facts.name);
    let further = make::new_component(system.id, 90, make::parts()[2].clone());
    store.insert_system(&system, &[further]).await.unwrap();
    assert_eq!(store.system(home.account, system.id).await.unwrap(), Some(home.system.clone()));
    assert_eq!(store.components(home.account, system.id).await.unwrap(), home.components);
}

async fn what_systems_use_is_not_removed(rig: &Rig) {
    let home = home(rig).await;
    let store = &rig.database;
    make::add_system(rig, home.account, home.property.id, home.gauge.id, "Greenhouse").await;
    let deleted = store.delete_property(home.account, home.property.id, 1).await.unwrap();
    assert_eq!(deleted, Deleted::InUse { systems: 2 });
    let deleted = store.delete_gauge(home.account, home.gauge.id, 1).await.unwrap();
    assert_eq!(deleted, Deleted::InUse { systems: 2 });
    assert!(store.property(home.account, home.property.id).await.unwrap().is_some());
    assert!(store.gauge(home.account, home.gauge.id).await.unwrap().is_some());
}

async fn places_of_another_account_are_out_of_reach(rig: &Rig) {
    let home = home(rig).await;
    let store = &rig.database;
    let other = account(rig).await;
    let (property, gauge) = (home.property.id, home.gauge.id);
    assert_eq!(store.property(other, property).await.unwrap(), None);
    assert_eq!(store.properties(other, &first(9)).await.unwrap(), []);
    let facts = &home.property.facts;
    assert_eq!(store.update_property(other, property, 1, facts, at(9)).await.unwrap(), Updated::Missing);
    assert_eq!(store.delete_property(other, property, 1).await.unwrap(), Deleted::Missing);
    assert_eq!(store.gauge(other, gauge).await.unwrap(), None);
    assert_eq!(store.gauges(other, &first(9)).await.unwrap(), []);
    let facts = &home.gauge.facts;
    assert_eq!(store.update_gauge(other, gauge, 1, facts, at(9)).await.unwrap(), Updated::Missing);
    assert_eq!(store.delete_gauge(other, gauge, 1).await.unwrap(), Deleted::Missing);
    let days = make::readings(0, &[1.0]);
    assert_eq!(store.put_rain(other, gauge, &days).await.unwrap(), None);
    assert!(!store.delete_rain(other, gauge, make::day(0), make::day(9)).await.unwrap());
    assert_eq!(store.property(home.account, property).await.unwrap(), Some(home.property));
    assert_eq!(store.gauge(home.account, gauge).await.unwrap(), Some(home.gauge));
}

async fn a_reference_into_another_account_is_refused(rig: &Rig) {
    let home = home(rig).await;
    let other = account(rig).await;
    let system = make::new_system(other, home.property.id, home.gauge.id, "Thief");
    let refused = rig.database.insert_system(&system, &[]).await;
    assert!(matches!(refused, Err(StoreError::Dangling(_))), "{refused:?}");
    assert_eq!(rig.database.system(other, system.id).await.unwrap(), None);
}
