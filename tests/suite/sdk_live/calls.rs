//! Every typed call once, and the check that none is missing.
//!
//! What was called is read off the service's own counts by route, so that a call to a wrong path counts for nothing.

use super::{client, component, day, gauge, parts, place, property, rain_of, roof, screen};
use crate::support::app::{App, Kind};
use eavesward_client::contract::{
    ActorKind, CalendarRequest, Duty, DutySettingsInput, DutySettingsRequest, Finding, ForecastRequest,
    FoundClass, KeyRequest, Part, ReplaceRequest, RetireRequest, RoundDoneRequest, RoundItem, RoundRequest,
    RoundState, Scope, Sends, SkippedTask, SubscriptionRequest, ValveType, VisitItem, VisitItemAnswer,
    VisitRequest, WithdrawRequest,
};
use eavesward_client::{
    AnswerQuery, AuditQuery, Client, ComponentQuery, DeliveryQuery, DigestFormat, DigestQuery, ForecastQuery,
    KeptRoundQuery, ListQuery, RainFileOptions, RainQuery, ReminderQuery, RoundQuery, SkillQuery,
    StatusChange, SystemQuery, TaskQuery, VisitQuery, WatchOptions, property_update_from,
    subscription_update_from, system_update_from,
};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

/// Operations that are no business of the SDK: probes and the document itself. May only shrink.
const WITHOUT_A_CALL: [&str; 3] = ["healthz", "readyz", "get_openapi"];

#[tokio::test]
async fn every_operation_of_the_document_has_a_typed_call_on_sqlite() {
    every_operation_of_the_document_has_a_typed_call(Kind::Sqlite).await;
}

#[tokio::test]
async fn every_operation_of_the_document_has_a_typed_call_on_postgres() {
    every_operation_of_the_document_has_a_typed_call(Kind::Postgres).await;
}

async fn every_operation_of_the_document_has_a_typed_call(kind: Kind) {
    let service = App::start_with(kind, |layer| layer.metrics_bind = Some("127.0.0.1:0".to_owned())).await;
    let app = &service;
    let client = client(app);
    account_and_keys(&client).await;
    duties(&client).await;
    properties(&client).await;
    gauges(&client).await;
    systems(&client).await;
    components(&client).await;
    forecasts(&client).await;
    tasks(app, &client).await;
    rounds(&client).await;
    visits(&client).await;
    skill(app, &client).await;
    reminders(&client).await;
    subscriptions(&client).await;
    digest(app, &client).await;
    calendars(app, &client).await;

    let documented = documented();
    let wanted: BTreeSet<&str> =
        documented.values().map(String::as_str).filter(|id| !WITHOUT_A_CALL.contains(id)).collect();
    // The last count is made when the last byte is sent, which may be after it was read here.
    let mut missing = wanted.clone();
    for _ in 0..800 {
        let counted = counted(app).await;
        for route in counted.iter().filter(|(_, path)| path.starts_with("/v1/")) {
            assert!(documented.contains_key(route), "{route:?} was called and is not in the document");
        }
        let called: BTreeSet<&str> =
            counted.iter().filter_map(|route| documented.get(route)).map(String::as_str).collect();
        for id in WITHOUT_A_CALL {
            assert!(documented.values().any(|known| known == id), "{id} is gone: take it off the list");
            assert!(!called.contains(id), "{id} has a call now: take it off the list");
        }
        missing = wanted.difference(&called).copied().collect();
        if missing.is_empty() {
            return service.stop().await;
        }
        tokio::time::sleep(Duration::from_millis(25)).await;
    }
    panic!("no typed call reached {missing:?}: give it one in client/src, and call it in this file");
}

