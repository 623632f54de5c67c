//! `eavesward account`: the account and its quotas.

use crate::app::App;
use crate::failure::Failure;
use crate::table::Table;
use eavesward_client::contract::QuotaOf;

/// Shows the account that the key belongs to.
pub async fn show(app: &mut App<'_>) -> Result<(), Failure> {
    let account = app.client.account().await?;
    if app.json {
        return app.print_json(&account);
    }
    app.line(format!("{}  {}", account.id, account.name))?;
    // A service of before has none.
    if account.quotas.is_empty() {
        return Ok(());
    }
    app.line("")?;
    let mut table = Table::new(["quota", "used", "at most"]);
    for quota in account.quotas {
        let most = quota.most.map_or_else(|| "no bound".to_owned(), |most| most.to_string());
        table.row([words(&quota.of).to_owned(), quota.used.to_string(), most]);
    }
    Ok(table.write(app.io.out)?)
}

fn words(of: &QuotaOf) -> &str {
    match of {
        QuotaOf::Gauges => "rain gauges",
        QuotaOf::RainDays => "days of rain",
        QuotaOf::TestMessages => "test messages today (UTC)",
        QuotaOf::Streams => "open streams",
        other => other.as_str(),
    }
}
