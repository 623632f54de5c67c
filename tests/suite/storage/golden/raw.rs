//! Rows as a database holds them, past the storage traits.

use super::super::Rig;
use super::file::{Row, Tables};
use super::pressed;
use base64::{Engine as _, engine::general_purpose::STANDARD};
use serde_json::value::{RawValue, to_raw_value};
use sqlx::{AssertSqlSafe, Column as _, Connection as _, Row as _, TypeInfo as _, ValueRef as _};
use std::collections::BTreeMap;
use uuid::Uuid;

/// Tables whose rows are pinned, those that others refer to first, with the column that a case's rows are found by and
/// the one that puts them in order.
pub(super) const TABLES: [(&str, &str, &str); 23] = [
    ("accounts", "id", "id"),
    ("keys", "id", "id"),
    ("duty_settings", "account_id", "duty"),
    ("properties", "id", "id"),
    ("gauges", "id", "id"),
    ("systems", "id", "id"),
    ("components", "id", "id"),
    ("visits", "system_id", "id"),
    ("visit_revisions", "visit_id", "version"),
    ("tasks", "system_id", "id"),
    ("forecasts", "system_id", "system_id"),
    ("gone_tasks", "task_id", "task_id"),
    ("answered", "id", "id"),
    ("idempotency", "account_id", "key"),
    ("calendars", "id", "id"),
    ("feeds", "account_id", "account_id"),
    ("reminders", "account_id", "number"),
    ("rounds", "id", "id"),
    ("round_tasks", "round_id", "task_id"),
    ("subscriptions", "id", "id"),
    ("deliveries", "subscription_id", "id"),
    ("audit", "account_id", "id"),
    ("delivery_attempts", "delivery_id", "number"),
];

/// Columns of JSON text.
const JSON: [&str; 11] = [
    "answer",
    "entry",
    "evaporation_mm_per_day",
    "items",
    "normals",
    "part",
    "roof",
    "secrets_before",
    "temperatures",
    "told",
    "visit",
];

/// Columns of bytes; in the files they are Base64. Other columns of bytes hold an id on SQLite, which has no such kind.
const BYTES: [&str; 4] = ["fingerprint", "hash", "history", "secret"];

/// A connection of its own, which knows nothing of what the service makes of a row.
pub(super) enum Raw {
    Sqlite(sqlx_sqlite::SqliteConnection),
    Pg(sqlx_postgres::PgConnection),
}

/// A value of a column.
enum Value {
    Int(i64),
    Real(f64),
    Text(String),
    Bytes(Vec<u8>),
    Id(Uuid),
}

/// Reads a row of either database.
macro_rules! read_row {
    ($row:expr) => {{
        let row = $row;
        let mut read = Row::new();
        for (index, column) in row.columns().iter().enumerate() {
            let (name, raw) = (column.name(), row.try_get_raw(index).unwrap());
            if raw.is_null() {
                continue;
            }
            let kind = raw.type_info().name().to_owned();
            let value = match kind.as_str() {
                "INTEGER" | "INT8" => Value::Int(row.get(index)),
                "REAL" | "FLOAT8" => Value::Real(row.get(index)),
                "TEXT" => Value::Text(row.get(index)),
                "UUID" => Value::Id(row.get(index)),
                "BLOB" | "BYTEA" if name == pressed::COLUMN || BYTES.contains(&name) => {
                    Value::Bytes(row.get(index))
                }
                "BLOB" => Value::Id(row.get(index)),
                other => panic!("{name} is of the kind {other}, which the golden files have no words for"),
            };
            read.insert(name.to_owned(), value.written(name));
        }
        read
    }};
}

/// Binds values to a statement of either database.
macro_rules! bound {
    ($query:expr, $values:expr) => {{
        let mut query = $query;
        for value in $values {
            query = match value {
                Value::Int(value) => query.bind(value),
                Value::Real(value) => query.bind(value),
                Value::Text(value) => query.bind(value),
                Value::Bytes(value) => query.bind(value),
                Value::Id(value) => query.bind(value),
            };
        }
        query
    }};
}

impl Value {
    /// As it stands in a golden file.
    fn written(&self, column: &str) -> Box<RawValue> {
        match self {
            Self::Int(value) => to_raw_value(value),
            Self::Real(value) => to_raw_value(value),
            Self::Text(text) if JSON.contains(&column) => RawValue::from_string(text.clone()),
            Self::Text(text) => to_raw_value(text),
            Self::Bytes(bytes) if column == pressed::COLUMN => return pressed::opened(bytes),
            Self::Bytes(bytes) => to_raw_value(&STANDARD.encode(bytes)),
            Self::Id(id) => to_raw_value(id),
        }
        .unwrap()
    }