/// Operation ids by method and path template.
fn documented() -> BTreeMap<(String, String), String> {
    let document: Value =
        serde_json::from_str(include_str!("../../../openapi/openapi.json")).expect("the document is JSON");
    let mut operations = BTreeMap::new();
    for (path, methods) in document["paths"].as_object().expect("paths") {
        for (method, operation) in methods.as_object().expect("methods") {
            let id = operation["operationId"].as_str().expect("an operation id").to_owned();
            operations.insert((method.to_uppercase(), path.clone()), id);
        }
    }
    assert!(operations.len() > 40, "{operations:?}");
    operations
}

/// Method and route of every request that was answered with a success.
async fn counted(app: &App) -> BTreeSet<(String, String)> {
    let text = app.metrics().await;
    let label = |line: &str, name: &str| {
        let (_, rest) = line.split_once(&format!("{name}=\""))?;
        Some(rest.split_once('"')?.0.to_owned())
    };
    let requests = text.lines().filter(|line| line.starts_with("eavesward_http_requests_total{"));
    requests
        .filter(|line| label(line, "status").is_some_and(|status| status.starts_with('2')))
        .map(|line| (label(line, "method").expect("a method"), label(line, "endpoint").expect("a route")))
        .collect()
}

async fn account_and_keys(client: &Client) {
    assert_eq!(client.account().await.expect("the account").name, "first account");
    let request = KeyRequest::new("terrace tablet", [Scope::Read]);
    let made = client.keys().create(&request).await.expect("a key");
    assert!(made.secret.starts_with(&made.key.hint), "{made:?}");
    let keys = client.keys().list(&ListQuery::default()).all().await.expect("the keys");
    assert!(keys.contains(&made.key), "{keys:?}");
    client.keys().revoke(made.key.id).await.expect("revoking");
    let page = client.keys().page(&ListQuery::default()).await.expect("a page");
    let revoked = page.items.iter().find(|key| key.id == made.key.id).expect("it stays in the list");
    assert!(revoked.revoked_at.is_some());
    let query = AuditQuery::builder().thing_id(made.key.id.to_string()).build();
    let done = client.audit().list(&query).all().await.expect("the audit");
    let operations: Vec<&str> = done.iter().map(|entry| entry.operation.as_str()).collect();
    assert_eq!(operations, ["revoke_key", "create_key"], "newest first");
    assert!(done.iter().all(|entry| entry.actor.kind == ActorKind::Key && entry.request_id.is_some()));
    let query = AuditQuery::builder().maybe_key_id(done[0].actor.id).maybe_until(Some(done[0].at)).build();
    assert_eq!(client.audit().page(&query).await.expect("a page").items, [], "before that instant");
}

async fn reminders(client: &Client) {
    let feed = client.reminders().pull(&ReminderQuery::default()).await.expect("the feed");
    let mut follow = client.reminders().follow(&ReminderQuery::builder().limit(2).build());
    assert_eq!(follow.cursor(), None);
    for entry in &feed.items {
        assert_eq!(&follow.next().await.expect("an entry"), entry);
        assert_eq!(follow.cursor(), Some(entry.cursor.as_str()));
    }
    assert!(feed.items.len() > 2, "{feed:?}");
    assert_eq!(follow.cursor(), Some(feed.cursor.as_str()));
}

