//! A path of the router with its methods.

use super::problem::ApiError;
use actix_web::http::Method;
use actix_web::{HttpResponse, Resource, Route, web};

/// A path with a route for each of its methods; any other method is answered `405` with what there is.
pub fn at(path: &str, routes: Vec<(Method, Route)>) -> Resource {
    let allow = routes.iter().map(|(method, _)| method.as_str()).collect::<Vec<_>>().join(", ");
    let resource = web::resource(path.to_owned());
    let resource =
        routes.into_iter().fold(resource, |resource, (method, route)| resource.route(route.method(method)));
    resource.default_service(web::to(move || {
        let refusal = ApiError::method_not_allowed(&allow);
        async move { Err::<HttpResponse, _>(refusal) }
    }))
}
