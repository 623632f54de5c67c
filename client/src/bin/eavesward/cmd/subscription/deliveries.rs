//! Prints the deliveries of a subscription.

use super::print::instant;
use crate::app::{App, PAGE};
use crate::failure::Failure;
use crate::show;
use crate::table::Table;
use eavesward_client::DeliveryQuery;
use eavesward_client::contract::DeliveryState;
use uuid::Uuid;

/// Prints the table of deliveries.
pub async fn deliveries(app: &mut App<'_>, id: Uuid, state: Option<DeliveryState>) -> Result<(), Failure> {
    let query = DeliveryQuery::builder().maybe_state(state).limit(PAGE).build();
    let all = app.client.subscriptions().deliveries(id, &query).all().await?;
    if app.json {
        return app.print_json(&all);
    }
    if all.is_empty() {
        return app.line("No deliveries found.");
    }
    let mut table = Table::new(["delivery", "created", "content", "status", "attempts", "next attempt"]);
    for one in all {
        table.row([
            one.id.to_string(),
            one.created_at.to_rfc3339(),
            show::words(&one.content),
            show::words(&one.state),
            one.attempts.to_string(),
            instant(one.next_at),
        ]);
    }
    Ok(table.write(app.io.out)?)
}

/// Prints a delivery with its attempts.
pub async fn delivery(app: &mut App<'_>, id: Uuid) -> Result<(), Failure> {
    let log = app.client.subscriptions().delivery(id).await?;
    if app.json {
        return app.print_json(&log);
    }
    let one = &log.delivery;
    app.line(format!("{}  {}, {}", one.id, show::words(&one.content), show::words(&one.state)))?;
    if one.next_at.is_some() {
        app.line(format!("Next attempt: {}", instant(one.next_at)))?;
    }
    if log.attempts.is_empty() {
        return app.line("No attempt yet.");
    }
    let mut table = Table::new(["tried", "took", "answer"]);
    for attempt in log.attempts {
        let status = attempt.http_status.map(|status| status.to_string());
        table.row([
            attempt.at.to_rfc3339(),
            format!("{} ms", attempt.took_ms),
            status.or(attempt.error).unwrap_or_default(),
        ]);
    }
    Ok(table.write(app.io.out)?)
}