async fn subscriptions(client: &Client) {
    let request = SubscriptionRequest {
        name: "Monday list".to_owned(),
        to: "https://hooks.example/eaves".to_owned(),
        sends: Sends::Digest,
        schedule: Some("0 7 * * 1".to_owned()),
        time_zone: Some("Europe/London".to_owned()),
        ..SubscriptionRequest::default()
    };
    let subscriptions = client.subscriptions();
    let made = subscriptions.create(&request).await.expect("a subscription");
    assert!(made.secret.as_deref().is_some_and(|secret| secret.starts_with("whsec_")));
    let id = made.subscription.id;
    assert_eq!(made.subscription.next_at.len(), 5);
    let as_it_is = SubscriptionRequest { format: made.subscription.format, ..request.clone() };
    assert_eq!(
        subscription_update_from(&made.subscription),
        as_it_is,
        "but for the usual form, which is told"
    );
    assert_eq!(subscriptions.get(id).await.expect("it"), made.subscription);
    let renamed = SubscriptionRequest { name: "The Monday list".to_owned(), ..request };
    let changed = subscriptions.update(id, made.subscription.version, &renamed).await.expect("changing");
    assert_eq!(changed.name, "The Monday list");
    assert!(subscriptions.pause(id).await.expect("pausing").paused_at.is_some());
    assert!(subscriptions.resume(id).await.expect("resuming").paused_at.is_none());
    let rotated = subscriptions.rotate_secret(id).await.expect("a new secret");
    assert_ne!(rotated.secret, made.secret);
    let tried = subscriptions.test(id).await.expect("trying");
    let all = subscriptions.deliveries(id, &DeliveryQuery::default()).all().await.expect("deliveries");
    assert_eq!(all.iter().map(|one| one.id).collect::<Vec<_>>(), [tried.id]);
    let page =
        subscriptions.deliveries_page(id, &DeliveryQuery::builder().limit(1).build()).await.expect("a page");
    assert_eq!((page.items.len(), page.next_cursor), (1, None));
    assert_eq!(subscriptions.delivery(tried.id).await.expect("its log").delivery.id, tried.id);
    subscriptions.send_again(tried.id).await.expect("again");
    let listed = subscriptions.list(&ListQuery::default()).all().await.expect("the subscriptions");
    let now = listed.iter().find(|one| one.id == id).expect("it is listed");
    subscriptions.delete(id, now.version).await.expect("removing");
    assert!(subscriptions.get(id).await.expect_err("it is gone").is_not_found());
}

async fn duties(client: &Client) {
    let all = client.duties().list(&eavesward_client::DutyQuery::default()).all().await.expect("the duties");
    assert_eq!(all.len(), 21);
    assert!(all.iter().all(|duty| (duty.version, duty.longest_interval_months) == (0, None)), "{all:?}");
    let known = client.duties().get(&Duty::RemoveSediment).await.expect("it");
    assert!(all.contains(&known) && known.default_longest_interval.is_none(), "{known:?}");
    let own = DutySettingsRequest {
        longest_interval_months: Some(36),
        tolerance: Some(0.1),
        lead_days: Some(14),
        move_days: Some(5),
    };
    let set = client.duties().set(&known.duty, known.version, &own).await.expect("setting");
    assert_eq!((set.longest_interval_months, set.tolerance, set.version), (Some(36), Some(0.1), 1));
    assert_eq!((set.lead_days, set.move_days, set.default_move_days), (Some(14), Some(5), 7));
    assert_eq!(client.duties().get(&known.duty).await.expect("it"), set);
    let reset = client.duties().reset(&known.duty, set.version).await.expect("resetting");
    assert_eq!((reset.longest_interval_months, reset.tolerance, reset.version), (None, None, 2));
}

async fn properties(client: &Client) {
    let asked =
        property("terrace").mean_c([8.5; 12]).mean_minimum_c([-1.25; 12]).evaporation_mm_per_day([2.0; 12]);
    let made = client.properties().create(&asked).await.expect("a property");
    let months = made.temperatures.as_ref().expect("temperatures");
    assert_eq!(
        (months.mean_c.as_deref(), months.mean_minimum_c.as_deref()),
        (Some(&[8.5; 12][..]), Some(&[-1.25; 12][..]))
    );
    assert_eq!(property_update_from(&made), asked, "what was asked is what would leave it as it is");
    assert_eq!(client.properties().get(made.id).await.expect("it"), made);
    let mut changed = property("terrace, east end");
    changed.notes = None;
    let updated = client.properties().update(made.id, made.version, &changed).await.expect("an update");
    assert_eq!((updated.name.as_str(), &updated.notes), ("terrace, east end", &None));
    assert!(updated.version > made.version);
    assert_eq!(
        client.properties().page(&ListQuery::default()).await.expect("a page").items,
        std::slice::from_ref(&updated)
    );
    client.properties().delete(made.id, updated.version).await.expect("it stands empty");
    assert_eq!(client.properties().list(&ListQuery::default()).all().await.expect("none"), []);
}

