//! Puts an example beside every body.

use super::samples;
use utoipa::openapi::path::Operation;
use utoipa::openapi::{Content, RefOr};

/// Shows what an operation reads and answers.
pub fn show(operation: &mut Operation) {
    let id = operation.operation_id.as_deref().unwrap_or_default();
    let bodies = match &mut operation.request_body {
        Some(RefOr::T(body)) => body.content.iter_mut().collect(),
        _ => Vec::new(),
    };
    for (media_type, content) in bodies {
        let RefOr::T(content) = content else { continue };
        content.example = match schema_of(content) {
            Some(schema) => samples::body(schema),
            None => samples::file(media_type),
        };
    }
    for response in operation.responses.responses.values_mut() {
        let RefOr::T(response) = response else { continue };
        for (media_type, content) in &mut response.content {
            if let RefOr::T(content) = content {
                content.example = samples::answer(id, media_type);
            }
        }
    }
}

/// The name of the schema that a content refers to.
fn schema_of(content: &Content) -> Option<&str> {
    match &content.schema {
        Some(RefOr::Ref(schema)) => schema.ref_location.rsplit('/').next(),
        _ => None,
    }
}
