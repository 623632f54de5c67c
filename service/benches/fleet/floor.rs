//! The floor: how long SQLite takes to write the same rows when nothing is computed.
//!
//! Only the writing is timed; rows are read beforehand. Pragmas, tables and indexes are the same. Foreign
//! keys are not checked, and the database has no other work.

use anyhow::Result;
use sqlx::{Arguments as _, AssertSqlSafe, Connection as _, Row as _, TypeInfo as _, ValueRef as _};
use sqlx_sqlite::{
    SqliteArguments, SqliteConnectOptions, SqliteConnection, SqliteJournalMode, SqliteRow, SqliteSynchronous,
};
use std::path::Path;
use std::time::{Duration, Instant};

use super::files::url;

/// Rows of one statement: they share one trip to the driver's thread.
const ROWS: usize = 64;
/// Rows of one transaction.
const CHUNK: i64 = 64 * 100;

/// Two connections: one to the fleet, one to the file that receives its rows.
pub struct Floor {
    from: SqliteConnection,
    to: SqliteConnection,
}

/// A value of any column.
enum Cell {
    Null,
    Int(i64),
    Real(f64),
    Text(String),
    Blob(Vec<u8>),
}

impl Floor {
    /// Makes the file, with the tables of the fleet that a refresh writes.
    pub async fn new(fleet: &Path, file: &Path) -> Result<Self> {
        let mut from = SqliteConnection::connect(&url(fleet)).await?;
        let options = SqliteConnectOptions::new()
            .filename(file)
            .create_if_missing(true)
            .journal_mode(SqliteJournalMode::Wal)
            .synchronous(SqliteSynchronous::Full)
            .foreign_keys(false)
            .pragma("cache_size", "-16384");
        let mut to = SqliteConnection::connect_with(&options).await?;
        let made: Vec<(String,)> = sqlx::query_as(
            "SELECT sql FROM sqlite_schema WHERE tbl_name IN ('tasks', 'forecasts') AND sql IS NOT NULL",
        )
        .fetch_all(&mut from)
        .await?;
        for (sql,) in made {
            sqlx::query(AssertSqlSafe(sql)).execute(&mut to).await?;
        }
        Ok(Self { from, to })
    }

    /// Writes all rows that the fleet holds now and prints how long that took, in seconds.
    #[expect(clippy::print_stdout, reason = "a benchmark prints its figures")]
    pub async fn write(&mut self, what: &str) -> Result<()> {
        let mut took = Duration::ZERO;
        for table in ["tasks", "forecasts"] {
            took += self.copy(table).await?;
        }
        println!("  {what}: {:.2} s", took.as_secs_f64());
        Ok(())
    }

    async fn copy(&mut self, table: &str) -> Result<Duration> {
        let columns: Vec<(String,)> = sqlx::query_as("SELECT name FROM pragma_table_info($1)")
            .bind(table)
            .fetch_all(&mut self.from)
            .await?;
        let names: Vec<&str> = columns.iter().map(|(name,)| name.as_str()).collect();
        let updates: Vec<String> =
            names[1..].iter().map(|name| format!("{name} = excluded.{name}")).collect();
        let row = format!("({})", vec!["?"; names.len()].join(", "));
        let insert = |rows: usize| {
            let (names, key, rows) = (names.join(", "), names[0], vec![row.as_str(); rows].join(", "));
            format!(
                "INSERT INTO {table} ({names}) VALUES {rows} ON CONFLICT ({key}) DO UPDATE SET {}",
                updates.join(", ")
            )
        };
        let (mut took, mut after) = (Duration::ZERO, 0);
        loop {
            let select =
                format!("SELECT rowid, * FROM {table} WHERE rowid > $1 ORDER BY rowid LIMIT {CHUNK}");
            let rows = sqlx::query(AssertSqlSafe(select)).bind(after).fetch_all(&mut self.from).await?;
            let Some(last) = rows.last() else { return Ok(took) };
            after = last.try_get::<i64, _>(0)?;
            let rows: Vec<Vec<Cell>> = rows.iter().map(cells).collect::<Result<_>>()?;
            let begun = Instant::now();
            let mut tx = self.to.begin_with("BEGIN IMMEDIATE").await?;
            for piece in rows.chunks(ROWS) {
                let mut arguments = SqliteArguments::default();
                for cell in piece.iter().flatten() {
                    add(&mut arguments, cell)?;
                }
                sqlx::query_with(AssertSqlSafe(insert(piece.len())), arguments).execute(&mut *tx).await?;
            }
            tx.commit().await?;
            took += begun.elapsed();
        }
    }
}

fn cells(row: &SqliteRow) -> Result<Vec<Cell>> {
    (1..row.len())
        .map(|column| {
            let value = row.try_get_raw(column)?;
            Ok(match value.type_info().name() {
                _ if value.is_null() => Cell::Null,
                "INTEGER" => Cell::Int(row.try_get(column)?),
                "REAL" => Cell::Real(row.try_get(column)?),
                "TEXT" => Cell::Text(row.try_get(column)?),
                _ => Cell::Blob(row.try_get(column)?),
            })
        })
        .collect()
}

fn add(arguments: &mut SqliteArguments, cell: &Cell) -> Result<()> {
    match cell {
        Cell::Null => arguments.add(None::<i64>),
        Cell::Int(value) => arguments.add(*value),
        Cell::Real(value) => arguments.add(*value),
        Cell::Text(value) => arguments.add(value.clone()),
        Cell::Blob(value) => arguments.add(value.clone()),
    }
    .map_err(anyhow::Error::from_boxed)
}