async fn gauges(client: &Client) {
    let made = client.gauges().create(&gauge("terrace gauge")).await.expect("a gauge");
    let report = client
        .gauges()
        .send_rain(made.id, &rain_of("2026-01-01", 3, 2.0), &super::whole())
        .await
        .expect("rain");
    assert_eq!((report.counts.added, report.rain_through), (3, Some(day("2026-01-03"))));
    let (text, options) = ("date,mm\n2026-01-04,5.5\n", RainFileOptions::default());
    let report = client.gauges().send_rain_file(made.id, text, &options).await.expect("a file");
    assert_eq!(report.counts.added, 1);
    let days = client.gauges().rain(made.id, &RainQuery::default()).all().await.expect("days");
    assert_eq!(days.iter().map(|day| day.rain_mm).collect::<Vec<_>>(), [2.0, 2.0, 2.0, 5.5]);
    let some = RainQuery::builder().from(day("2026-01-02")).to(day("2026-01-03")).build();
    assert_eq!(client.gauges().rain_page(made.id, &some).await.expect("a page").items, days[1..3]);
    client.gauges().delete_rain(made.id, day("2026-01-01"), day("2026-01-03")).await.expect("forgetting");
    let known = client.gauges().get(made.id).await.expect("it");
    assert_eq!((known.rain_from, known.rain_days), (Some(day("2026-01-04")), 1));
    let renamed =
        client.gauges().update(made.id, known.version, &gauge("east gauge")).await.expect("an update");
    assert_eq!(
        client.gauges().page(&ListQuery::default()).await.expect("a page").items,
        std::slice::from_ref(&renamed)
    );
    client.gauges().delete(made.id, renamed.version).await.expect("no system uses it");
    assert_eq!(client.gauges().list(&ListQuery::default()).all().await.expect("none"), []);
}

async fn systems(client: &Client) {
    let place = place(client).await;
    let made = client.systems().get(place.system.id).await.expect("it");
    assert_eq!(made, place.system);
    let mut update = system_update_from(&made).expect("one roof");
    update.demand_l_per_day = 120.0;
    let updated = client.systems().update(made.id, made.version, &update).await.expect("an update");
    assert_eq!((updated.demand_l_per_day, &updated.roofs), (120.0, &made.roofs), "nothing else changes");
    let there = SystemQuery::builder().property_id(place.property.id).gauge_id(place.gauge.id).build();
    assert_eq!(client.systems().page(&there).await.expect("a page").items, std::slice::from_ref(&updated));
    let elsewhere = SystemQuery::builder().property_id(made.id).build();
    assert_eq!(client.systems().list(&elsewhere).all().await.expect("none"), []);
    let valve = component("drain cock", Part::Valve { valve_type: ValveType::Ball });
    let added = client.systems().add_component(made.id, &valve).await.expect("a component");
    let all =
        client.systems().components(made.id, &ComponentQuery::default()).all().await.expect("components");
    assert_eq!((all.len(), all.last()), (4, Some(&added)));
    let page = client.systems().components_page(made.id, &ComponentQuery::default()).await.expect("a page");
    assert_eq!(page.items, all);
    let status = client.systems().status(made.id).await.expect("a status");
    assert_eq!((status.system_name.as_str(), status.as_of), ("seedling house", day("2026-03-01")));
    let change = client.systems().status_if_changed(made.id, None).await.expect("a status");
    assert!(
        matches!(&change, StatusChange::Fresh { status, .. } if status.system_id == made.id),
        "{change:?}"
    );
    let events = client.systems().events(made.id, &WatchOptions::default()).next().await;
    assert_eq!(events.expect("goes on").expect("a status").status.system_id, made.id);
    let forecast = client
        .systems()
        .forecast(made.id, &ForecastQuery::builder().as_of(day("2026-02-01")).build())
        .await
        .expect("a forecast");
    assert_eq!((forecast.system_id, forecast.as_of), (Some(made.id), day("2026-02-01")));
}

