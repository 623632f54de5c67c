//! Rain files through the SDK.

use super::{client, day, gauge};
use crate::support::app::{App, over_both};
use eavesward_client::contract::{RainCounts, RainDay, RainLayout, RainReport};
use eavesward_client::{Client, RainFileOptions, RainQuery, SeveralDays, rain_file};
use std::fmt::Write as _;
use uuid::Uuid;

over_both! {
    a_daily_file_keeps_its_good_lines;
    a_station_file_is_in_tenths_and_may_cover_several_days;
    a_file_of_several_pieces_is_told_of_as_one;
}

async fn made(client: &Client) -> Uuid {
    client.gauges().create(&gauge("orchard gauge")).await.expect("a gauge").id
}

async fn days(client: &Client, id: Uuid) -> Vec<(String, f64)> {
    let days = client.gauges().rain(id, &RainQuery::default()).all().await.expect("days");
    days.into_iter().map(|RainDay { date, rain_mm }| (date.to_string(), rain_mm)).collect()
}

fn lines(report: &RainReport) -> Vec<u64> {
    report.refused.iter().filter_map(|refusal| refusal.line).collect()
}

async fn a_daily_file_keeps_its_good_lines(app: &App) {
    let client = client(app);
    let id = made(&client).await;
    let text = "date,mm\n2026-01-01,4.5\n2026-01-02,-1\n2026-01-03,0\n";
    let strict = RainFileOptions::builder().all_or_nothing(true).build();
    let error = client.gauges().send_rain_file(id, text, &strict).await.expect_err("one line is wrong");
    assert!(error.is_invalid() && error.to_string().contains("-1"), "{error}");
    assert_eq!(days(&client, id).await, [], "nothing of it was stored");
    let report = client.gauges().send_rain_file(id, text, &RainFileOptions::default()).await.expect("a file");
    assert_eq!(report.counts, RainCounts { added: 2, refused: 1, ..RainCounts::default() });
    assert_eq!((lines(&report), report.refused[0].date.as_deref()), (vec![3], Some("2026-01-02")));
    assert_eq!(days(&client, id).await, [("2026-01-01".to_owned(), 4.5), ("2026-01-03".to_owned(), 0.0)]);
    let again =
        client.gauges().send_rain_file(id, text, &RainFileOptions::default()).await.expect("the file again");
    assert_eq!(again.counts, RainCounts { same: 2, refused: 1, ..RainCounts::default() });
    assert_eq!((again.rain_from, again.rain_through), (Some(day("2026-01-01")), Some(day("2026-01-03"))));
}

async fn a_station_file_is_in_tenths_and_may_cover_several_days(app: &App) {
    let client = client(app);
    let text = "AR000000001,20260101,PRCP,25,,,N,\nAR000000001,20260101,TMAX,81,,,N,\n\
                AR000000001,20260102,PRCP,300,,G,N,\nAR000000001,20260105,MDPR,90,,,N,\n\
                AR000000001,20260105,DAPR,3,,,N,\n";
    let options =
        |several| RainFileOptions::builder().layout(RainLayout::GhcnDaily).several_days(several).build();
    let id = made(&client).await;
    let report = client
        .gauges()
        .send_rain_file(id, text, &options(SeveralDays::Spread))
        .await
        .expect("a station file");
    assert_eq!((report.counts.added, report.counts.spread, report.counts.refused), (4, 3, 1), "{report:?}");
    assert_eq!(lines(&report), [3], "the flagged reading");
    let want = [("2026-01-01", 2.5), ("2026-01-03", 3.0), ("2026-01-04", 3.0), ("2026-01-05", 3.0)];
    assert_eq!(days(&client, id).await, want.map(|(date, mm)| (date.to_owned(), mm)));
    let id = made(&client).await;
    let report = client
        .gauges()
        .send_rain_file(id, text, &options(SeveralDays::Refuse))
        .await
        .expect("a station file");
    assert_eq!((report.counts.added, report.counts.spread), (1, 0), "{report:?}");
    assert_eq!(days(&client, id).await, [("2026-01-01".to_owned(), 2.5)]);
}

async fn a_file_of_several_pieces_is_told_of_as_one(app: &App) {
    let client = client(app);
    let id = made(&client).await;
    let count = rain_file::MAX_LINES + 5;
    let first = day("1965-01-01");
    let mut text = "date,mm\n".to_owned();
    for (at, date) in first.iter_days().take(count).enumerate() {
        let mm = if at == 10 || at == count - 2 { "trace" } else { "0.5" };
        writeln!(text, "{date},{mm}").expect("memory takes anything");
    }
    let report =
        client.gauges().send_rain_file(id, &text, &RainFileOptions::default()).await.expect("a long file");
    let refused = count as u64;
    assert_eq!(lines(&report), [12, refused], "line numbers are those of the whole file");
    assert_eq!((u64::from(report.counts.added), report.counts.refused), (refused - 2, 2));
    let last = first.iter_days().nth(count - 1).expect("a day");
    assert_eq!((report.rain_from, report.rain_through), (Some(first), Some(last)));
    assert_eq!(client.gauges().get(id).await.expect("it").rain_days, count as i64 - 2);
}
