//! The OpenAPI document: collected from the handlers, committed as `openapi/openapi.json`, never written by hand.

mod bounds;
mod constraints;
mod descriptions;
mod examples;
mod headers;
mod lists;
mod problems;
mod samples;
mod variants;
mod webhooks;

use super::table::{WITH_KEY, table};
use eavesward_contract as wire;
use utoipa::OpenApi;
use utoipa::openapi::path::{HttpMethod, Operation, ParameterIn};
use utoipa::openapi::schema::Schema;
use utoipa::openapi::security::{Http, HttpAuthScheme, SecurityScheme};
use utoipa::openapi::{RefOr, ServerBuilder};

/// What is said of the one server.
const SERVER: &str = "The service that gave this document";

/// The document without its paths, which come from the table.
#[derive(OpenApi)]
#[openapi(
    info(
        title = "Eavesward",
        description = "Tells people who look after rainwater systems what falls due, when and why.\n\n\
            Figures are in SI with the unit in the field's name. Civil dates are in the property's time zone, instants \
            are RFC 3339 in UTC. Problems are RFC 9457 documents with a stable code. A method that a path does not have is \
            answered `405`.\n\n\
            **Growing.** Answers may get new fields and words: pass over fields and show words that you do not know. A \
            value that does not exist is null or left out; read both alike. A PUT keeps the value of a field that was \
            added after 0.1.0 and is left out, and `null` clears it.\n\n\
            **Repeating.** A POST with `Idempotency-Key` is carried out once in 24 hours, even if it is sent again.\n\n\
            **Changing.** To replace or remove what has a version, send `If-Match` with the version that was read. Without \
            it the answer is `428`. It is `412` if the version has changed since. Rain and actions such as `pause` need no \
            version.\n\n**Bodies.** A body is sent as it is. A request with any `Content-Encoding` but `identity` is \
            answered `415` before its body is read. A body may also be too large (`413`) or come too slowly \
            (`408`).\n\n**Reading.** A GET is answered with a strong `ETag`, except for health, readiness and event \
            streams. Send it back in `If-None-Match`, and the answer is `304` while nothing changed. Lists come in pages: \
            send `next_cursor` as `cursor` to get the next one.\n\n**Tracing.** Every request may carry `traceparent` and \
            `tracestate` (W3C Trace Context). Ones that are not valid are passed over.",
        license(name = "MIT OR Apache-2.0", identifier = "MIT OR Apache-2.0")
    ),
    components(schemas(wire::Problem, wire::FieldProblem, wire::ProblemCode, wire::ReminderPosted, wire::DigestPosted, wire::TestPosted)),
    tags(
        (name = "accounts", description = "The account, its keys, and who changed what"),
        (name = "duties", description = "What falls due when, and the account's own figures"),
        (name = "properties", description = "The places where systems are"),
        (name = "gauges", description = "Where rain is measured, and what was measured"),
        (name = "systems", description = "Roofs, tanks and what lies between"),
        (name = "components", description = "The parts that need care"),
        (name = "tasks", description = "What falls due"),
        (name = "reminders", description = "A feed of what happens to tasks"),
        (name = "calendars", description = "Dates in people's calendars"),
        (name = "subscriptions", description = "Reminders and digests that the service posts to an address"),
        (name = "forecasts", description = "The dates of one system with all figures and reasons"),
        (name = "visits", description = "What was done and found"),
        (name = "skill", description = "How far to trust the dates"),
        (name = "rounds", description = "Tasks put together into trips"),
        (name = "service", description = "The service itself"),
    )
)]
struct Frame;

/// The document.
pub fn document() -> utoipa::openapi::OpenApi {
    let mut document = collected();
    complete(&mut document);
    document
}

/// What the derives say of handlers and wire types.
fn collected() -> utoipa::openapi::OpenApi {
    let mut document = Frame::openapi();
    for row in table() {
        document.merge(row.document.clone());
    }
    document
}