async fn components(client: &Client) {
    let system =
        client.systems().list(&SystemQuery::default()).next().await.expect("one").expect("the system");
    let old = client.components().get(system.components[0].id).await.expect("it");
    assert_eq!(old, system.components[0]);
    let corrected =
        client.components().update(old.id, old.version, &screen("west screen")).await.expect("an update");
    assert_eq!((corrected.name.as_str(), corrected.id), ("west screen", old.id));
    let replace = ReplaceRequest { on: day("2026-02-01"), part: None, name: Some("new screen".to_owned()) };
    let new = client.components().replace(old.id, &replace).await.expect("a replacement");
    assert_eq!((new.replaces_id, new.installed_on, &new.part), (Some(old.id), day("2026-02-01"), &old.part));
    let retired =
        client.components().retire(new.id, &RetireRequest { on: day("2026-02-10") }).await.expect("retiring");
    assert_eq!(retired.retired_on, Some(day("2026-02-10")));
    let every = ComponentQuery::builder().include_retired(true).build();
    let all = client.systems().components(system.id, &every).all().await.expect("all of them");
    assert_eq!(all.iter().filter(|component| component.retired_on.is_some()).count(), 2);
}

async fn forecasts(client: &Client) {
    let request = ForecastRequest {
        latitude_deg: 48.0,
        elevation_m: 52.0,
        roof: roof(),
        demand_l_per_day: 100.0,
        components: parts(),
        rain: rain_of("2025-01-01", 424, 2.0).days,
        normals: None,
        temperatures: None,
        evaporation_mm_per_day: None,
        duty_settings: vec![DutySettingsInput {
            duty: Duty::CleanScreen,
            longest_interval_months: Some(48),
            tolerance: Some(0.4),
        }],
        as_of: day("2026-03-01"),
    };
    let forecast = client.forecast(&request).await.expect("a forecast");
    assert_eq!((forecast.system_id, forecast.climate.rain_through), (None, Some(day("2026-02-28"))));
    let mut duties: Vec<Duty> = forecast.duties.iter().map(|duty| duty.duty.clone()).collect();
    duties.sort_unstable();
    assert_eq!(duties, [Duty::CleanScreen, Duty::DrainDiverter, Duty::ReplaceCoupling, Duty::CheckBands]);
    assert!(!forecast.duties.iter().any(|duty| duty.reasons.is_empty() || duty.component_id.is_some()));
    let screen = forecast.duties.iter().find(|duty| duty.duty == Duty::CleanScreen).expect("the screen");
    assert_eq!((screen.longest_interval_on, screen.tolerance), (Some(day("2029-01-01")), Some(0.4)));
}

async fn tasks(app: &App, client: &Client) {
    app.refresh().await;
    let tasks = client.tasks().list(&TaskQuery::default()).all().await.expect("tasks");
    assert!(tasks.iter().any(|task| task.duty == Duty::WorkValve), "{tasks:?}");
    assert_eq!(client.tasks().page(&TaskQuery::default()).await.expect("a page").items, tasks);
    assert_eq!(client.tasks().get(tasks[0].id).await.expect("it"), tasks[0]);
}

