//! Tagged kinds as schemas of their own, and answers that stay open for words and kinds of a newer service.
//!
//! A request is closed: it has the words that this version knows. In an answer a word may be any string, and a kind may be
//! any object with its tag.

use std::collections::{BTreeMap, BTreeSet};
use utoipa::openapi::path::Operation;
use utoipa::openapi::schema::{
    AdditionalProperties, AnyOfBuilder, ArrayItems, Discriminator, ObjectBuilder, Schema, SchemaType, Type,
};
use utoipa::openapi::{OpenApi, Ref, RefOr, Response};

type Schemas = BTreeMap<String, RefOr<Schema>>;

const PREFIX: &str = "#/components/schemas/";

/// Each union with the property that tells its kinds apart.
const UNIONS: [(&str, &str); 3] = [("Part", "kind"), ("Finding", "found"), ("Emptying", "by")];

/// Gives each kind of a union a schema with a name, such as `TankPart`, and the union a discriminator.
pub fn name_kinds(schemas: &mut Schemas) {
    for (union, tag) in UNIONS {
        let Some(RefOr::T(Schema::OneOf(one_of))) = schemas.get_mut(union) else { continue };
        let (mut kinds, mut mapping) = (Vec::new(), BTreeMap::new());
        for kind in std::mem::take(&mut one_of.items) {
            let Some(word) = word_of(&kind, tag) else { continue };
            if word == "unknown" {
                continue;
            }
            let name = format!("{}{union}", pascal(&word));
            one_of.items.push(Ref::from_schema_name(&name).into());
            mapping.insert(word, format!("{PREFIX}{name}"));
            kinds.push((name, kind));
        }
        one_of.discriminator = Some(Discriminator::with_mapping(tag, mapping));
        for (name, mut kind) in kinds {
            if let RefOr::T(Schema::Object(object)) = &mut kind {
                object.title = Some(name.clone());
            }
            schemas.insert(name, kind);
        }
    }
}

/// The word that the tag of a kind must be.
fn word_of(kind: &RefOr<Schema>, tag: &str) -> Option<String> {
    let RefOr::T(Schema::Object(kind)) = kind else { return None };
    let RefOr::T(Schema::Object(tag)) = kind.properties.get(tag)? else { return None };
    tag.enum_values.as_ref()?.first()?.as_str().map(str::to_owned)
}

fn pascal(word: &str) -> String {
    let mut name = String::new();
    for part in word.split('_') {
        let mut letters = part.chars();
        name.extend(letters.next().map(|letter| letter.to_ascii_uppercase()));
        name.push_str(letters.as_str());
    }
    name
}

/// Opens what only answers hold. What a request holds as well is copied, and the copy is opened.
pub fn open_answers(api: &mut OpenApi) {
    let Some(components) = &mut api.components else { return };
    let schemas = &mut components.schemas;
    let (mut asked, mut answered) = (Vec::new(), Vec::new());
    for item in api.paths.paths.values_mut() {
        for operation in
            [&mut item.get, &mut item.post, &mut item.put, &mut item.delete].into_iter().flatten()
        {
            for body in bodies(operation) {
                asked.push(body.clone());
            }
            for answer in answers(operation) {
                answered.push(answer.clone());
            }
        }
    }
    // Refusals are written down once for all operations; what is posted is an answer that comes unasked.
    answered
        .extend(components.responses.values_mut().filter_map(own).flat_map(contents).map(|one| one.clone()));
    for item in api.webhooks.iter_mut().flat_map(|hooks| hooks.paths.values_mut()) {
        answered.extend(item.post.iter_mut().flat_map(bodies).map(|one| one.clone()));
    }
    let asked = reachable(schemas, &asked);
    let answered = reachable(schemas, &answered);
    let opening = Opening {
        words: schemas.iter().filter(|(_, schema)| is_words(schema)).map(|(name, _)| name.clone()).collect(),
        shared: answered
            .iter()
            .filter(|name| {
                asked.contains(*name) && (is_union(name) || schemas.get(*name).is_some_and(is_closed))
            })
            .cloned()
            .collect(),
    };
    for name in &opening.shared {
        if let Some(mut copy) = schemas.get(name).cloned() {
            opening.open_copy(name, &mut copy);
            schemas.insert(answer_name(name), copy);
        }
    }
    for (union, tag) in UNIONS {
        let tag_schema = ObjectBuilder::new().schema_type(Type::String);
        let other = ObjectBuilder::new()
            .description(Some(format!("A kind of {union} that a newer service may answer with")))
            .property(tag, tag_schema)
            .required(tag)
            .additional_properties(Some(AdditionalProperties::FreeForm(true)));
        schemas.insert(format!("Other{union}"), Schema::Object(other.build()).into());
    }
    for name in answered.iter().filter(|name| !asked.contains(*name)) {
        if let Some(RefOr::T(Schema::Object(object))) = schemas.get_mut(name)
            && object.enum_values.is_none()
        {
            object.properties.values_mut().for_each(|property| opening.open(property));
        }
    }
    for item in api.paths.paths.values_mut() {
        for operation in
            [&mut item.get, &mut item.post, &mut item.put, &mut item.delete].into_iter().flatten()
        {
            answers(operation).for_each(|answer| opening.open(answer));
        }
    }
}

