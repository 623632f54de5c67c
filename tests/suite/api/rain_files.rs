//! Rain as files: daily CSV, and by-station lines of the GHCN-Daily archive.

use super::scenario::{gauge, id_of, items};
use crate::support::app::{App, Reply, over_both};
use serde_json::{Value, json};

over_both! {
    a_daily_file_is_read_whatever_its_dress;
    a_daily_file_with_bad_lines_keeps_the_good_ones;
    a_header_that_names_other_units_is_refused;
    station_lines_are_tenths_and_their_flags_count;
    accumulated_readings_are_spread_or_refused;
    a_second_station_and_unreadable_lines_are_refused;
    lines_that_end_with_a_return_are_counted_and_refused_alike;
    a_file_of_too_many_lines_or_readings_is_refused;
}

async fn made(app: &App) -> String {
    format!("/v1/gauges/{}/rain", id_of(&app.post("/v1/gauges", &gauge()).await))
}

async fn put(app: &App, path: &str, text: impl Into<reqwest::Body>) -> Reply {
    Reply::of(app.request("PUT", path).header("Content-Type", "text/csv; charset=utf-8").body(text)).await
}

async fn days(app: &App, path: &str) -> Vec<(String, f64)> {
    let items = items(&app.get(path).await);
    let day = |one: &Value| {
        let date = one["date"].as_str().expect("a date").to_owned();
        (date, one["rain_mm"].as_f64().expect("a number"))
    };
    items.iter().map(day).collect()
}

/// Line and reason of every refusal.
fn refused(report: &Value) -> Vec<(u64, String)> {
    let refused = report["refused"].as_array().expect("refusals");
    let one = |one: &Value| {
        (one["line"].as_u64().expect("a line"), one["reason"].as_str().expect("a reason").to_owned())
    };
    refused.iter().map(one).collect()
}

async fn a_daily_file_is_read_whatever_its_dress(app: &App) {
    let dresses = [
        "date,mm\n2026-01-01,1.5\n2026-01-02,0\n",
        "2026-01-01,1.5\n2026-01-02,0",
        "Date,Rain_MM\r\n2026-01-01,1.5\r\n2026-01-02,0\r\n",
        "date,precipitation_mm\n2026-01-01,1.5\n2026-01-02,0\n",
        "\u{feff}date,mm\n2026-01-01,1.5\n2026-01-02,0\n",
        "\u{feff}2026-01-01,1.5\n2026-01-02,0\n",
        "mm,station,date\n1.5,orchard,2026-01-01\n0,orchard,2026-01-02\n",
        "date,mm\n\n2026-01-01 , 1.5\n\n  \n,\n2026-01-02,0.0\n\n",
        "\"date\",\"mm\"\n\"2026-01-01\",\"1.5\"\n\"2026-01-02\",\"0\"\n",
        "date,mm,note\n2026-01-01,1.5,\"wet, windy\"\n2026-01-02,0,\n",
        "date,mm\r2026-01-01,1.5\r2026-01-02,0\r",
        "\"date\",\"mm\"\r\"2026-01-01\",\"1.5\"\r\"2026-01-02\",\"0\"",
        "date,mm\r\n2026-01-01,1.5\n\r2026-01-02,0\r\r\n",
        "date,mm,note\r2026-01-01,1.5,\"wet\rwindy\"\r2026-01-02,0,\"dry\r\n\"\r",
    ];
    for dress in dresses {
        let path = made(app).await;
        let report = put(app, &path, dress).await.expect(200);
        assert_eq!(refused(&report), [], "{dress:?}");
        assert_eq!(report["counts"]["added"], 2, "{dress:?}");
        let expected = [("2026-01-01".to_owned(), 1.5), ("2026-01-02".to_owned(), 0.0)];
        assert_eq!(days(app, &path).await, expected, "{dress:?}");
    }
    let path = made(app).await;
    for empty in ["", "\n\n", "date,mm\n"] {
        let report = put(app, &path, empty).await.expect(200);
        assert_eq!((&report["counts"]["added"], refused(&report)), (&json!(0), vec![]), "{empty:?}");
    }
}

async fn a_daily_file_with_bad_lines_keeps_the_good_ones(app: &App) {
    let path = made(app).await;
    let text = "date,mm\n2026-01-01,1.5\n2026-01-02,-1\n2026-01-03,NaN\n2026-01-04,inf\n2026-01-05,\n2026-01-06\n\
                01/07/2026,1\n2026-01-08,1,5\n2026-01-09,trace\n2026-01-01,1.5\n2026-01-10,2500\n2026-01-11,4\n";
    let report = put(app, &path, text).await.expect(200);
    let lines: Vec<u64> = refused(&report).iter().map(|(line, _)| *line).collect();
    // Line 9 has a third field, as a decimal comma makes it: nothing tells the rain from 1 mm.
    assert_eq!(lines, [3, 4, 5, 6, 7, 8, 9, 10, 11, 12], "{report}");
    assert!(report["refused"][6]["reason"].to_string().contains("decimal comma"), "{report}");
    assert_eq!(report["refused"][5]["date"], "01/07/2026");
    let kept: Vec<String> = days(app, &path).await.into_iter().map(|(date, _)| date).collect();
    assert_eq!(kept, ["2026-01-01", "2026-01-11"]);
    let path = made(app).await;
    let strict = put(app, &format!("{path}?all_or_nothing=true"), text).await;
    assert_eq!(strict.fields("rain_refused")[0], "line 3");
    assert_eq!(days(app, &path).await, []);
    // Bytes that are no text are refused by their line.
    let report = put(app, &path, b"date,mm\n2026-01-01,1.5\n2026-01-0\xff,1\n".to_vec()).await.expect(200);
    assert_eq!(refused(&report)[0].0, 3);
    assert_eq!(report["counts"]["added"], 1);
}