async fn rounds(client: &Client) {
    let query = RoundQuery::builder()
        .from(day("2026-03-02"))
        .to(day("2026-03-29"))
        .off_weekdays([chrono::Weekday::Sun])
        .most_minutes(240)
        .build();
    let proposal = client.rounds().propose(&query).await.expect("a proposal");
    let first = proposal.rounds.first().expect("a round");
    assert!(proposal.lower_bound <= proposal.cost && proposal.figures.most_minutes == 240, "{proposal:?}");
    let task_ids: Vec<_> = first.tasks.iter().map(|task| task.task_id).collect();
    let request =
        RoundRequest { on: first.on, task_ids: task_ids.clone(), note: Some("the long ladder".to_owned()) };
    let kept = client.rounds().keep(&request).await.expect("a round");
    assert_eq!((kept.state, kept.tasks.len()), (RoundState::Planned, task_ids.len()));
    assert_eq!(client.rounds().get(kept.id).await.expect("it"), kept);
    client.rounds().cancel(kept.id, kept.version).await.expect("cancelling");
    assert_eq!(client.rounds().page(&KeptRoundQuery::default()).await.expect("a page").items, []);
    let kept = client.rounds().keep(&request).await.expect("a round");
    let mut report = RoundDoneRequest { visited_on: Some(day("2026-02-15")), ..RoundDoneRequest::default() };
    report.items.push(RoundItem::done(task_ids[0]).finding(Finding::nothing()));
    let skipped = task_ids[1..].iter().map(|id| SkippedTask { task_id: *id, because: None });
    report.skipped.extend(skipped);
    let done = client.rounds().finish(kept.id, &report).await.expect("visits");
    assert_eq!((done.round.state, done.visits.len()), (RoundState::Done, 1));
    assert_eq!(done.visits[0].items.len(), 1);
    let again = client.rounds().finish(kept.id, &RoundDoneRequest::default()).await.expect("the same");
    assert_eq!((&again.round, &again.visits), (&done.round, &done.visits));
    assert_eq!((done.reported_before, again.reported_before), (false, true));
    let query = KeptRoundQuery::builder().state(RoundState::Done).build();
    assert_eq!(client.rounds().list(&query).all().await.expect("rounds"), [done.round]);
    let because = WithdrawRequest { because: "it was the terrace".to_owned() };
    client.visits().withdraw(done.visits[0].id, &because).await.expect("withdrawing");
}

async fn visits(client: &Client) {
    let system =
        client.systems().list(&SystemQuery::default()).next().await.expect("one").expect("the system");
    let diverter =
        system.components.iter().find(|component| component.name == "first flush").expect("a diverter");
    let item = VisitItem::done(diverter.id, Duty::DrainDiverter).finding(Finding::Fraction { fraction: 0.5 });
    let new = screen("terrace screen");
    let new = client.systems().add_component(system.id, &new).await.expect("a screen");
    let part = VisitItem::done(new.id, Duty::CleanScreen)
        .finding(Finding::Class { fullness: FoundClass::Heavy })
        .left_fraction(0.25)
        .cleaned_meanwhile(true)
        .note("the lower half");
    let request = VisitRequest {
        system_id: system.id,
        visited_on: day("2026-02-20"),
        visited_by: Some("the upkeep rota".to_owned()),
        items: vec![item, part],
        note: None,
    };
    let logged = client.visits().log(&request).await.expect("a visit");
    let kept: Option<Vec<VisitItem>> = logged.items.iter().map(VisitItemAnswer::to_request).collect();
    assert_eq!((kept.as_ref(), logged.version), (Some(&request.items), 1));
    let corrected = VisitRequest { visited_on: day("2026-02-21"), ..request.clone() };
    let corrected =
        client.visits().correct(logged.id, logged.version, &corrected).await.expect("a correction");
    assert_eq!(client.visits().get(logged.id).await.expect("it"), corrected);
    let there =
        VisitQuery::builder().system_id(system.id).from(day("2026-02-21")).to(day("2026-02-21")).build();
    assert_eq!(client.visits().page(&there).await.expect("a page").items, [corrected]);
    let because = WithdrawRequest { because: "it was the terrace".to_owned() };
    let withdrawn = client.visits().withdraw(logged.id, &because).await.expect("withdrawing");
    assert_eq!(withdrawn.withdrawn_because, Some(because.because));
    assert_eq!(client.visits().list(&VisitQuery::default()).all().await.expect("none"), []);
    let revisions = client
        .visits()
        .revisions(logged.id, &eavesward_client::RevisionQuery::default())
        .all()
        .await
        .expect("revisions");
    let stood: Vec<_> =
        revisions.iter().map(|revision| (revision.version, revision.visit.visited_on)).collect();
    assert_eq!(stood, [(1, day("2026-02-20")), (2, day("2026-02-21"))], "oldest first");
}

