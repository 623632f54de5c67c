//! A statement with its values, the same for both databases.

use crate::domain::base::ids::{
    AccountId, AnswerId, AuditId, CalendarId, ClaimId, ComponentId, DeliveryId, GaugeId, KeyId, PropertyId,
    RoundId, SubscriptionId, SystemId, TaskId, VisitId,
};
use chrono::{DateTime, NaiveDate, Utc};
use std::borrow::Cow;
use std::fmt::Write as _;
use uuid::Uuid;

/// A value bound to a statement. An absent value keeps its kind, because PostgreSQL needs it.
#[derive(Clone, Debug)]
pub(super) enum Value {
    Int(Option<i64>),
    Real(Option<f64>),
    Text(Option<String>),
    Bytes(Option<Vec<u8>>),
    Uuid(Option<Uuid>),
}

/// Something that can be bound.
pub(super) trait Bind {
    /// The absent value of the kind.
    const ABSENT: Value;
    /// The value.
    fn value(self) -> Value;
}

macro_rules! bind {
    ($($type:ty => $kind:ident, |$this:ident| $value:expr;)*) => {
        $(impl Bind for $type {
            const ABSENT: Value = Value::$kind(None);
            fn value(self) -> Value {
                let $this = self;
                Value::$kind(Some($value))
            }
        })*
    };
}

bind! {
    i64 => Int, |this| this;
    f64 => Real, |this| this;
    String => Text, |this| this;
    &str => Text, |this| this.to_owned();
    &String => Text, |this| this.clone();
    &[u8; 32] => Bytes, |this| this.to_vec();
    Vec<u8> => Bytes, |this| this;
    Uuid => Uuid, |this| this;
    AccountId => Uuid, |this| this.0;
    KeyId => Uuid, |this| this.0;
    PropertyId => Uuid, |this| this.0;
    GaugeId => Uuid, |this| this.0;
    SystemId => Uuid, |this| this.0;
    ComponentId => Uuid, |this| this.0;
    VisitId => Uuid, |this| this.0;
    TaskId => Uuid, |this| this.0;
    AnswerId => Uuid, |this| this.0;
    AuditId => Uuid, |this| this.0;
    CalendarId => Uuid, |this| this.0;
    SubscriptionId => Uuid, |this| this.0;
    DeliveryId => Uuid, |this| this.0;
    RoundId => Uuid, |this| this.0;
    ClaimId => Uuid, |this| this.0;
    NaiveDate => Int, |this| i64::from(this.to_epoch_days());
    DateTime<Utc> => Int, |this| this.timestamp_micros();
}

impl<T: Bind> Bind for Option<T> {
    const ABSENT: Value = T::ABSENT;
    fn value(self) -> Value {
        self.map_or(Self::ABSENT, Bind::value)
    }
}

/// A statement. Its text holds only literals of this crate; every value from outside is bound.
#[derive(Clone, Debug)]
pub(super) struct Sql {
    pub(super) text: Cow<'static, str>,
    pub(super) values: Vec<Value>,
}

/// A statement whose text names its values `$1`, `$2` and so on.
pub(super) fn sql(text: &'static str) -> Sql {
    Sql { text: Cow::Borrowed(text), values: Vec::new() }
}

impl Sql {
    /// Adds the next value that the text names.
    pub(super) fn on(mut self, value: impl Bind) -> Self {
        self.values.push(value.value());
        self
    }

    /// Adds text.
    pub(super) fn push(&mut self, text: &'static str) -> &mut Self {
        self.text.to_mut().push_str(text);
        self
    }

    /// Adds a value, and its name (`$1`, `$2`) to the text.
    pub(super) fn bind(&mut self, value: impl Bind) -> &mut Self {
        self.values.push(value.value());
        let number = self.values.len();
        // Writing to a string cannot fail.
        let _ = write!(self.text.to_mut(), "${number}");
        self
    }

    /// Adds `(a, b, …)`. The list is filled up to a power of two with its last value. A statement is prepared
    /// once for each text, so few lengths mean few prepared statements. `values` must not be empty.
    pub(super) fn bind_list<T: Bind + Copy>(&mut self, values: &[T]) -> &mut Self {
        let filled = values.len().next_power_of_two();
        self.push("(");
        for index in 0..filled {
            if index > 0 {
                self.push(", ");
            }
            self.bind(values[index.min(values.len() - 1)]);
        }
        self.push(")")
    }

    /// Adds `VALUES (…), (…)`. `row` binds one row: it calls [`Row::on`] once for each column.
    pub(super) fn bind_rows<T>(&mut self, rows: &[T], row: impl Fn(&mut Row<'_>, &T)) -> &mut Self {
        self.push("VALUES ");
        for (index, item) in rows.iter().enumerate() {
            self.push(if index > 0 { ", (" } else { "(" });
            row(&mut Row { sql: self, first: true }, item);
            self.push(")");
        }
        self
    }
}

/// A row of [`Sql::bind_rows`] that is being bound.
pub(super) struct Row<'a> {
    sql: &'a mut Sql,
    first: bool,
}

impl Row<'_> {
    /// Adds the value of the next column.
    pub(super) fn on(&mut self, value: impl Bind) -> &mut Self {
        if !self.first {
            self.sql.push(", ");
        }
        self.first = false;
        self.sql.bind(value);
        self
    }
}

/// Cuts rows into pieces of `most` rows, then of falling powers of two. So a bulk statement has few lengths
/// and is prepared once for each.
pub(super) fn pieces<T>(rows: &[T], most: usize) -> impl Iterator<Item = &[T]> {
    let mut rest = rows;
    std::iter::from_fn(move || {
        let length = rest.len();
        let take = if length >= most { most } else { (length / 2 + 1).next_power_of_two().min(length) };
        let (piece, after) = rest.split_at_checked(take).filter(|(piece, _)| !piece.is_empty())?;
        rest = after;
        Some(piece)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pieces_come_in_few_lengths_and_lose_nothing() {
        for length in 0..300_usize {
            let rows: Vec<usize> = (0..length).collect();
            let cut: Vec<&[usize]> = pieces(&rows, 64).collect();
            assert_eq!(cut.concat(), rows);
            assert!(cut.iter().all(|piece| piece.len() == 64 || piece.len().is_power_of_two()), "{length}");
        }
    }

    #[test]
    fn lists_are_filled_up_with_their_last_value() {
        let mut list = sql("SELECT 1 WHERE 1 IN ");
        list.bind_list(&[7_i64, 8, 9]);
        assert_eq!(list.text, "SELECT 1 WHERE 1 IN ($1, $2, $3, $4)");
        assert!(matches!(list.values.last(), Some(Value::Int(Some(9)))));
    }
}
