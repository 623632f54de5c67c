//! What several traits share: marking systems as stale, keyset pages by name, and updates that check the
//! version.

use crate::domain::base::error::Stored;
use crate::domain::base::ids::{AccountId, GaugeId, PropertyId, SystemId};
use crate::domain::base::paging::PageRequest;
use crate::domain::ports::store::outcomes::Updated;
use crate::storage::connection::Tx;
use crate::storage::sql::{Sql, sql};
use uuid::Uuid;

/// Which systems a write affects.
#[derive(Clone, Copy)]
pub(super) enum Affected {
    Account,
    Property(PropertyId),
    Gauge(GaugeId),
    System(SystemId),
}

/// Marks the systems that a write affects as stale. Returns how many there are.
pub(super) async fn mark_stale(tx: &mut Tx, account: AccountId, reach: Affected) -> Stored<u64> {
    let one = matches!(reach, Affected::System(_));
    let which = |query: &mut Sql| {
        query.push(" WHERE account_id = ").bind(account);
        match reach {
            Affected::Account => query
                .push(" AND gauge_id IN (SELECT id FROM gauges WHERE account_id = ")
                .bind(account)
                .push(")"),
            Affected::Property(id) => query
                .push(" AND system_id IN (SELECT id FROM systems WHERE account_id = ")
                .bind(account)
                .push(" AND property_id = ")
                .bind(id)
                .push(")"),
            Affected::Gauge(id) => query.push(" AND gauge_id = ").bind(id),
            Affected::System(id) => query.push(" AND system_id = ").bind(id),
        };
    };
    if tx.has_row_locks() && !one {
        // An UPDATE locks rows in the order it meets them. Locking them by id first keeps two writers from
        // waiting for each other.
        let mut lock = sql("SELECT system_id FROM refreshes");
        which(&mut lock);
        lock.push(" ORDER BY system_id").push(tx.for_update());
        tx.all::<(Uuid,)>(lock).await?;
    }
    let mut query = sql("UPDATE refreshes SET inputs_version = inputs_version + 1, refresh_at = 0");
    which(&mut query);
    tx.run(query).await
}

/// Ends a SELECT with the conditions, order and length of a page by name. Its WHERE must have begun.
pub(super) fn page_by_name(query: &mut Sql, page: &PageRequest<String>) {
    if let Some(after) = &page.after {
        query.push(" AND (name, id) > (").bind(&after.key).push(", ").bind(after.id).push(")");
    }
    query.push(" ORDER BY name, id LIMIT ").bind(page.rows());
}

/// Says why an update that checks the version touched no row. `versions` selects the row's version.
pub(super) async fn explain_miss(tx: &mut Tx, versions: Sql) -> Stored<Updated> {
    let current = tx.first::<(i64,)>(versions).await?;
    Ok(current.map_or(Updated::Missing, |(current,)| Updated::Stale { current }))
}