async fn skill(app: &App, client: &Client) {
    app.score().await;
    let duties = client.skill().by_duty(&SkillQuery::default()).await.expect("the skill");
    assert!(duties.iter().all(|duty| duty.answered > 0), "{duties:?}");
    let query = AnswerQuery::builder().limit(1).build();
    let answers = client.skill().answers(&query).all().await.expect("the answers");
    let page = client.skill().answers_page(&query).await.expect("a page");
    assert_eq!(page.items.first(), answers.first());
    let counted: i64 = duties.iter().map(|duty| duty.answered).sum();
    assert_eq!(counted, answers.len() as i64);
    for duty in &duties {
        let query = AnswerQuery::builder().duty(duty.duty.clone()).build();
        let of = client.skill().answers(&query).all().await.expect("the answers of a duty");
        assert_eq!(of.len() as i64, duty.answered);
    }
}

async fn digest(app: &App, client: &Client) {
    app.refresh().await;
    let query = DigestQuery::builder().within_days(4000).build();
    let digest = client.digest(&query).await.expect("a digest");
    assert_eq!((digest.left_out, digest.note.as_deref()), (0, None));
    let tasks = TaskQuery::builder().within_days(4000).build();
    let tasks = client.tasks().list(&tasks).all().await.expect("tasks");
    assert!(digest.listed > 0 && digest.listed == tasks.len() as u64, "{digest:?}");
    let text = client.digest_as(&query, DigestFormat::Text).await.expect("text");
    assert!(text.starts_with("What is due by "), "{text}");
    let markdown = client.digest_as(&query, DigestFormat::Markdown).await.expect("Markdown");
    assert!(markdown.starts_with("# What is due by "), "{markdown}");
    let csv = client.digest_as(&query, DigestFormat::Csv).await.expect("CSV");
    assert!(csv.starts_with("row,property,due_on,"), "{csv}");
    let nowhere = DigestQuery::builder().property_id(tasks[0].id).build();
    assert_eq!(client.digest(&nowhere).await.expect("an empty one").totals.tasks, 0);
}

async fn calendars(app: &App, client: &Client) {
    let request =
        CalendarRequest { name: "terrace wall".to_owned(), property_id: None, horizon_days: Some(90) };
    let made = client.calendars().create(&request).await.expect("a feed");
    assert_eq!((made.calendar.name.as_str(), made.calendar.horizon_days), ("terrace wall", 90));
    let url = client.calendars().url(&made).expect("an address");
    assert_eq!((url.as_str(), url == made.url), (format!("{}{}", app.url, made.path).as_str(), true));
    let feed = client.calendars().read(&made.path).await.expect("it");
    assert!(feed.contains("BEGIN:VEVENT"), "{feed}");
    let all = client.calendars().list(&ListQuery::default()).all().await.expect("the feeds");
    assert!(all.iter().any(|known| known.id == made.calendar.id && known.last_read_at.is_some()), "{all:?}");
    client.calendars().revoke(made.calendar.id).await.expect("revoking");
    let page = client.calendars().page(&ListQuery::default()).await.expect("a page");
    assert!(page.items.iter().all(|known| known.id != made.calendar.id || known.revoked_at.is_some()));
    assert!(client.calendars().read(&made.path).await.expect_err("it is gone").is_not_found());
}