/// The name of the open copy of a schema that requests hold, too.
fn answer_name(name: &str) -> String {
    format!("{name}Answer")
}

struct Opening {
    /// Schemas of words.
    words: BTreeSet<String>,
    /// Closed objects and unions that both requests and answers hold.
    shared: BTreeSet<String>,
}

impl Opening {
    /// Makes what an answer holds from what a request holds.
    fn open_copy(&self, name: &str, copy: &mut RefOr<Schema>) {
        match copy {
            RefOr::T(Schema::Object(object)) => {
                object.additional_properties = None;
                if object.title.is_some() {
                    object.title = Some(answer_name(name));
                }
                // What a request may leave out stands in every answer, unless there is no value.
                let sent = object.properties.iter().filter(|(_, property)| !is_nullable(property));
                object.required = sent.map(|(name, _)| name.clone()).collect();
                object.properties.values_mut().for_each(|property| self.open(property));
            }
            RefOr::T(Schema::OneOf(union)) => {
                union.items.iter_mut().for_each(|kind| self.open(kind));
                if let Some(tag) = &mut union.discriminator {
                    tag.mapping.values_mut().for_each(|kind| *kind = answer_name(kind));
                }
            }
            RefOr::T(_) | RefOr::Ref(_) => {}
        }
    }

    fn open(&self, schema: &mut RefOr<Schema>) {
        match schema {
            RefOr::Ref(reference) => {
                let name = reference.ref_location.trim_start_matches(PREFIX).to_owned();
                if self.shared.contains(&name) {
                    reference.ref_location = format!("{PREFIX}{}", answer_name(&name));
                }
                let other = if self.words.contains(&name) {
                    Schema::Object(ObjectBuilder::new().schema_type(Type::String).build()).into()
                } else if is_union(&name) {
                    Ref::from_schema_name(format!("Other{name}")).into()
                } else {
                    return;
                };
                let description = std::mem::take(&mut reference.description);
                let known = std::mem::replace(schema, RefOr::Ref(Ref::new(PREFIX)));
                let open = AnyOfBuilder::new()
                    .description((!description.is_empty()).then_some(description))
                    .item(known)
                    .item::<RefOr<Schema>>(other);
                *schema = Schema::AnyOf(open.build()).into();
            }
            RefOr::T(Schema::Object(object)) => {
                object.properties.values_mut().for_each(|property| self.open(property));
            }
            RefOr::T(Schema::Array(array)) => {
                if let ArrayItems::RefOrSchema(items) = &mut array.items {
                    self.open(items);
                }
            }
            RefOr::T(Schema::OneOf(one)) => one.items.iter_mut().for_each(|item| self.open(item)),
            RefOr::T(Schema::AllOf(all)) => all.items.iter_mut().for_each(|item| self.open(item)),
            RefOr::T(_) => {}
        }
    }
}

fn is_nullable(schema: &RefOr<Schema>) -> bool {
    match schema {
        RefOr::T(Schema::Object(object)) => match &object.schema_type {
            SchemaType::Type(kind) => *kind == Type::Null,
            SchemaType::Array(kinds) => kinds.contains(&Type::Null),
            SchemaType::AnyValue => false,
        },
        RefOr::T(Schema::Array(array)) => {
            matches!(&array.schema_type, SchemaType::Array(kinds) if kinds.contains(&Type::Null))
        }
        RefOr::T(Schema::OneOf(one)) => one.items.iter().any(is_nullable),
        RefOr::T(_) | RefOr::Ref(_) => false,
    }
}

fn is_union(name: &str) -> bool {
    UNIONS.iter().any(|(union, _)| *union == name)
}

