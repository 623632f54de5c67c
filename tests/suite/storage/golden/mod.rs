//! Golden rows: what the service stores, as it was stored once.
//!
//! Databases of users hold rows that earlier versions wrote. The files in `tests/data/stored/` hold such rows: a file for
//! each [`Form`], in it the rows of each named case, column by column. Each case is held to them both ways, on both
//! databases:
//!
//! - written: the storage traits write the case's value on a fresh database, and the raw rows are those of the file. A
//!   field, variant or word that is stored under another name is noticed here.
//! - read: the file's rows are put into another fresh database as they are, and the storage traits read the case's value
//!   from them. A field that old rows lack, or a name that is no longer read, is noticed here.
//!
//! **Golden rows are only ever added.** Where the form of a row is changed on purpose, `UPDATE_GOLDEN=1 ./tests/run golden`
//! writes the new form down as `today` and moves the one before to `before`. Forms in `before` are read by every later
//! version, for ever: nobody takes one out, and no case either. A field that is new gets a case of its own; the cases that
//! are there keep its default, so that their old rows still read as their values. For the same reason each word of a list
//! has a case of its own: a list that grows adds cases, and changes none.
//!
//! Columns without a value are left out, as a migration leaves them in old rows. Of a packed column the text inside is
//! compared when it is written, since the packing may change with its library; the committed bytes are what is read.
//!
//! [`complete`] fails for a table, a column or a stored word that no golden row holds.

mod accounts;
mod audit;
mod complete;
mod file;
mod forecasts;
mod pressed;
mod raw;
mod reminders;
mod rounds;
mod skill;
mod subscriptions;
mod systems;
mod visits;

use super::make::{self, Home};
use super::{Rig, on_both};
use eavesward_service::domain::base::error::Stored;
use eavesward_service::domain::base::ids::{AccountId, ComponentId, GaugeId, KeyId, PropertyId, SystemId};
use eavesward_service::domain::base::secret::hash;
use eavesward_service::domain::model::account::{Account, Key};
use eavesward_service::domain::model::component::Component;
use eavesward_service::domain::model::gauge::Gauge;
use eavesward_service::domain::model::property::Property;
use eavesward_service::domain::model::system::System;
use eavesward_service::domain::ports::store::accounts::AccountStore as _;
use eavesward_service::domain::ports::store::gauges::GaugeStore as _;
use eavesward_service::domain::ports::store::properties::PropertyStore as _;
use eavesward_service::domain::ports::store::systems::SystemStore as _;
use file::{Tables, differences};
use raw::Raw;
use std::collections::BTreeMap;
use std::fmt::Debug;
use uuid::Uuid;

/// Makes a case of each form, for [`on_both!`].
macro_rules! forms {
    ($($case:ident $form:ty;)*) => {
        $(async fn $case(rig: &Rig) {
            pinned::<$form>(rig).await;
        })*
        on_both!($($case),*, every_table_and_column_has_a_golden_row);
    };
}

forms! {
    accounts_stay_readable accounts::Accounts;
    keys_stay_readable accounts::Keys;
    audit_entries_stay_readable audit::Entries;
    calendars_stay_readable accounts::Calendars;
    own_duty_settings_stay_readable accounts::DutySettings;
    repeated_requests_stay_readable accounts::Repeated;
    properties_stay_readable systems::Properties;
    gauges_stay_readable systems::Gauges;
    systems_stay_readable systems::Systems;
    components_stay_readable systems::Components;
    visits_and_revisions_stay_readable visits::Visits;
    forecasts_and_tasks_stay_readable forecasts::Forecasts;
    reminders_and_what_was_told_stay_readable reminders::Reminders;
    answered_forecasts_stay_readable skill::AnswerChanges;
    rounds_stay_readable rounds::Rounds;
    subscriptions_stay_readable subscriptions::Subscriptions;
    deliveries_stay_readable subscriptions::Deliveries;
}

async fn every_table_and_column_has_a_golden_row(rig: &Rig) {
    complete::columns(rig).await;
}

/// Something stored by itself, with its golden file and its cases.
trait Form {
    /// The golden file, without its ending.
    const FILE: &'static str;
    /// What is written, and read again.
    type Value: PartialEq + Debug;

    fn cases() -> Vec<Case<Self::Value>>;

    /// Where the rows of a case stand: a table, and what [`raw::TABLES`] finds its rows by.
    fn rows(case: &Case<Self::Value>) -> Vec<(&'static str, Uuid)>;

    /// Writes what the rows refer to, and is pinned elsewhere.
    async fn ground(rig: &Rig, case: &Case<Self::Value>) {
        settle(rig, &case.home).await;
    }

    async fn write(rig: &Rig, case: &Case<Self::Value>);

    async fn read(rig: &Rig, case: &Case<Self::Value>) -> Stored<Self::Value>;
}

/// A value under its name in the golden file, and the home that it belongs to.
struct Case<T> {
    name: String,
    home: Home,
    value: T,
}

impl<T> Case<T> {
    fn of(name: impl Into<String>, value: impl FnOnce(&Home) -> T) -> Self {
        let name = name.into();
        let home = home_of(&name);
        Self { value: value(&home), name, home }
    }

