//! The blocking twin against the live service, on a thread without a runtime.

use super::{client, gauge, property, rain_of, system};
use crate::support::app::{App, over_both};
use eavesward_client::contract::{Duty, RainRequest};
use eavesward_client::{
    Client, ListQuery, RainFileOptions, RainQuery, SystemQuery, TaskQuery, WatchOptions, blocking,
};
use std::time::Duration;

over_both! {
    it_does_what_the_async_one_does;
}

async fn it_does_what_the_async_one_does(app: &App) {
    let client = client(app);
    let registered = on_a_thread(client.clone(), register).await;
    app.refresh().await;
    // A thread that belongs to a runtime and may wait all the same.
    let waiting = client.clone();
    let tasks =
        tokio::task::spawn_blocking(move || look(&blocking::Client::new(waiting).expect("a runtime")));
    let tasks = tasks.await.expect("it ended well");
    let all = client.tasks().list(&TaskQuery::default()).all().await.expect("tasks");
    assert_eq!(tasks, all.iter().map(|task| task.id).collect::<Vec<_>>());
    assert!(tasks.len() > 3 && all.iter().all(|task| task.system_id == Some(registered)), "{all:?}");
}

async fn on_a_thread<T: Send + 'static>(client: Client, work: fn(&blocking::Client) -> T) -> T {
    let (tell, told) = tokio::sync::oneshot::channel();
    let thread = std::thread::spawn(move || {
        let client = blocking::Client::new(client).expect("a runtime");
        assert!(tell.send(work(&client)).is_ok());
    });
    let done = told.await;
    thread.join().expect("it ended well");
    done.expect("it told")
}

fn register(client: &blocking::Client) -> uuid::Uuid {
    assert_eq!(client.account().expect("an account").name, "first account");
    let place = client.properties().create(&property("School greenhouse")).expect("a property");
    let under = client.gauges().create(&gauge("orchard gauge")).expect("a gauge");
    client.gauges().send_rain(under.id, &rain_of("2026-02-01", 20, 1.0), &super::whole()).expect("rain");
    let mut told = Vec::new();
    let (text, options) = ("date,mm\n2026-02-21,5.5\n", RainFileOptions::default());
    let report = client
        .gauges()
        .send_rain_file_with(under.id, text, &options, |done, of| told.push((done, of)))
        .expect("a file");
    assert_eq!((report.counts.added, told), (1, vec![(0, 1), (1, 1)]));
    // Three pages, asked for as they are needed.
    let query = RainQuery::builder().limit(8).build();
    let days = client.gauges().rain(under.id, &query).collect::<Result<Vec<_>, _>>().expect("days");
    assert_eq!((days.len(), days[20].rain_mm), (21, 5.5));
    let made = client.systems().create(&system(&place, &under, "seedling house")).expect("a system");
    assert_eq!(client.systems().list(&SystemQuery::default()).next().expect("one").expect("it"), made);
    let error = client.properties().delete(place.id, place.version).expect_err("a system stands there");
    assert!(error.is_conflict(), "{error}");
    client
        .duties()
        .set(&Duty::CleanScreen, 0, &eavesward_client::contract::DutySettingsRequest::default())
        .expect("set");
    assert_eq!(client.keys().page(&ListQuery::default()).expect("keys").items.len(), 1);
    let empty = RainRequest { days: Vec::new() };
    assert!(
        client
            .gauges()
            .send_rain(made.id, &empty, &super::whole())
            .expect_err("no such gauge")
            .is_not_found()
    );
    made.id
}

fn look(client: &blocking::Client) -> Vec<uuid::Uuid> {
    let system =
        client.wait(async |client| client.systems().page(&SystemQuery::default()).await).expect("systems");
    let options = WatchOptions::builder().at_least(Duration::from_millis(20)).build();
    let id = system.items[0].id;
    let seen = client.systems().watch(id, &options).next().expect("goes on").expect("a status");
    assert_eq!(seen.status, client.systems().status(id).expect("a status"));
    assert_eq!(client.systems().events(id, &options).next().expect("goes on").expect("a status"), seen);
    client.tasks().list(&TaskQuery::builder().limit(2).build()).map(|task| task.expect("a task").id).collect()
}
