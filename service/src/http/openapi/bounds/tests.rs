use super::*;
use crate::domain::base::plural::with_commas;
use crate::domain::rules::digest;
use crate::domain::rules::rounds::problem;
use crate::http::openapi::{collected, document};
use serde_json::Value;

/// What bounds numbers, texts and lists.
const WORDS: [&str; 8] = [
    "minimum",
    "maximum",
    "exclusiveMinimum",
    "exclusiveMaximum",
    "minLength",
    "maxLength",
    "minItems",
    "maxItems",
];

/// Fields of requests without a bound, each with its reason. The list may only shrink.
const UNBOUNDED: [(&str, &str); 4] = [
    ("KeyRequest/scopes", "a word that comes twice counts once"),
    ("PropertyRequest/time_zone", "it has to be one of the names that the time zone database has"),
    ("SubscriptionRequest/kinds", "a word that comes twice counts once"),
    ("SubscriptionRequest/time_zone", "it has to be one of the names that the time zone database has"),
];

/// A field or parameter: where it stands, and its schema with the description.
struct Described {
    place: String,
    schema: Value,
}

fn json(document: &utoipa::openapi::OpenApi) -> Value {
    serde_json::to_value(document).unwrap()
}

/// The name of a schema that is referred to, directly or as what may be absent.
fn referred(schema: &Value) -> Vec<String> {
    let own = schema["$ref"].as_str().into_iter();
    let one_of = schema["oneOf"].as_array().into_iter().flatten().filter_map(|one| one["$ref"].as_str());
    let names = own.chain(one_of).chain(schema["items"]["$ref"].as_str());
    names.map(|path| path.rsplit('/').next().unwrap().to_owned()).collect()
}

/// The fields of everything that requests hold.
fn request_fields(document: &Value) -> Vec<Described> {
    let operations =
        document["paths"].as_object().unwrap().values().flat_map(|item| item.as_object().unwrap());
    let bodies = operations.filter_map(|(_, one)| one["requestBody"]["content"].get("application/json"));
    let mut names: Vec<String> = bodies.flat_map(|body| referred(&body["schema"])).collect();
    let (mut fields, mut next) = (Vec::new(), 0);
    while next < names.len() {
        let name = names[next].clone();
        next += 1;
        let schema = &document["components"]["schemas"][&name];
        let kinds = schema["oneOf"].as_array().into_iter().flatten();
        for (field, schema) in kinds.chain([schema]).filter_map(|one| one["properties"].as_object()).flatten()
        {
            names.extend(
                referred(schema).into_iter().filter(|name| !names.contains(name)).collect::<Vec<_>>(),
            );
            fields.push(Described { place: format!("{name}/{field}"), schema: schema.clone() });
        }
    }
    assert!(fields.len() > 100, "only {} fields of requests were found", fields.len());
    fields
}

/// The parameters of queries.
fn parameters(document: &Value) -> Vec<Described> {
    let operations =
        document["paths"].as_object().unwrap().values().flat_map(|item| item.as_object().unwrap());
    let all = operations.flat_map(|(_, operation)| {
        let id = operation["operationId"].as_str().unwrap();
        let own = operation["parameters"].as_array().into_iter().flatten();
        own.filter(|parameter| parameter["in"] == "query").map(move |parameter| {
            let mut schema = parameter["schema"].clone();
            schema["description"] = parameter["description"].clone();
            Described { place: format!("{id}/{}", parameter["name"].as_str().unwrap()), schema }
        })
    });
    all.collect()
}

fn is_a(schema: &Value, word: &str) -> bool {
    schema["type"] == word
        || schema["type"].as_array().is_some_and(|words| words.iter().any(|one| one == word))
}

/// Bounds that stand anywhere below a value, by path. Unsigned numbers are from 0 on by their type.
fn bounds_below(value: &Value, path: &str, found: &mut Vec<String>) {
    match value {
        Value::Object(object) => {
            let unsigned = value["format"].as_str().is_some_and(|format| format.starts_with('u'));
            for (name, value) in object {
                let of_the_type = unsigned && name == "minimum" && *value == 0;
                if WORDS.contains(&name.as_str()) && value.is_number() && !of_the_type {
                    found.push(format!("{path}: {name} {value}"));
                }
                bounds_below(value, &format!("{path}/{name}"), found);
            }
        }
        Value::Array(list) => {
            for (index, value) in list.iter().enumerate() {
                bounds_below(value, &format!("{path}/{index}"), found);
            }
        }
        _ => {}
    }
}

#[test]
fn no_attribute_of_a_type_or_a_handler_holds_a_bound() {
    let mut found = Vec::new();
    bounds_below(&json(&collected()), "", &mut found);
    assert!(found.is_empty(), "move to the table and to a constant of the domain:\n{}", found.join("\n"));
}