fn is_words(schema: &RefOr<Schema>) -> bool {
    matches!(schema, RefOr::T(Schema::Object(object)) if object.enum_values.is_some())
}

fn is_closed(schema: &RefOr<Schema>) -> bool {
    matches!(schema, RefOr::T(Schema::Object(object))
        if matches!(object.additional_properties.as_deref(), Some(AdditionalProperties::FreeForm(false))))
}

fn bodies(operation: &mut Operation) -> impl Iterator<Item = &mut RefOr<Schema>> {
    let bodies = operation.request_body.iter_mut().filter_map(own);
    bodies
        .flat_map(|body| body.content.values_mut())
        .filter_map(own)
        .filter_map(|content| content.schema.as_mut())
}

fn answers(operation: &mut Operation) -> impl Iterator<Item = &mut RefOr<Schema>> {
    operation.responses.responses.values_mut().filter_map(own).flat_map(contents)
}

fn contents(answer: &mut Response) -> impl Iterator<Item = &mut RefOr<Schema>> {
    answer.content.values_mut().filter_map(own).filter_map(|content| content.schema.as_mut())
}

/// What stands in its place itself.
fn own<T>(one: &mut RefOr<T>) -> Option<&mut T> {
    match one {
        RefOr::T(one) => Some(one),
        RefOr::Ref(_) => None,
    }
}

/// The names of all schemas that some hold, themselves or through others.
fn reachable(schemas: &Schemas, from: &[RefOr<Schema>]) -> BTreeSet<String> {
    let mut seen = BTreeSet::new();
    let mut open: Vec<String> = from.iter().flat_map(names).collect();
    while let Some(name) = open.pop() {
        if seen.insert(name.clone()) {
            open.extend(schemas.get(&name).into_iter().flat_map(names));
        }
    }
    seen
}

/// The names of the schemas that one refers to.
fn names(schema: &RefOr<Schema>) -> Vec<String> {
    match schema {
        RefOr::Ref(reference) => vec![reference.ref_location.trim_start_matches(PREFIX).to_owned()],
        RefOr::T(Schema::Object(object)) => object.properties.values().flat_map(names).collect(),
        RefOr::T(Schema::Array(array)) => match &array.items {
            ArrayItems::RefOrSchema(items) => names(items),
            ArrayItems::False => Vec::new(),
        },
        RefOr::T(Schema::OneOf(one)) => one.items.iter().flat_map(names).collect(),
        RefOr::T(Schema::AllOf(all)) => all.items.iter().flat_map(names).collect(),
        RefOr::T(Schema::AnyOf(any)) => any.items.iter().flat_map(names).collect(),
        RefOr::T(_) => Vec::new(),
    }
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    fn schemas() -> Value {
        let document: Value = serde_json::from_str(&crate::http::openapi::text()).unwrap();
        document["components"]["schemas"].clone()
    }

    #[test]
    fn a_known_part_of_an_answer_may_have_new_fields_and_words() {
        let all = schemas();
        let coupling = &all["CouplingPartAnswer"];
        assert!(coupling["additionalProperties"].is_null(), "{coupling}");
        let text = json!({"type": "string"});
        for word in ["material", "exposition", "shade"] {
            let open = coupling["properties"][word]["anyOf"].as_array().unwrap();
            assert!(open.contains(&text), "{word}: {coupling}");
        }
        assert_eq!(coupling["required"], json!(["material", "exposition", "shade", "kind"]));
        assert_eq!(all["CouplingPart"]["additionalProperties"], json!(false), "a request stays closed");
        assert_eq!(all["CouplingPart"]["required"], json!(["material", "kind"]));
        let kinds = &all["PartAnswer"]["discriminator"]["mapping"];
        assert_eq!(kinds["coupling"], "#/components/schemas/CouplingPartAnswer");
    }

    #[test]
    fn each_union_of_an_answer_has_an_open_kind() {
        let all = schemas();
        let other = |at: &Value, name: &str| {
            let open = at["anyOf"].as_array().unwrap();
            let kinds = [format!("{name}Answer"), format!("Other{name}")];
            kinds.iter().all(|kind| open.contains(&json!({"$ref": format!("#/components/schemas/{kind}")})))
        };
        assert!(other(&all["Component"]["properties"]["part"], "Part"));
        let emptying = &all["FirstFlushDiverterPartAnswer"]["properties"]["emptying"];
        assert!(other(emptying, "Emptying"), "{emptying}");
        assert!(other(&all["Lesson"]["properties"]["finding"], "Finding"));
    }
}
