//! Headers, bounds, patterns and closed shapes: what the document says and the derives have no word for.

use std::collections::{BTreeMap, BTreeSet};
use utoipa::openapi::header::Header;
use utoipa::openapi::path::{Operation, Parameter, ParameterBuilder, ParameterIn};
use utoipa::openapi::schema::{AdditionalProperties, ArrayItems, Object, ObjectBuilder, Schema, Type};
use utoipa::openapi::{Ref, RefOr, Required, ResponseBuilder};

/// How `If-Match` has to look: a version in quotation marks, and what may follow it in a tag.
const VERSION_PATTERN: &str = r#"^"-?[0-9]{1,18}(\.[A-Za-z0-9_-]{1,64})?"$"#;

/// A text that is kept: control characters are refused, but for line feed, carriage return and tab.
const TEXT_PATTERN: &str = r"^[^\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f-\u009f]*$";
/// The same, and not blank.
const NAME_PATTERN: &str = r"^[^\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f-\u009f]*[^\s\u0000-\u001f\u007f-\u009f][^\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f-\u009f]*$";

/// Texts that are read by a grammar of their own and not kept as they come.
const READ_BY_GRAMMAR: [&str; 2] = ["schedule", "url"];

/// Bounds of the values of a list.
struct ListBounds {
    schema: &'static str,
    property: &'static str,
    least: f64,
    most: f64,
}

const fn bounds(schema: &'static str, property: &'static str, least: f64, most: f64) -> ListBounds {
    ListBounds { schema, property, least, most }
}

const LIST_BOUNDS: [ListBounds; 6] = [
    bounds("MonthlyNormals", "rain_mm", 0.0, 5000.0),
    bounds("MonthlyNormals", "wet_days", 0.0, 31.0),
    bounds("MonthlyTemperatures", "mean_c", -60.0, 50.0),
    bounds("MonthlyTemperatures", "mean_minimum_c", -60.0, 50.0),
    bounds("PropertyRequest", "evaporation_mm_per_day", 0.0, 30.0),
    bounds("ForecastRequest", "evaporation_mm_per_day", 0.0, 30.0),
];

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

/// Bounds and patterns of what a schema holds.
pub fn bound_values(name: &str, schema: &mut RefOr<Schema>) {
    let RefOr::T(Schema::Object(object)) = schema else { return };
    for (property, schema) in &mut object.properties {
        match schema {
            RefOr::T(Schema::Object(text)) if !READ_BY_GRAMMAR.contains(&property.as_str()) => {
                kept_text(text);
            }
            RefOr::T(Schema::Array(list)) => {
                list.unique_items |= (name, property.as_str()) == ("RoundRequest", "task_ids");
                let bounds = LIST_BOUNDS
                    .iter()
                    .find(|known| (known.schema, known.property) == (name, property.as_str()));
                if let (Some(bounds), ArrayItems::RefOrSchema(items)) = (bounds, &mut list.items)
                    && let RefOr::T(Schema::Object(value)) = items.as_mut()
                {
                    value.minimum = Some(bounds.least.into());
                    value.maximum = Some(bounds.most.into());
                }
            }
            _ => {}
        }
    }
}

/// Every other text of a bounded length goes through the same check (`domain::check`).
fn kept_text(text: &mut Object) {
    let open = text.pattern.as_deref().is_none_or(|pattern| pattern == r"\S");
    if open && text.max_length.is_some() && text.format.is_none() && text.enum_values.is_none() {
        text.pattern = Some(if text.min_length.is_some() { NAME_PATTERN } else { TEXT_PATTERN }.to_owned());
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
    let Some(RefOr::T(answer)) = operation.responses.responses.get_mut("200") else { return };
    if answer.content.contains_key("text/event-stream") {
        return;
    }
    answer.headers.entry("ETag".to_owned()).or_insert_with(|| RefOr::T(etag()));
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
    let unchanged = operation.responses.responses.entry("304".to_owned()).or_insert(RefOr::T(unchanged));
    if let RefOr::T(unchanged) = unchanged {
        unchanged.headers.entry("ETag".to_owned()).or_insert_with(|| RefOr::T(etag()));
    }
}

fn etag() -> Header {
    let mut header = Header::new(ObjectBuilder::new().schema_type(Type::String));
    header.description = Some("Strong tag of this answer, for If-None-Match".to_owned());
    header
}

fn header<'a>(operation: &'a mut Operation, name: &str) -> Option<&'a mut Parameter> {
    operation.parameters.iter_mut().flatten().find_map(|parameter| match parameter {
        RefOr::T(parameter) if parameter.name == name && parameter.parameter_in == ParameterIn::Header => {
            Some(parameter)
        }
        _ => None,
    })
}