#[test]
fn every_row_says_something_of_a_field() {
    let mut schemas = collected().components.unwrap().schemas;
    for row in FIELDS {
        let field =
            field(&mut schemas, row.of, row.name).unwrap_or_else(|| panic!("{}/{}", row.of, row.name));
        let before = serde_json::to_value(&*field).unwrap();
        row.bound.write(field);
        assert_ne!(
            serde_json::to_value(&*field).unwrap(),
            before,
            "{}/{}: {:?}",
            row.of,
            row.name,
            row.bound
        );
    }
    let (before, after) = (parameters(&json(&collected())), parameters(&json(&document())));
    for row in PARAMETERS {
        let place = format!("{}/{}", row.of, row.name);
        let said =
            |all: &[Described]| all.iter().find(|one| one.place == place).map(|one| one.schema.clone());
        assert!(said(&before).is_some() && said(&before) != said(&after), "{place}");
    }
}

#[test]
fn every_number_text_and_list_of_a_request_is_bounded() {
    let document = json(&document());
    let mut unbounded = Vec::new();
    for Described { place, schema } in request_fields(&document) {
        let has = |words: &[&str]| words.iter().any(|word| schema.get(word).is_some());
        let number = |schema: &Value| is_a(schema, "number") || is_a(schema, "integer");
        let both = |schema: &Value| {
            schema.get("minimum").is_some()
                && (schema.get("maximum").is_some() || schema.get("exclusiveMaximum").is_some())
        };
        let bounded = if number(&schema) {
            both(&schema)
        } else if is_a(&schema, "array") {
            has(&["maxItems"]) && (!number(&schema["items"]) || both(&schema["items"]))
        } else {
            !is_a(&schema, "string") || has(&["maxLength", "enum", "format"])
        };
        if !bounded && !unbounded.contains(&place) {
            unbounded.push(place);
        }
    }
    unbounded.sort_unstable();
    assert_eq!(unbounded, UNBOUNDED.map(|(place, _)| place));
    for Described { place, schema } in parameters(&document) {
        let number = is_a(&schema, "number") || is_a(&schema, "integer");
        assert!(!number || schema["minimum"].is_number() && schema["maximum"].is_number(), "{place}");
    }
}

/// Numbers of a text that stand as `1 to 12`, thousands set apart by commas or not.
fn ranges(text: &str) -> Vec<(f64, f64)> {
    let words: Vec<&str> =
        text.split_whitespace().map(|word| word.trim_end_matches([',', '.', ';'])).collect();
    let number = |word: &str| word.replace(',', "").parse::<f64>().ok();
    let three = words.windows(3).filter(|three| three[1] == "to");
    three.filter_map(|three| Some((number(three[0])?, number(three[2])?))).collect()
}

#[test]
fn descriptions_name_the_bounds_that_hold() {
    let document = json(&document());
    let mut named = 0;
    for Described { place, schema } in request_fields(&document).into_iter().chain(parameters(&document)) {
        let text = schema["description"].as_str().unwrap_or_default();
        let pair = |schema: &Value, least: &str, most: &str| {
            Some((schema.get(least)?.as_f64()?, schema.get(most)?.as_f64()?))
        };
        let known = [
            pair(&schema, "minimum", "maximum"),
            pair(&schema["items"], "minimum", "maximum"),
            pair(&schema, "minItems", "maxItems"),
            pair(&schema, "minLength", "maxLength"),
        ];
        for range in ranges(text) {
            assert!(known.contains(&Some(range)), "{place} speaks of {range:?}: {text}");
            named += 1;
        }
        if let Some(rest) = text.split("at most ").nth(1).or(text.split("At most ").nth(1))
            && rest.starts_with(|first: char| first.is_ascii_digit())
            && let Some(most) = schema["maxItems"].as_u64()
        {
            assert!(rest.starts_with(&with_commas(most as usize)), "{place}: {text}");
            named += 1;
        }
    }
    assert!(named > 20, "only {named} bounds are named in descriptions");
    let operations =
        document["paths"].as_object().unwrap().values().flat_map(|item| item.as_object().unwrap());
    let operations: Vec<&Value> = operations.map(|(_, operation)| operation).collect();
    for (id, most) in [
        ("get_digest", digest::make::MOST_TASKS),
        ("read_calendar", calendar::MOST_TASKS),
        ("propose_rounds", problem::MOST_JOBS),
        ("list_rounds", round::MOST_ROWS as usize),
    ] {
        let operation = operations.iter().find(|operation| operation["operationId"] == id).unwrap();
        let text = operation["description"].as_str().unwrap().to_lowercase();
        assert!(text.contains(&format!("at most {} ", with_commas(most))), "{id}: {text}");
    }
}