/// The document as it is committed: pretty, with a line feed at the end.
pub fn text() -> String {
    let mut text = document().to_pretty_json().unwrap_or_default();
    text.push('\n');
    // The registry of formats has uint32 and uint64; the library that writes the document hyphenates them.
    text.replace("\"format\": \"u-int", "\"format\": \"uint")
}

/// Adds what every operation shares: the bearer key, the header for repetitions, and the problems it can answer with.
fn complete(api: &mut utoipa::openapi::OpenApi) {
    let components = api.components.get_or_insert_default();
    components.add_security_scheme("key", SecurityScheme::Http(Http::new(HttpAuthScheme::Bearer)));
    for schema in components.schemas.values_mut() {
        hide_unknown(schema);
        constraints::close_kinds(schema);
    }
    bounds::bound_fields(&mut components.schemas);
    constraints::no_repeats(&mut components.schemas);
    constraints::refer_to_items(&mut components.schemas);
    headers::define(components);
    problems::define(components);
    api.servers = Some(vec![ServerBuilder::new().url("/").description(Some(SERVER)).build()]);
    api.webhooks = Some(webhooks::webhooks());
    variants::name_kinds(&mut components.schemas);
    descriptions::complete(&mut components.schemas);
    for (path, item) in &mut api.paths.paths {
        let guarded = path.starts_with(WITH_KEY);
        if guarded || path.starts_with("/calendars/") || path == "/openapi.json" {
            item.get.iter_mut().for_each(constraints::describe_etag);
        }
        let operations = [
            (&mut item.get, HttpMethod::Get),
            (&mut item.post, HttpMethod::Post),
            (&mut item.put, HttpMethod::Put),
            (&mut item.delete, HttpMethod::Delete),
        ];
        for (operation, method) in operations {
            let Some(operation) = operation else { continue };
            for parameter in operation.parameters.iter_mut().flatten() {
                if let RefOr::T(parameter) = parameter {
                    parameter.schema.iter_mut().for_each(hide_unknown);
                }
            }
            let key = utoipa::openapi::SecurityRequirement::new::<_, [&str; 0], &str>("key", []);
            operation.security = Some(if guarded { vec![key] } else { Vec::new() });
            if method == HttpMethod::Post && guarded && path != "/v1/forecast" {
                repeatable(operation);
            }
            lists::describe_lists(operation);
            bounds::bound_parameters(operation);
            constraints::describe_if_match(operation);
            if method == HttpMethod::Put {
                descriptions::describe_update(operation);
            }
            problems::name_problems(path, &method, operation);
            headers::name_headers(path, &method, operation);
            examples::show(operation);
        }
    }
    variants::open_answers(api);
}

/// `unknown` is how an old client reads a newer service's word; it is never sent and never accepted.
fn hide_unknown(schema: &mut RefOr<Schema>) {
    match schema {
        RefOr::T(Schema::Object(object)) => {
            if let Some(values) = &mut object.enum_values {
                values.retain(|value| value != "unknown");
            }
        }
        RefOr::T(Schema::OneOf(one)) => one.items.iter_mut().for_each(hide_unknown),
        _ => {}
    }
}

fn repeatable(operation: &mut Operation) {
    use utoipa::openapi::path::ParameterBuilder;
    use utoipa::openapi::schema::{ObjectBuilder, Type};
    let schema = ObjectBuilder::new()
        .schema_type(Type::String)
        .min_length(Some(1))
        .max_length(Some(wire::LONGEST_IDEMPOTENCY_KEY))
        .pattern(Some("^[!-~]+$"));
    let parameter = ParameterBuilder::new()
        .name("Idempotency-Key")
        .parameter_in(ParameterIn::Header)
        .required(utoipa::openapi::Required::False)
        .description(Some("Carries the request out once, however often it is sent within 24 hours"))
        .schema(Some(schema));
    operation.parameters.get_or_insert_default().push(RefOr::T(parameter.build()));
}
