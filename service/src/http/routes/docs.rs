//! The document's page: its own title, icon and start script around a viewer that comes with the binary.

use crate::http::path::at;
use crate::http::problem::ApiError;
use actix_web::http::{Method, header};
use actix_web::web::{self, ServiceConfig};
use actix_web::{HttpResponse, HttpResponseBuilder};
use eavesward_contract::ProblemCode;
use std::borrow::Cow;
use std::sync::Arc;
use utoipa_swagger_ui::Config;

/// What of the viewer the page needs. The rest of it, such as its own page and icons, is not served.
const VIEWER: [&str; 2] = ["swagger-ui.css", "swagger-ui-bundle.js"];

/// The page at `/docs/`, which loads nothing from elsewhere.
pub fn configure(cfg: &mut ServiceConfig) {
    cfg.service(web::redirect("/docs", "/docs/"))
        .service(at("/docs/", vec![(Method::GET, web::to(page))]))
        .service(at("/docs/{file}", vec![(Method::GET, web::to(file))]));
}

/// What the page may load and who may show it: its own files, and no frame of another page. The viewer writes styles into
/// its elements and draws its signs from data.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; \
                      connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// An answer that a browser takes for what it is called, and shows in no frame.
fn shown() -> HttpResponseBuilder {
    let mut response = HttpResponse::Ok();
    response
        .insert_header((header::CONTENT_SECURITY_POLICY, POLICY))
        .insert_header((header::X_FRAME_OPTIONS, "DENY"))
        .insert_header((header::X_CONTENT_TYPE_OPTIONS, "nosniff"))
        .insert_header((header::REFERRER_POLICY, "no-referrer"));
    response
}

async fn page() -> HttpResponse {
    shown().content_type("text/html; charset=utf-8").body(include_str!("docs/page.html"))
}

async fn file(name: web::Path<String>) -> Result<HttpResponse, ApiError> {
    let own = |media_type: &str, text: &'static str| Ok(shown().content_type(media_type).body(text));
    match name.as_str() {
        "favicon.svg" => own("image/svg+xml", include_str!("docs/favicon.svg")),
        "start.js" => own("text/javascript; charset=utf-8", include_str!("docs/start.js")),
        name => viewer(name),
    }
}

/// A file of the viewer, as it was packed into the binary.
fn viewer(name: &str) -> Result<HttpResponse, ApiError> {
    let nothing = || ApiError::new(ProblemCode::NotFound, "The page has no such file; /docs/ is the page.");
    let known = VIEWER.contains(&name).then(|| utoipa_swagger_ui::serve(name, Arc::new(Config::from(""))));
    let file = known.and_then(Result::ok).flatten().ok_or_else(nothing)?;
    let mut response = shown();
    if file.gzpipped {
        response.insert_header((header::CONTENT_ENCODING, "gzip"));
    }
    response.content_type(file.content_type);
    Ok(match file.bytes {
        Cow::Borrowed(bytes) => response.body(bytes),
        Cow::Owned(bytes) => response.body(bytes),
    })
}