    /// From what stands in a golden file.
    fn of(column: &str, written: &RawValue) -> Self {
        if JSON.contains(&column) {
            return Self::Text(written.get().to_owned());
        }
        if column == pressed::COLUMN {
            return Self::Bytes(pressed::bytes(written));
        }
        if let Ok(number) = written.get().parse() {
            return Self::Int(number);
        }
        if let Ok(number) = serde_json::from_str(written.get()) {
            return Self::Real(number);
        }
        let text: String = serde_json::from_str(written.get()).unwrap();
        if BYTES.contains(&column) {
            return Self::Bytes(STANDARD.decode(text).unwrap());
        }
        Uuid::parse_str(&text).map_or(Self::Text(text), Self::Id)
    }
}

impl Raw {
    pub(super) async fn connect(rig: &Rig) -> Self {
        if rig.database.backend() == "sqlite" {
            Self::Sqlite(sqlx_sqlite::SqliteConnection::connect(&rig.url).await.unwrap())
        } else {
            Self::Pg(sqlx_postgres::PgConnection::connect(&rig.url).await.unwrap())
        }
    }

    pub(super) async fn close(self) {
        match self {
            Self::Sqlite(connection) => connection.close().await.unwrap(),
            Self::Pg(connection) => connection.close().await.unwrap(),
        }
    }

    async fn rows(&mut self, text: String, id: Uuid) -> Vec<Row> {
        match self {
            Self::Sqlite(connection) => {
                let query = sqlx::query(AssertSqlSafe(text)).bind(id);
                query.fetch_all(connection).await.unwrap().iter().map(|row| read_row!(row)).collect()
            }
            Self::Pg(connection) => {
                let query = sqlx::query(AssertSqlSafe(text)).bind(id);
                query.fetch_all(connection).await.unwrap().iter().map(|row| read_row!(row)).collect()
            }
        }
    }

    /// The rows of a case, those of each table in their order. Tables without any are left out.
    pub(super) async fn tables(&mut self, rows: &[(&'static str, Uuid)]) -> Tables {
        let mut tables: Tables = BTreeMap::new();
        for (table, id) in rows {
            let (_, by, order) = TABLES.iter().find(|(name, ..)| name == table).unwrap();
            let query = format!("SELECT * FROM {table} WHERE {by} = $1 ORDER BY {order}");
            let found = self.rows(query, *id).await;
            if !found.is_empty() {
                tables.entry((*table).to_owned()).or_default().extend(found);
            }
        }
        tables
    }

    /// Puts golden rows into the database as they are.
    pub(super) async fn insert(&mut self, tables: &Tables) {
        let known = |name: &String| TABLES.iter().any(|(table, ..)| table == name);
        assert!(tables.keys().all(known), "a golden file has rows of an unknown table: {:?}", tables.keys());
        for (table, ..) in TABLES {
            for row in tables.get(table).into_iter().flatten() {
                let columns: Vec<&str> = row.keys().map(String::as_str).collect();
                let numbers: Vec<String> = (1..=row.len()).map(|number| format!("${number}")).collect();
                let text =
                    format!("INSERT INTO {table} ({}) VALUES ({})", columns.join(", "), numbers.join(", "));
                let values = row.iter().map(|(column, written)| Value::of(column, written));
                self.run(text, values.collect()).await.unwrap_or_else(|error| {
                    panic!("a golden row does not fit into {table} any more: {error}\n{row:?}")
                });
            }
        }
    }

    async fn run(&mut self, text: String, values: Vec<Value>) -> Result<(), sqlx::Error> {
        match self {
            Self::Sqlite(connection) => {
                bound!(sqlx::query(AssertSqlSafe(text)), values).execute(connection).await.map(drop)
            }
            Self::Pg(connection) => {
                bound!(sqlx::query(AssertSqlSafe(text)), values).execute(connection).await.map(drop)
            }
        }
    }

    /// The tables of the database, and the columns of each.
    pub(super) async fn columns(&mut self) -> Vec<(String, String)> {
        match self {
            Self::Sqlite(connection) => {
                let query = "SELECT t.name, c.name FROM sqlite_master t, pragma_table_info(t.name) c \
                             WHERE t.type = 'table' AND t.name NOT LIKE 'sqlite_%'";
                sqlx::query_as(query).fetch_all(connection).await.unwrap()
            }
            Self::Pg(connection) => {
                let query = "SELECT table_name::text, column_name::text FROM information_schema.columns \
                             WHERE table_schema = 'public'";
                sqlx::query_as(query).fetch_all(connection).await.unwrap()
            }
        }
    }
}
