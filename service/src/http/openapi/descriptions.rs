//! Descriptions that no derive puts where generators look for them.

use std::collections::{BTreeMap, BTreeSet};
use utoipa::openapi::RefOr;
use utoipa::openapi::path::{Operation, ParameterIn};
use utoipa::openapi::schema::{ArrayItems, Schema};

type Schemas = BTreeMap<String, RefOr<Schema>>;

/// The tags that tell kinds apart, and what they tell.
const TAGS: [(&str, &str); 3] =
    [("kind", "What the component is"), ("found", "How it was found"), ("by", "How the chamber is emptied")];

/// What every PUT of a thing with a version says of fields that an old client does not know.
const UPDATES: &str =
    "A field that was added to this API after 0.1.0 keeps its value if it is left out, and `null` clears it.";

/// The reasons by code, each with the names of its figures. A test reads them off the code.
const REASONS: &str = include_str!("reasons.json");

/// Describes what the derives leave without a description.
pub fn complete(schemas: &mut Schemas) {
    for schema in schemas.values_mut() {
        describe(schema);
    }
    let reasons: BTreeMap<String, BTreeSet<String>> = serde_json::from_str(REASONS).unwrap_or_default();
    if let Some(RefOr::T(Schema::Object(reason))) = schemas.get_mut("Reason")
        && let Some(RefOr::T(Schema::Object(code))) = reason.properties.get_mut("code")
    {
        let known = code.description.get_or_insert_default();
        known.push_str("\n\nThe codes of this version, with their figures:\n\n");
        let listed = reasons.into_iter().map(|(word, figures)| {
            let figures: Vec<String> = figures.iter().map(|figure| format!("`{figure}`")).collect();
            if figures.is_empty() {
                format!("- `{word}`")
            } else {
                format!("- `{word}`: {}", figures.join(", "))
            }
        });
        known.push_str(&listed.collect::<Vec<_>>().join("\n"));
    }
}

/// Says how an update treats fields that its sender does not know.
pub fn describe_update(operation: &mut Operation) {
    let guarded = operation.parameters.iter().flatten().any(|parameter| match parameter {
        RefOr::T(parameter) => parameter.parameter_in == ParameterIn::Header && parameter.name == "If-Match",
        RefOr::Ref(_) => false,
    });
    if guarded {
        let description = operation.description.get_or_insert_default();
        description.push_str("\n\n");
        description.push_str(UPDATES);
    }
}

fn describe(schema: &mut RefOr<Schema>) {
    match schema {
        RefOr::T(Schema::Object(object)) => {
            for (name, property) in &mut object.properties {
                lift(property);
                describe(property);
                describe_tag(name, property);
            }
        }
        RefOr::T(Schema::Array(array)) => {
            if let ArrayItems::RefOrSchema(items) = &mut array.items {
                describe(items);
            }
        }
        RefOr::T(Schema::OneOf(one)) => one.items.iter_mut().for_each(describe),
        RefOr::T(Schema::AllOf(all)) => all.items.iter_mut().for_each(describe),
        _ => {}
    }
}

/// Moves the description of a value that may be null from its reference to the property.
fn lift(property: &mut RefOr<Schema>) {
    let RefOr::T(Schema::OneOf(one)) = property else { return };
    if one.description.is_some() {
        return;
    }
    for item in &mut one.items {
        if let RefOr::Ref(reference) = item
            && !reference.description.is_empty()
        {
            one.description = Some(std::mem::take(&mut reference.description));
            return;
        }
    }
}

fn describe_tag(name: &str, property: &mut RefOr<Schema>) {
    let Some((_, meaning)) = TAGS.iter().find(|(tag, _)| *tag == name) else { return };
    if let RefOr::T(Schema::Object(tag)) = property
        && tag.enum_values.as_ref().is_some_and(|words| words.len() == 1)
    {
        tag.description.get_or_insert_with(|| (*meaning).to_owned());
    }
}
