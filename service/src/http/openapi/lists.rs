//! Parameters that are lists, set apart by commas. The handlers read them as one text, so no derive says what they are.

use crate::domain::model::reminder::ReminderKind;
use crate::domain::model::task;
use crate::http::routes::rounds::WEEKDAYS;
use utoipa::openapi::RefOr;
use utoipa::openapi::path::{Operation, ParameterStyle};
use utoipa::openapi::schema::{ArrayBuilder, KnownFormat, Object, ObjectBuilder, SchemaFormat, Type};

/// A parameter that is a list.
struct List {
    operation: &'static str,
    parameter: &'static str,
    entry: fn() -> Object,
}

const LISTS: [List; 4] = [
    List {
        operation: "list_tasks",
        parameter: "state",
        entry: || words(task::State::ALL.iter().map(|one| one.code())),
    },
    List {
        operation: "pull_reminders",
        parameter: "kind",
        entry: || words(ReminderKind::ALL.iter().map(|one| one.code())),
    },
    List {
        operation: "propose_rounds",
        parameter: "off_weekdays",
        entry: || words(WEEKDAYS.map(|(word, _)| word)),
    },
    List { operation: "propose_rounds", parameter: "off_dates", entry: date },
];

fn words(words: impl IntoIterator<Item = &'static str>) -> Object {
    ObjectBuilder::new().schema_type(Type::String).enum_values(Some(words)).build()
}

fn date() -> Object {
    let date = ObjectBuilder::new().schema_type(Type::String);
    date.format(Some(SchemaFormat::KnownFormat(KnownFormat::Date))).build()
}

/// Describes an operation's lists: one parameter with at least one entry.
pub fn describe_lists(operation: &mut Operation) {
    let id = operation.operation_id.as_deref().unwrap_or_default();
    for parameter in operation.parameters.iter_mut().flatten() {
        let RefOr::T(parameter) = parameter else { continue };
        let known =
            LISTS.iter().find(|list| (list.operation, list.parameter) == (id, parameter.name.as_str()));
        if let Some(list) = known {
            parameter.schema = Some(ArrayBuilder::new().items((list.entry)()).min_items(Some(1)).into());
            parameter.style = Some(ParameterStyle::Form);
            parameter.explode = Some(false);
        }
    }
}