async fn a_header_that_names_other_units_is_refused(app: &App) {
    let path = made(app).await;
    for header in ["date,inches", "date,in", "day,mm", "date,tenths_mm", "station,element"] {
        let reply = put(app, &path, format!("{header}\n2026-01-01,1.5\n")).await;
        assert_eq!((reply.status, reply.fields("invalid")), (422, vec!["line 1".to_owned()]), "{header}");
        assert!(reply.text.contains(header), "{}", reply.text);
    }
    assert_eq!(days(app, &path).await, []);
}

async fn station_lines_are_tenths_and_their_flags_count(app: &App) {
    let path = made(app).await;
    let ghcn = format!("{path}?layout=ghcn_daily");
    let text = "XX000000001,20260101,PRCP,23,,,S,0700\n\
                XX000000001,20260101,TMAX,101,,,S,\n\
                XX000000001,20260102,PRCP,0,T,,S,0700\n\
                XX000000001,20260103,PRCP,150,,I,S,0700\n\
                XX000000001,20260104,PRCP,-9999,,,S,\n\
                XX000000001,20260105,PRCP,7,,,S,\n\
                XX000000001,20260105,SNOW,0,,,S,\n\
                XX000000001,20260106,PRCP,-5,,,S,\n\
                XX000000001,20260107,PRCP,20001,,,S,\n";
    let report = put(app, &ghcn, text).await.expect(200);
    let expected = [("2026-01-01", 2.3), ("2026-01-02", 0.0), ("2026-01-05", 0.7)];
    assert_eq!(days(app, &path).await, expected.map(|(date, mm)| (date.to_owned(), mm)));
    assert_eq!((&report["counts"]["other"], &report["counts"]["added"]), (&json!(2), &json!(3)));
    let refused = refused(&report);
    let lines: Vec<u64> = refused.iter().map(|(line, _)| *line).collect();
    assert_eq!(lines, [4, 5, 8, 9], "{report}");
    assert!(refused[0].1.contains("flag I") && refused[1].1.contains("-9999"), "{refused:?}");
    assert!(refused[2].1.contains("negative"), "{refused:?}");
    assert_eq!(report["refused"][0]["date"], "20260103");
    // A first line that names the columns, as the archive's own downloads have it.
    let path = made(app).await;
    let header = "ID,DATE,ELEMENT,DATA_VALUE,M_FLAG,Q_FLAG,S_FLAG,OBS_TIME\r\nXX1,20260101,PRCP,1,,,S,\r\n";
    let report = put(app, &format!("{path}?layout=ghcn_daily"), header).await.expect(200);
    assert_eq!((&report["counts"]["added"], self::refused(&report)), (&json!(1), vec![]));
}

async fn accumulated_readings_are_spread_or_refused(app: &App) {
    // 9 mm in three days; a total without its days; days without their total; a flagged total; one day alone; too long.
    let text = "XX1,20260110,MDPR,90,,,S,\nXX1,20260110,DAPR,3,,,S,\n\
                XX1,20260114,MDPR,50,,,S,\n\
                XX1,20260116,DAPR,2,,,S,\n\
                XX1,20260120,DAPR,2,,,S,\nXX1,20260120,MDPR,40,,G,S,\n\
                XX1,20260122,MDPR,11,,,S,\nXX1,20260122,DAPR,1,,,S,\n\
                XX1,20260228,MDPR,400,,,S,\nXX1,20260228,DAPR,32,,,S,\n";
    let path = made(app).await;
    let report = put(app, &format!("{path}?layout=ghcn_daily"), text).await.expect(200);
    let expected = [("2026-01-08", 3.0), ("2026-01-09", 3.0), ("2026-01-10", 3.0), ("2026-01-22", 1.1)];
    assert_eq!(days(app, &path).await, expected.map(|(date, mm)| (date.to_owned(), mm)));
    assert_eq!(report["counts"]["spread"], 3);
    let refused_lines = refused(&report);
    let lines: Vec<u64> = refused_lines.iter().map(|(line, _)| *line).collect();
    assert_eq!(lines, [3, 4, 6, 9], "{report}");
    for (index, why) in [(0, "no DAPR"), (1, "no total"), (2, "flag G"), (3, "32 days")] {
        assert!(refused_lines[index].1.contains(why), "{refused_lines:?}");
    }
    let path = made(app).await;
    let report = put(app, &format!("{path}?layout=ghcn_daily&several_days=refuse"), text).await.expect(200);
    assert_eq!(days(app, &path).await, []);
    assert_eq!((&report["counts"]["refused"], &report["counts"]["spread"]), (&json!(6), &json!(0)));
    // A day that was measured by itself keeps its value; the others get their share of the total.
    let path = made(app).await;
    let text = "XX1,20260109,PRCP,10,,,S,\nXX1,20260110,MDPR,90,,,S,\nXX1,20260110,DAPR,3,,,S,\n";
    let report = put(app, &format!("{path}?layout=ghcn_daily"), text).await.expect(200);
    let expected = [("2026-01-08", 3.0), ("2026-01-09", 1.0), ("2026-01-10", 3.0)];
    assert_eq!(days(app, &path).await, expected.map(|(date, mm)| (date.to_owned(), mm)));
    assert_eq!((&report["counts"]["spread"], refused(&report)), (&json!(2), vec![]));
}