    /// An id of this case's own, always the same.
    fn id(&self, what: &str) -> Uuid {
        fixed(&self.name, what)
    }
}

/// An id that follows from its words.
fn fixed(case: &str, what: &str) -> Uuid {
    Uuid::new_v5(&Uuid::NAMESPACE_OID, format!("{case}/{what}").as_bytes())
}

/// The home of a case: that of the other suites, with ids that stay the same.
fn home_of(case: &str) -> Home {
    let id = |what: &str| fixed(case, what);
    let account = AccountId(id("account"));
    let property = Property { id: PropertyId(id("property")), ..make::new_property(account, "Orchard") };
    let gauge = Gauge { id: GaugeId(id("gauge")), ..make::new_gauge(account, "Gatehouse gauge") };
    let system =
        System { id: SystemId(id("system")), ..make::new_system(account, property.id, gauge.id, "Terrace") };
    let components = (7..).zip(make::parts()).map(|(second, part)| Component {
        id: ComponentId(id(part.kind().code())),
        ..make::new_component(system.id, second, part)
    });
    let components = components.collect();
    Home { account, property, gauge, system, components }
}

/// The account of a home with its first key.
fn account_of(home: &Home) -> (Account, Key) {
    let (account, key) = make::new_account();
    let id = KeyId(Uuid::new_v5(&home.account.0, b"first key"));
    let key = Key { id, account_id: home.account, hash: hash(&id.to_string()), ..key };
    (Account { id: home.account, ..account }, key)
}

async fn settle(rig: &Rig, home: &Home) {
    let (account, key) = account_of(home);
    rig.database.insert_account(&account, &key).await.unwrap();
    rig.database.insert_property(&home.property).await.unwrap();
    rig.database.insert_gauge(&home.gauge).await.unwrap();
    rig.database.insert_system(&home.system, &home.components).await.unwrap();
}

/// Another database of the same kind.
async fn another(rig: &Rig) -> Rig {
    if rig.database.backend() == "sqlite" { Rig::sqlite().await } else { Rig::postgres().await }
}

/// Holds a form to its golden file, both ways.
async fn pinned<F: Form>(rig: &Rig) {
    let cases = F::cases();
    let mut written: BTreeMap<String, Tables> = BTreeMap::new();
    let mut raw = Raw::connect(rig).await;
    for case in &cases {
        F::ground(rig, case).await;
        F::write(rig, case).await;
        let tables = raw.tables(&F::rows(case)).await;
        assert!(written.insert(case.name.clone(), tables).is_none(), "two cases are called {:?}", case.name);
    }
    raw.close().await;
    let golden = file::settled(F::FILE, &written);
    let mut faults: Vec<String> = Vec::new();
    for (name, forms) in &golden {
        match written.get(name) {
            Some(found) => faults.extend(differences(name, &forms.today, found)),
            None => faults.push(format!(
                "{name:?} stands in the file and is no case any more; users have such rows, so it stays one"
            )),
        }
    }
    let missing = written.keys().filter(|name| !golden.contains_key(*name));
    faults.extend(missing.map(|name| format!("{name:?} has no golden rows yet")));
    let mut read_faults: Vec<String> = Vec::new();
    for number in 0.. {
        let there = cases.iter().filter_map(|case| Some((case, golden.get(&case.name)?.form(number)?)));
        let there: Vec<(&Case<F::Value>, &Tables)> = there.collect();
        if there.is_empty() {
            break;
        }
        read_faults.extend(unread::<F>(rig, number, &there).await);
    }
    assert!(
        faults.is_empty() && read_faults.is_empty(),
        "tests/data/stored/{}.json on {}\n\n{}{}{ADVICE}",
        F::FILE,
        rig.database.backend(),
        report("what is written now", &faults),
        report("what is read from golden rows", &read_faults)
    );
}

/// Faults of one way. One cause shows in many rows, so the first few are enough.
fn report(of: &str, faults: &[String]) -> String {
    const SHOWN: usize = 5;
    if faults.is_empty() {
        return String::new();
    }
    let shown = &faults[..faults.len().min(SHOWN)];
    format!("Faults of {of}, {} of {}:\n\n{}\n\n", shown.len(), faults.len(), shown.join("\n\n"))
}

const ADVICE: &str = "Databases of users hold rows of the expected form, and every later version must read them. Keep the \
                      name under which something is stored (#[serde(rename = \"...\")]), and give a new field a default \
                      (#[serde(default)]).\nOnly where a new form or a new case is meant: UPDATE_GOLDEN=1 ./tests/run \
                      golden writes it down, and keeps the form before it in the file, to be read for ever. Then run it \
                      once more without UPDATE_GOLDEN.";

/// Reads golden rows on a fresh database; says what does not come back as its case's value.
async fn unread<F: Form>(rig: &Rig, number: usize, there: &[(&Case<F::Value>, &Tables)]) -> Vec<String> {
    let mut faults = Vec::new();
    let fresh = another(rig).await;
    let mut raw = Raw::connect(&fresh).await;
    for (case, tables) in there {
        F::ground(&fresh, case).await;
        raw.insert(tables).await;
        let which = if number == 0 { String::new() } else { format!(", form {number} of before") };
        match F::read(&fresh, case).await {
            Ok(found) if found == case.value => {}
            Ok(found) => faults.push(format!(
                "the golden rows of {:?}{which} are read as something else:\n  expected {:?}\n  found    {found:?}",
                case.name, case.value
            )),
            Err(error) => {
                faults.push(format!("the golden rows of {:?}{which} cannot be read: {error}", case.name));
            }
        }
    }
    raw.close().await;
    fresh.end().await;
    faults
}
