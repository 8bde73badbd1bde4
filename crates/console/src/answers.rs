//! Answers to requests: content, and refusals.

use axum::body::Body;
use axum::http::StatusCode;
use axum::http::header::CONTENT_TYPE;
use axum::response::Response;

/// The page for a person without a link.
const REFUSED: &str =
    "This page opens with the link that the program printed. A link works once; the program prints the next one.\n";

/// An answer with content.
pub fn content(kind: &'static str, text: impl Into<Body>) -> Response {
    Response::builder().header(CONTENT_TYPE, kind).body(text.into()).unwrap_or_default()
}

/// A refusal, which says how to come in.
pub fn refused(status: StatusCode) -> Response {
    let mut response = content("text/plain; charset=utf-8", REFUSED);
    *response.status_mut() = status;
    response
}
