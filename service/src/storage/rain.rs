//! Rain: one row for each gauge and day.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, GaugeId};
use crate::domain::base::paging::PageRequest;
use crate::domain::model::gauge::RainSpan;
use crate::domain::model::quota::Counted;
use crate::domain::model::rain::{RainDay, RainKnown, RainRange, RainRead, Upserted};
use crate::domain::ports::store::gauges::StoredRain;
use crate::storage::connection::{Database, Tx};
use crate::storage::rows::{RowRef, values};
use crate::storage::sql::{pieces, sql};
use crate::storage::stale::{Affected, mark_stale};
use chrono::NaiveDate;
use std::collections::HashMap;

/// Rows of one INSERT. In longer statements SQLite's driver spends its time looking up the names of the
/// values.
const ROWS: usize = 64;

/// The span of a rain record: first and last day as stored, and the number of days with a reading.
#[derive(Clone, Copy, Default, sqlx::FromRow)]
struct SpanRow {
    first_day: Option<i64>,
    last_day: Option<i64>,
    days: i64,
}

/// Locks a gauge, so that its rain has one writer at a time, and reads its span.
async fn lock(tx: &mut Tx, account: AccountId, id: GaugeId) -> Stored<Option<SpanRow>> {
    let mut query = sql("SELECT first_day, last_day, days FROM gauges WHERE account_id = $1 AND id = $2");
    query.push(tx.for_update());
    tx.first(query.on(account).on(id)).await
}

fn span(id: GaugeId, row: SpanRow) -> Stored<RainSpan> {
    let place = RowRef { table: "gauges", id: id.0 };
    Ok(RainSpan {
        from: place.date_if("first_day", row.first_day)?,
        through: place.date_if("last_day", row.last_day)?,
        days: row.days,
    })
}

/// Stores the span of a record. `rewritten` says that the record changed before its end.
async fn set_span(tx: &mut Tx, id: GaugeId, span: SpanRow, rewritten: bool) -> Stored<()> {
    let query = sql(
        "UPDATE gauges SET first_day = $1, last_day = $2, days = $3, rewrites = rewrites + $4 WHERE id = $5",
    );
    let SpanRow { first_day, last_day, days } = span;
    tx.run(query.on(first_day).on(last_day).on(days).on(i64::from(rewritten)).on(id)).await.map(drop)
}

/// Compares readings with the record. Returns how many are new, changed or the same, and those to be written.
async fn compare(tx: &mut Tx, id: GaugeId, days: &[RainDay]) -> Stored<(Upserted, Vec<RainDay>)> {
    let mut counts = Upserted::default();
    let (Some(from), Some(to)) =
        (days.iter().map(|day| day.date).min(), days.iter().map(|day| day.date).max())
    else {
        return Ok((counts, Vec::new()));
    };
    let query = sql("SELECT day, mm FROM rain WHERE gauge_id = $1 AND day BETWEEN $2 AND $3");
    let stored: HashMap<i64, f64> = tx.all(query.on(id).on(from).on(to)).await?.into_iter().collect();
    let mut write = Vec::new();
    for day in days {
        match stored.get(&i64::from(day.date.to_epoch_days())) {
            Some(mm) if *mm == day.rain_mm => {
                counts.same += 1;
                continue;
            }
            Some(_) => counts.changed += 1,
            None => counts.new += 1,
        }
        write.push(*day);
    }
    Ok((counts, write))
}

