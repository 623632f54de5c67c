//! Visits and their history.

use super::make::{self, account, after, at, day, first, home, new_visit};
use super::{Rig, on_both};
use chrono::NaiveDate;
use eavesward_service::domain::base::error::StoreError;
use eavesward_service::domain::base::ids::VisitId;
use eavesward_service::domain::base::paging::PageRequest;
use eavesward_service::domain::model::visit::{Revision, Visit, VisitFilter, Withdrawn};
use eavesward_service::domain::ports::store::outcomes::Updated;
use eavesward_service::domain::ports::store::visits::VisitStore as _;

on_both!(
    visits_come_back_and_keep_their_history,
    the_latest_visit_comes_first_on_every_page,
    visits_of_another_account_are_out_of_reach,
);

async fn visits_come_back_and_keep_their_history(rig: &Rig) {
    let home = home(rig).await;
    let store = &rig.database;
    let first = new_visit(&home, day(1));
    store.insert_visit(&first).await.unwrap();
    let mut repeated = first.clone();
    repeated.facts.note = Some("again".to_owned());
    store.insert_visit(&repeated).await.unwrap();
    assert_eq!(store.visit(home.account, first.id).await.unwrap().as_ref(), Some(&first));
    assert_eq!(store.revisions(first.id).await.unwrap(), []);

    let mut second = Visit { version: 2, updated_at: at(40), ..first.clone() };
    second.facts.visited_on = day(2);
    second.facts.visited_by = None;
    second.facts.items.truncate(1);
    assert_eq!(store.update_visit(home.account, 5, &second).await.unwrap(), Updated::Stale { current: 1 });
    assert_eq!(store.revisions(first.id).await.unwrap(), []);
    assert_eq!(store.update_visit(home.account, 1, &second).await.unwrap(), Updated::Done);
    let withdrawn = Some(Withdrawn { at: at(50), because: "wrong house – sorry".to_owned() });
    let third = Visit { version: 3, updated_at: at(50), withdrawn, ..second.clone() };
    assert_eq!(store.update_visit(home.account, 2, &third).await.unwrap(), Updated::Done);
    assert_eq!(store.visit(home.account, first.id).await.unwrap(), Some(third.clone()));
    let history =
        [Revision { replaced_at: at(40), visit: first }, Revision { replaced_at: at(50), visit: second }];
    assert_eq!(store.revisions(third.id).await.unwrap(), history);
    let unknown = Visit { id: VisitId::new(), ..third };
    assert_eq!(store.update_visit(home.account, 3, &unknown).await.unwrap(), Updated::Missing);
}

async fn the_latest_visit_comes_first_on_every_page(rig: &Rig) {
    let home = home(rig).await;
    let store = &rig.database;
    let (system, components) =
        make::add_system(rig, home.account, home.property.id, home.gauge.id, "Greenhouse").await;
    let other = make::Home {
        account: home.account,
        property: home.property.clone(),
        gauge: home.gauge.clone(),
        system,
        components,
    };
    for number in [4, 2, 4, 4, 7] {
        store.insert_visit(&new_visit(&home, day(number))).await.unwrap();
    }
    store.insert_visit(&new_visit(&other, day(4))).await.unwrap();
    let mut gone = new_visit(&home, day(5));
    gone.withdrawn = Some(Withdrawn { at: at(50), because: "twice".to_owned() });
    store.insert_visit(&gone).await.unwrap();

    let list = async |filter: &VisitFilter, page: PageRequest<NaiveDate>| {
        store.visits(home.account, filter, &page).await.unwrap()
    };
    let all = list(&VisitFilter::default(), first(100)).await;
    assert_eq!(all.len(), 6);
    assert!(all.is_sorted_by(|a, b| (a.facts.visited_on, a.id) > (b.facts.visited_on, b.id)));
    let everything = VisitFilter { include_withdrawn: true, ..VisitFilter::default() };
    assert_eq!(list(&everything, first(100)).await.len(), 7);
    let here = VisitFilter { system_id: Some(home.system.id), ..VisitFilter::default() };
    assert_eq!(list(&here, first(100)).await.len(), 5);

    for filter in [
        VisitFilter::default(),
        here,
        VisitFilter { to: Some(day(6)), ..VisitFilter::default() },
        VisitFilter { from: Some(day(3)), to: Some(day(4)), ..VisitFilter::default() },
    ] {
        let whole = list(&filter, first(100)).await;
        let within = |visit: &Visit| {
            let on = visit.facts.visited_on;
            filter.from.is_none_or(|from| on >= from) && filter.to.is_none_or(|to| on <= to)
        };
        assert!(!whole.is_empty() && whole.iter().all(within), "{filter:?}");
        let mut walked: Vec<Visit> = Vec::new();
        let mut page = first(1);
        while let Some(next) = list(&filter, page).await.into_iter().next() {
            page = after(next.facts.visited_on, next.id.0, 1);
            walked.push(next);
        }
        assert_eq!(walked, whole, "{filter:?}");
    }
    // A cursor above the filter's end does not let rows above it in.
    let early = VisitFilter { to: Some(day(2)), ..VisitFilter::default() };
    assert_eq!(list(&early, after(day(7), all[0].id.0, 9)).await.len(), 1);
}

async fn visits_of_another_account_are_out_of_reach(rig: &Rig) {
    let home = home(rig).await;
    let store = &rig.database;
    let other = account(rig).await;
    let visit = new_visit(&home, day(1));
    store.insert_visit(&visit).await.unwrap();
    assert_eq!(store.visit(other, visit.id).await.unwrap(), None);
    assert_eq!(store.visits(other, &VisitFilter::default(), &first(9)).await.unwrap(), []);
    let changed = Visit { version: 2, ..visit.clone() };
    assert_eq!(store.update_visit(other, 1, &changed).await.unwrap(), Updated::Missing);
    let smuggled = Visit { id: VisitId::new(), account_id: other, ..visit.clone() };
    assert!(matches!(store.insert_visit(&smuggled).await, Err(StoreError::Dangling(_))));
    assert_eq!(store.visit(home.account, visit.id).await.unwrap(), Some(visit));
}
