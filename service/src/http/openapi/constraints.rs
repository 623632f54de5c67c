//! Headers of requests and closed shapes: what the document says and the derives have no word for.

use std::collections::{BTreeMap, BTreeSet};
use utoipa::openapi::path::{Operation, Parameter, ParameterBuilder, ParameterIn};
use utoipa::openapi::schema::{AdditionalProperties, ArrayItems, ObjectBuilder, Schema, Type};
use utoipa::openapi::{Ref, RefOr, Required, ResponseBuilder};

/// How `If-Match` has to look: a version in quotation marks, and what may follow it in a tag.
const VERSION_PATTERN: &str = r#"^"-?[0-9]{1,18}(\.[A-Za-z0-9_-]{1,64})?"$"#;

/// Lets the pages of a list refer to what they list, so that a generated client has one type for it and not two.
pub fn refer_to_items(schemas: &mut BTreeMap<String, RefOr<Schema>>) {
    let known: BTreeSet<String> = schemas.keys().cloned().collect();
    for (name, page) in schemas {
        let listed = name.strip_prefix("Page_").filter(|listed| known.contains(*listed));
        if let (Some(listed), RefOr::T(Schema::Object(page))) = (listed, page)
            && let Some(RefOr::T(Schema::Array(items))) = page.properties.get_mut("items")
        {
            items.items = ArrayItems::RefOrSchema(Box::new(Ref::from_schema_name(listed).into()));
        }
    }
}

/// A list that takes each entry once.
pub fn no_repeats(schemas: &mut BTreeMap<String, RefOr<Schema>>) {
    if let Some(RefOr::T(Schema::Object(round))) = schemas.get_mut("RoundRequest")
        && let Some(RefOr::T(Schema::Array(tasks))) = round.properties.get_mut("task_ids")
    {
        tasks.unique_items = true;
    }
}

/// Closes the kinds of a tagged enum: a field that a kind does not have is refused, so the document has to say so.
pub fn close_kinds(schema: &mut RefOr<Schema>) {
    let RefOr::T(Schema::OneOf(kinds)) = schema else { return };
    for kind in &mut kinds.items {
        if let RefOr::T(Schema::Object(kind)) = kind
            && kind.properties.values().any(is_tag)
        {
            kind.additional_properties = Some(Box::new(AdditionalProperties::FreeForm(false)));
        }
    }
}

/// A property of one value tells the kinds apart.
fn is_tag(property: &RefOr<Schema>) -> bool {
    matches!(property, RefOr::T(Schema::Object(object))
        if object.enum_values.as_ref().is_some_and(|values| values.len() == 1))
}

/// Says how the version of a guarded operation looks.
pub fn describe_if_match(operation: &mut Operation) {
    if let Some(parameter) = header(operation, "If-Match") {
        let version = ObjectBuilder::new().schema_type(Type::String).pattern(Some(VERSION_PATTERN));
        parameter.schema = Some(version.examples(["\"1\""]).into());
    }
}

/// Says that a read is answered under a tag, and `304` to those who send it back. What has no end has no tag.
pub fn describe_etag(operation: &mut Operation) {
    let Some(RefOr::T(answer)) = operation.responses.responses.get("200") else { return };
    if answer.content.contains_key("text/event-stream") {
        return;
    }
    let text = ObjectBuilder::new().schema_type(Type::String);
    match header(operation, "If-None-Match") {
        Some(parameter) => parameter.schema = Some(text.into()),
        None => operation.parameters.get_or_insert_default().push(RefOr::T(
            ParameterBuilder::new()
                .name("If-None-Match")
                .parameter_in(ParameterIn::Header)
                .required(Required::False)
                .description(Some("The ETag of the answer that is known already"))
                .schema(Some(text))
                .build(),
        )),
    }
    let unchanged = ResponseBuilder::new().description("Nothing changed since that tag").build();
    operation.responses.responses.entry("304".to_owned()).or_insert(RefOr::T(unchanged));
}

fn header<'a>(operation: &'a mut Operation, name: &str) -> Option<&'a mut Parameter> {
    operation.parameters.iter_mut().flatten().find_map(|parameter| match parameter {
        RefOr::T(parameter) if parameter.name == name && parameter.parameter_in == ParameterIn::Header => {
            Some(parameter)
        }
        _ => None,
    })
}
