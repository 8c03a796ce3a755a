//! What is answered.

use crate::problem::Refusal;
use axum::body::Body;
use axum::http::{HeaderValue, header};
use axum::response::Response;
use serde::Serialize;

/// An answer, or why there is none.
pub type Reply = Result<Response, Refusal>;

/// Bytes of a type.
pub fn bytes(media_type: &'static str, bytes: impl Into<Body>) -> Response {
    let mut response = Response::new(bytes.into());
    response.headers_mut().insert(header::CONTENT_TYPE, HeaderValue::from_static(media_type));
    response
}

/// JSON as the command line prints it.
pub fn json(value: &impl Serialize) -> Response {
    bytes("application/json", json_bytes(value))
}

/// JSON as the command line prints it, as bytes.
pub fn json_bytes(value: &impl Serialize) -> Vec<u8> {
    let mut text = serde_json::to_vec_pretty(value).expect("answers are plain data with text keys");
    text.push(b'\n');
    text
}
