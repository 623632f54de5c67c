//! Copies the pattern systems of a fleet many times inside SQLite.

use super::plan::{
    ACCOUNT, COMPONENT, GAUGE, GAUGES_OF_ACCOUNT, KINDS, PATTERN, PROPERTY, SYSTEM, Size, VISIT, VISITS,
};
use anyhow::{Result, ensure};
use sqlx::{AssertSqlSafe, Connection as _};
use sqlx_sqlite::SqliteConnection;
use sqlx_sqlite::{SqliteConnectOptions, SqliteSynchronous};
use std::path::Path;

/// SQL for the text of an id whose number is an SQL expression.
fn id_text(thing: u32, number: &str) -> String {
    format!("printf('{thing:08x}-0000-7000-8000-%012x', {number})")
}

/// SQL for the sixteen bytes of the same id, as they are stored.
fn id_bytes(thing: u32, number: &str) -> String {
    format!("unhex(printf('{thing:08x}000070008000%012x', {number}))")
}

/// How the rows of one table are copied. `n.i` is the number of the new system, `s` the system of the pattern, `t` the
/// row of the pattern.
struct Copies {
    table: &'static str,
    /// The condition that joins `t` to `s`.
    join: &'static str,
    /// The condition for the new systems that have such a row.
    only: String,
    /// Columns that differ from the pattern's, with their values in SQL.
    changed: Vec<(&'static str, String)>,
}

/// Copies the patterns until there are enough systems, then removes the patterns. Columns that are not named
/// here are copied unchanged, so that the tables may get new columns.
pub async fn multiply(file: &Path, size: Size) -> Result<()> {
    let options = SqliteConnectOptions::new()
        .filename(file)
        .foreign_keys(false)
        .synchronous(SqliteSynchronous::Off)
        .pragma("cache_size", "-65536");
    let mut connection = SqliteConnection::connect_with(&options).await?;
    let mut tx = connection.begin().await?;
    for copies in [properties(size), systems(size), refreshes(size), components(size), visits(size)] {
        let columns: Vec<(String,)> = sqlx::query_as("SELECT name FROM pragma_table_info($1)")
            .bind(copies.table)
            .fetch_all(&mut *tx)
            .await?;
        let copy = copies.statement(&columns, size);
        sqlx::query(AssertSqlSafe(copy)).execute(&mut *tx).await?;
    }
    for (table, key, thing) in [
        ("visits", "id", VISIT),
        ("components", "id", COMPONENT),
        ("refreshes", "system_id", SYSTEM),
        ("unscored", "system_id", SYSTEM),
        ("systems", "id", SYSTEM),
        ("properties", "id", PROPERTY),
    ] {
        let remove = format!("DELETE FROM {table} WHERE {key} >= {}", id_bytes(thing, &PATTERN.to_string()));
        sqlx::query(AssertSqlSafe(remove)).execute(&mut *tx).await?;
    }
    tx.commit().await?;
    let broken: Vec<(String,)> =
        sqlx::query_as("SELECT \"table\" FROM pragma_foreign_key_check").fetch_all(&mut connection).await?;
    ensure!(broken.is_empty(), "{} rows refer to nothing, the first in {}", broken.len(), broken[0].0);
    sqlx::query("PRAGMA wal_checkpoint(TRUNCATE)").execute(&mut connection).await?;
    connection.close().await?;
    Ok(())
}

impl Copies {
    fn statement(&self, columns: &[(String,)], Size { systems, gauges, .. }: Size) -> String {
        let values: Vec<String> = columns
            .iter()
            .map(|(name,)| {
                let change = self.changed.iter().find(|(column, _)| column == name);
                change.map_or_else(|| format!("t.{name}"), |(_, value)| value.clone())
            })
            .collect();
        let pattern = id_bytes(SYSTEM, &format!("{PATTERN} + n.i / {gauges} % {KINDS}"));
        format!(
            "INSERT INTO {table} SELECT {values} FROM \
             (WITH RECURSIVE c(i) AS (SELECT 0 UNION ALL SELECT i + 1 FROM c WHERE i + 1 < {systems}) \
             SELECT i FROM c WHERE {only}) n \
             CROSS JOIN systems s JOIN {table} t ON {join} WHERE s.id = {pattern}",
            table = self.table,
            values = values.join(", "),
            only = self.only.replace("n.i", "i"),
            join = self.join,
        )
    }
}

/// Systems go to the gauges in turn, so that the rows of one gauge's systems lie far from each other.
fn gauge(size: Size) -> String {
    format!("n.i % {}", size.gauges)
}

fn account(size: Size) -> (&'static str, String) {
    ("account_id", id_bytes(ACCOUNT, &format!("{} / {GAUGES_OF_ACCOUNT}", gauge(size))))
}

/// Two consecutive systems of one gauge share a property.
fn property(size: Size) -> String {
    let gauges = size.gauges;
    id_bytes(PROPERTY, &format!("n.i / {} * {gauges} + {}", 2 * gauges, gauge(size)))
}

/// How many days a system is older than its pattern, in SQL.
const OLDER: &str = "n.i * 37 % 1500";

fn properties(size: Size) -> Copies {
    Copies {
        table: "properties",
        join: "t.id = s.property_id",
        only: format!("n.i % {} < {}", 2 * size.gauges, size.gauges),
        changed: vec![
            ("id", property(size)),
            account(size),
            ("name", "printf('Terrace %05d', n.i)".to_owned()),
            ("latitude_deg", format!("45.0 + {} % 97 / 10.0", gauge(size))),
        ],
    }
}

fn systems(size: Size) -> Copies {
    Copies {
        table: "systems",
        join: "t.id = s.id",
        only: "1".to_owned(),
        changed: vec![
            ("id", id_bytes(SYSTEM, "n.i")),
            account(size),
            ("property_id", property(size)),
            ("gauge_id", id_bytes(GAUGE, &gauge(size))),
            ("name", "printf('Seedling house %05d', n.i)".to_owned()),
            ("commissioned_on", format!("t.commissioned_on - {OLDER}")),
        ],
    }
}

fn refreshes(size: Size) -> Copies {
    Copies {
        table: "refreshes",
        join: "t.system_id = s.id",
        only: "1".to_owned(),
        changed: vec![
            ("gauge_id", id_bytes(GAUGE, &gauge(size))),
            ("system_id", id_bytes(SYSTEM, "n.i")),
            account(size),
        ],
    }
}

/// The number of a row among those of its system, from 0, in SQL.
const NTH: &str = "(row_number() OVER (PARTITION BY n.i ORDER BY t.id)) - 1";

fn components(size: Size) -> Copies {
    Copies {
        table: "components",
        join: "t.system_id = s.id",
        only: "1".to_owned(),
        changed: vec![
            ("id", id_bytes(COMPONENT, &format!("n.i * 4 + {NTH}"))),
            account(size),
            ("system_id", id_bytes(SYSTEM, "n.i")),
            ("installed_on", format!("t.installed_on - {OLDER}")),
        ],
    }
}

fn visits(size: Size) -> Copies {
    let items = (0..4).fold("t.items".to_owned(), |items, place| {
        let old = format!("{PATTERN} + n.i / {} % {KINDS} * 4 + {place}", size.gauges);
        let (old, new) = (id_text(COMPONENT, &old), id_text(COMPONENT, &format!("n.i * 4 + {place}")));
        format!("replace({items}, {old}, {new})")
    });
    Copies {
        table: "visits",
        join: "t.system_id = s.id",
        only: "1".to_owned(),
        changed: vec![
            ("id", id_bytes(VISIT, &format!("n.i * {VISITS} + {NTH}"))),
            account(size),
            ("system_id", id_bytes(SYSTEM, "n.i")),
            // Up to 29 days before the pattern's.
            ("visited_on", "t.visited_on - n.i * 7 % 30".to_owned()),
            ("items", items),
        ],
    }
}