pub(super) async fn put(
    database: &Database,
    account: AccountId,
    id: GaugeId,
    days: &[RainDay],
) -> Stored<Option<StoredRain>> {
    let mut tx = database.begin().await?;
    let Some(before) = lock(&mut tx, account, id).await? else { return Ok(None) };
    let (upserted, write) = compare(&mut tx, id, days).await?;
    if write.is_empty() {
        return Ok(Some(StoredRain { upserted, span: span(id, before)? }));
    }
    for piece in pieces(&write, ROWS) {
        let mut query = sql("INSERT INTO rain (gauge_id, day, mm) ");
        query.bind_rows(piece, |row, day| {
            row.on(id).on(day.date).on(day.rain_mm);
        });
        query.push(" ON CONFLICT (gauge_id, day) DO UPDATE SET mm = excluded.mm");
        tx.run(query).await?;
    }
    let written = || write.iter().map(|day| i64::from(day.date.to_epoch_days()));
    let grown = SpanRow {
        first_day: written().chain(before.first_day).min(),
        last_day: written().chain(before.last_day).max(),
        days: before.days + i64::from(upserted.new),
    };
    let rewritten = before.last_day.is_some_and(|last| written().any(|day| day <= last));
    set_span(&mut tx, id, grown, rewritten).await?;
    if upserted.new > 0 {
        database.within_quota(&mut tx, account, Counted::RainDays).await?;
    }
    mark_stale(&mut tx, account, Affected::Gauge(id)).await?;
    tx.commit().await?;
    Ok(Some(StoredRain { upserted, span: span(id, grown)? }))
}

pub(super) async fn delete(
    database: &Database,
    account: AccountId,
    id: GaugeId,
    from: NaiveDate,
    to: NaiveDate,
) -> Stored<bool> {
    let mut tx = database.begin().await?;
    if lock(&mut tx, account, id).await?.is_none() {
        return Ok(false);
    }
    let query = sql("DELETE FROM rain WHERE gauge_id = $1 AND day BETWEEN $2 AND $3");
    if tx.run(query.on(id).on(from).on(to)).await? > 0 {
        let query = sql(
            "SELECT MIN(day) AS first_day, MAX(day) AS last_day, COUNT(*) AS days FROM rain WHERE gauge_id = $1",
        );
        let left = tx.first::<SpanRow>(query.on(id)).await?.unwrap_or_default();
        set_span(&mut tx, id, left, true).await?;
        mark_stale(&mut tx, account, Affected::Gauge(id)).await?;
    }
    tx.commit().await?;
    Ok(true)
}

fn read(id: GaugeId, rows: Vec<(i64, f64)>) -> Stored<Vec<RainDay>> {
    let place = RowRef { table: "rain", id: id.0 };
    values(rows, |(day, rain_mm)| Ok(RainDay { date: place.date("day", day)?, rain_mm }))
}

pub(super) async fn page(
    database: &Database,
    id: GaugeId,
    RainRange { from, to }: RainRange,
    page: &PageRequest<NaiveDate>,
) -> Stored<Vec<RainDay>> {
    let mut query = sql("SELECT day, mm FROM rain WHERE gauge_id = ");
    query.bind(id);
    if let Some(from) = from {
        query.push(" AND day >= ").bind(from);
    }
    if let Some(to) = to {
        query.push(" AND day <= ").bind(to);
    }
    if let Some(after) = &page.after {
        query.push(" AND day > ").bind(after.key);
    }
    query.push(" ORDER BY day LIMIT ").bind(page.rows());
    read(id, database.all(query).await?)
}

/// What a record holds since it was last read: the days after, or all days if older ones have changed.
pub(super) async fn since(
    database: &Database,
    id: GaugeId,
    known: Option<RainKnown>,
    through: NaiveDate,
) -> Stored<RainRead> {
    let mut tx = database.begin_reading().await?;
    let query = sql("SELECT rewrites FROM gauges WHERE id = $1").on(id);
    let rewrites = tx.first::<(i64,)>(query).await?.unwrap_or_default().0;
    let after = known.filter(|known| known.rewrites == rewrites).and_then(|known| known.through);
    let mut query = sql("SELECT day, mm FROM rain WHERE gauge_id = ");
    query.bind(id).push(" AND day <= ").bind(through);
    if let Some(after) = after {
        query.push(" AND day > ").bind(after);
    }
    query.push(" ORDER BY day");
    let days = read(id, tx.all(query).await?)?;
    tx.commit().await?;
    Ok(RainRead { rewrites, whole: after.is_none(), days })
}

pub(super) async fn record(database: &Database, id: GaugeId, through: NaiveDate) -> Stored<Vec<RainDay>> {
    let query =
        sql("SELECT day, mm FROM rain WHERE gauge_id = $1 AND day <= $2 ORDER BY day").on(id).on(through);
    read(id, database.all(query).await?)
}
