//! Problems that operations answer with. Each is described once, among the components.

use super::{headers, samples};
use crate::http::table::WITH_KEY;
use eavesward_contract::ProblemCode;
use utoipa::openapi::path::{Operation, ParameterIn};
use utoipa::openapi::schema::Components;
use utoipa::openapi::{ContentBuilder, HttpMethod, Ref, RefOr, ResponseBuilder};

/// A status, the name of its answer among the components, what it means, and the code of its example.
const PROBLEMS: [(&str, &str, &str, ProblemCode); 18] = [
    ("400", "Malformed", "A parameter or the body could not be read", ProblemCode::MalformedBody),
    ("401", "Unauthorized", "No key, or one that is unknown, revoked or expired", ProblemCode::Unauthorized),
    ("403", "Forbidden", "The key lacks the scope", ProblemCode::ScopeMissing),
    ("404", "NotFound", "No such thing in this account", ProblemCode::NotFound),
    ("406", "NotAcceptable", "Not a media type that can be made", ProblemCode::NotAcceptable),
    ("408", "TooSlow", "The body came too slowly", ProblemCode::BodyTooSlow),
    ("409", "Conflict", "Not possible in this state", ProblemCode::Conflict),
    ("410", "Gone", "Entries after the cursor are no longer kept", ProblemCode::CursorExpired),
    ("412", "VersionMismatch", "Changed by someone else since it was read", ProblemCode::VersionMismatch),
    ("413", "TooLarge", "The body is too large", ProblemCode::BodyTooLarge),
    (
        "415",
        "UnsupportedMediaType",
        "Not a media type that this path reads, or a request with `Content-Encoding`",
        ProblemCode::UnsupportedMediaType,
    ),
    ("422", "Invalid", "Some values are not allowed", ProblemCode::Invalid),
    ("428", "VersionRequired", "If-Match is needed", ProblemCode::VersionRequired),
    (
        "429",
        "RateLimited",
        "The account sent too many requests, or has too many under way",
        ProblemCode::RateLimited,
    ),
    ("500", "Failed", "The service failed", ProblemCode::Internal),
    (
        "503",
        "Unavailable",
        "The database cannot be reached, or the service is busy or stopping",
        ProblemCode::Unavailable,
    ),
    ("507", "InsufficientStorage", "The database's disk is full", ProblemCode::InsufficientStorage),
    (
        "default",
        "AnyOther",
        "Any other problem. 405: the path exists, the method does not",
        ProblemCode::MethodNotAllowed,
    ),
];

/// Describes every problem among the components.
pub fn define(components: &mut Components) {
    for (status, name, description, code) in PROBLEMS {
        let schema = Ref::from_schema_name("Problem");
        let content =
            ContentBuilder::new().schema(Some(schema)).example(Some(samples::problem(code))).build();
        let mut response = ResponseBuilder::new()
            .description(description)
            .content("application/problem+json", content)
            .build();
        headers::name_headers_of_problem(status, &mut response);
        components.responses.insert(name.to_owned(), RefOr::T(response));
    }
}

/// Names the problems that an operation can answer with.
pub fn name_problems(path: &str, method: &HttpMethod, operation: &mut Operation) {
    let statuses = statuses(path, method, operation);
    let responses = &mut operation.responses.responses;
    for (status, name, ..) in PROBLEMS {
        // A handler that names one by itself has it described here all the same.
        if statuses.contains(&status) || responses.contains_key(status) {
            responses.insert(status.to_owned(), RefOr::Ref(Ref::from_response_name(name)));
        }
    }
}

fn statuses(path: &str, method: &HttpMethod, operation: &Operation) -> Vec<&'static str> {
    let parameters = operation.parameters.iter().flatten().filter_map(|parameter| match parameter {
        RefOr::T(parameter) => Some(parameter),
        RefOr::Ref(_) => None,
    });
    let parameters: Vec<_> = parameters.collect();
    let has = |place: ParameterIn| parameters.iter().any(|parameter| parameter.parameter_in == place);
    let (in_path, in_query) = (has(ParameterIn::Path), has(ParameterIn::Query));
    let if_match = parameters.iter().any(|parameter| parameter.name == "If-Match");
    let body = operation.request_body.is_some();
    let guarded = path.starts_with(WITH_KEY);
    let post = matches!(method, HttpMethod::Post);
    let digest = path.starts_with("/v1/digest");
    // What was done already, what is still used, and a correction that later facts do not allow.
    let corrected = ["/v1/visits/{id}", "/v1/systems/{id}", "/v1/components/{id}"].contains(&path);
    let in_the_way = if_match && (!body || corrected);
    let mut statuses = Vec::new();
    let mut add = |holds: bool, these: &[&'static str]| statuses.extend(these.iter().filter(|_| holds));
    add(guarded, &["401", "403"]);
    add(guarded || path.starts_with("/calendars/") || path == "/readyz", &["500", "503"]);
    add(guarded || path.starts_with("/calendars/"), &["429"]);
    let writes = guarded && !matches!(method, HttpMethod::Get) && path != "/v1/forecast";
    add(writes, &["507"]);
    // Parameters and bodies that nobody would read are refused everywhere.
    add(true, &["400", "default"]);
    add(in_path || in_query || body || (post && guarded), &["422"]);
    add(digest, &["406"]);
    add(in_path && !digest, &["404"]);
    add(if_match, &["412", "428"]);
    add(body, &["408", "413"]);
    add(guarded, &["415"]);
    add((post && guarded && path != "/v1/forecast") || in_the_way, &["409"]);
    statuses
}
