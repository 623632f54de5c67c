//! Query parameters, with refusals that name the parameter.

use super::problem::ApiError;
use actix_web::dev::Payload;
use actix_web::{FromRequest, HttpRequest};
use eavesward_contract::{FieldProblem, ProblemCode};
use serde::de::DeserializeOwned;
use std::future::{Ready, ready};
use std::ops::Deref;

/// The parameters of a request. A name that the path does not know is refused: a misspelt filter must not list all.
#[derive(Debug)]
pub struct Query<T>(T);

impl<T> Deref for Query<T> {
    type Target = T;

    fn deref(&self) -> &T {
        &self.0
    }
}

impl<T: DeserializeOwned> FromRequest for Query<T> {
    type Error = actix_web::Error;
    type Future = Ready<Result<Self, Self::Error>>;

    fn from_request(req: &HttpRequest, _: &mut Payload) -> Self::Future {
        ready(read(req.query_string()).map(Self).map_err(Into::into))
    }
}

fn read<T: DeserializeOwned>(text: &str) -> Result<T, ApiError> {
    let pairs = url::form_urlencoded::parse(text.as_bytes());
    serde_path_to_error::deserialize(serde_urlencoded::Deserializer::new(pairs)).map_err(|error| {
        let field = error.path().to_string();
        let mut refusal =
            ApiError::new(ProblemCode::MalformedParameter, "A parameter of the query could not be read.");
        refusal.errors.push(FieldProblem {
            field: if field == "." { String::new() } else { field },
            message: error.into_inner().to_string(),
        });
        refusal
    })
}