async fn a_second_station_and_unreadable_lines_are_refused(app: &App) {
    let path = made(app).await;
    let text = "XX1,20260101,PRCP,10,,,S,\nXX2,20260102,PRCP,10,,,S,\nXX1,20260132,PRCP,10,,,S,\n\
                XX1,2026-01-03,PRCP,10,,,S,\nXX1,20260104,PRCP,wet,,,S,\nXX1,20260105,PRCP\nhello\n\
                XX1,20260106,PRCP,20\n";
    let report = put(app, &format!("{path}?layout=ghcn_daily"), text).await.expect(200);
    let refused = refused(&report);
    let lines: Vec<u64> = refused.iter().map(|(line, _)| *line).collect();
    assert_eq!(lines, [2, 3, 4, 5, 6, 7], "{report}");
    assert!(refused[0].1.contains("XX2"), "{refused:?}");
    assert_eq!(days(app, &path).await, [("2026-01-01".to_owned(), 1.0), ("2026-01-06".to_owned(), 2.0)]);
}

async fn lines_that_end_with_a_return_are_counted_and_refused_alike(app: &App) {
    let path = made(app).await;
    let lines = [
        "date,mm",
        "2026-01-01,1.5",
        "",
        "2026-01-02,wet",
        "2026-01-03,2,\"no end",
        "2026-01-04,3",
        "2026-01-05",
    ];
    for end in ["\n", "\r\n", "\r"] {
        let report = put(app, &path, lines.join(end)).await.expect(200);
        let lines: Vec<u64> = refused(&report).iter().map(|(line, _)| *line).collect();
        assert_eq!(lines, [4, 5, 7], "{end:?}: {report}");
        let strict =
            put(app, &format!("{path}?all_or_nothing=true"), ["2026-02-01,1", "2026-02-02,x"].join(end))
                .await;
        assert_eq!(strict.fields("rain_refused"), ["line 2"], "{end:?}");
    }
    let dates: Vec<String> = days(app, &path).await.into_iter().map(|(date, _)| date).collect();
    assert_eq!(dates, ["2026-01-01", "2026-01-04"]);
    let path = made(app).await;
    let text = "XX1,20260109,PRCP,10,,,S,\rXX1,20260110,MDPR,90,,,S,\rXX1,20260110,DAPR,2,,,S,\rXX1,20260111,TMAX,1,,,S,";
    let report = put(app, &format!("{path}?layout=ghcn_daily"), text).await.expect(200);
    assert_eq!(
        days(app, &path).await,
        [("2026-01-09".to_owned(), 1.0), ("2026-01-10".to_owned(), 4.5)].to_vec()
    );
    assert_eq!((&report["counts"]["other"], refused(&report)), (&json!(1), vec![]));
}

async fn a_file_of_too_many_lines_or_readings_is_refused(app: &App) {
    let path = made(app).await;
    let ghcn = format!("{path}?layout=ghcn_daily");
    let first: chrono::NaiveDate = "0001-01-01".parse().expect("a date");
    let accumulated = |days: usize| {
        let lines = first.iter_days().take(days).map(|date| {
            let date = date.format("%Y%m%d");
            format!("X,{date},MDPR,1\nX,{date},DAPR,31\n")
        });
        lines.collect::<String>()
    };
    for (path, text, field) in [
        (&path, "\n".repeat(32 * 1024 * 1024), "line 1000001"),
        (&path, "\r".repeat(1_000_000) + "x", "line 1000001"),
        (&path, "1\n".repeat(50_001), "days"),
        // Each of these stands for 31 days.
        (&ghcn, accumulated(2000), "days"),
        (&ghcn, accumulated(60_000), "days"),
    ] {
        let reply = put(app, path, text).await;
        assert_eq!((reply.status, reply.fields("invalid")), (422, vec![field.to_owned()]));
    }
    assert_eq!(days(app, &path).await, []);
    // A long field is repeated in part.
    let long = "x".repeat(3000);
    let report =
        put(app, &path, format!("date,mm\n{long},1\n2026-01-01,{long}\n2026-01-02,{long}{long}\n")).await;
    assert_eq!(refused(&report.expect(200)).len(), 3);
    assert!(report.text.len() < 1500, "{}", report.text);
}
