//! What is said when a request is not done: `application/problem+json` after RFC 9457, with every problem of the input in it.

use axum::body::Body;
use axum::http::{HeaderName, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use measure::{Problem, Problems};
use serde_json::{Value, json};
use store::Error;

/// A kind of refusal: what RFC 9457, 3.1 calls the type, and what always goes with it.
#[derive(Debug, PartialEq, Eq)]
pub struct Kind {
    /// Last part of its address on the page `/api`.
    pub name: &'static str,
    /// Status.
    pub status: u16,
    /// The same words every time.
    pub title: &'static str,
}

macro_rules! kinds {
    ($($constant:ident = $name:literal, $status:literal, $title:literal;)*) => {
        $(#[doc = $title] pub const $constant: Kind = Kind { name: $name, status: $status, title: $title };)*

        /// Every kind there is.
        pub const KINDS: &[&Kind] = &[$(&$constant),*];
    };
}

kinds! {
    BAD_REQUEST = "bad-request", 400, "The request is not as HTTP asks for";
    OTHER_SITE = "other-site", 403, "Another site's page may change nothing here";
    NOT_HERE = "not-here", 404, "There is nothing of that name";
    METHOD = "method", 405, "This address does not do that";
    TOO_SLOW = "too-slow", 408, "The request took too long to arrive";
    DOES_NOT_FOLLOW = "does-not-follow", 409, "It does not follow on what the record has";
    TOO_LARGE = "too-large", 413, "More than is taken at once";
    MEDIA_TYPE = "media-type", 415, "The body is of another type than this address takes";
    WRONG_HOST = "wrong-host", 421, "The request was meant for another host";
    BAD_INPUT = "bad-input", 422, "What was handed in is not as it must be";
    FAILED = "failed", 500, "The program failed; what was asked was not done";
    DAMAGED = "damaged", 500, "What is kept is not what was written";
    BUSY = "busy", 503, "Too much is waiting already; ask again later";
    NO_ROOM = "no-room", 507, "It cannot be saved here";
}

/// Why a request was not done.
#[derive(Debug)]
pub struct Refusal {
    kind: &'static Kind,
    problems: Problems,
    header: Option<(HeaderName, HeaderValue)>,
}

impl Refusal {
    /// For one reason.
    pub fn of(kind: &'static Kind, problem: Problem) -> Self {
        Self { kind, problems: problem.into(), header: None }
    }

    /// For several.
    pub fn all(kind: &'static Kind, problems: Problems) -> Self {
        Self { kind, problems, header: None }
    }

    /// The same with a header that the status asks for.
    pub fn with(mut self, name: HeaderName, value: HeaderValue) -> Self {
        self.header = Some((name, value));
        self
    }

    fn body(&self) -> Value {
        json!({
            "type": format!("/api#{}", self.kind.name),
            "title": self.kind.title,
            "status": self.kind.status,
            "detail": self.problems.to_string(),
            "problems": self.problems.problems,
        })
    }
}

impl From<Problems> for Refusal {
    fn from(problems: Problems) -> Self {
        Self { kind: &BAD_INPUT, problems, header: None }
    }
}

impl From<Error> for Refusal {
    fn from(error: Error) -> Self {
        let text = error.to_string();
        let (kind, right) = match error {
            Error::Refused(problems) => return problems.into(),
            Error::Forked { .. } => (&DOES_NOT_FOLLOW, "go on as a new device"),
            Error::Gap { .. } => (&DOES_NOT_FOLLOW, "hand in those between first"),
            Error::NotHere(_) => (&NOT_HERE, "something that is here"),
            Error::Full(_) => (&NO_ROOM, "make room and try again"),
            Error::ReadOnly(_) => (&NO_ROOM, "a data folder that may be written"),
            Error::Busy(_) => (&BUSY, "ask again in a moment"),
            Error::Damaged { .. } => (&DAMAGED, "run `undertile verify` on the data folder"),
            Error::Newer { .. } => (&DAMAGED, "a later program"),
            Error::Failed { .. } => (&FAILED, "ask again; what is there already is passed over"),
        };
        Self::of(kind, Problem::at("", text, right))
    }
}

impl IntoResponse for Refusal {
    fn into_response(self) -> Response {
        let mut response = Response::new(Body::from(format!("{:#}\n", self.body())));
        *response.status_mut() = StatusCode::from_u16(self.kind.status).expect("kinds have statuses of three digits");
        response.headers_mut().insert(header::CONTENT_TYPE, HeaderValue::from_static("application/problem+json"));
        if let Some((name, value)) = self.header {
            response.headers_mut().insert(name, value);
        }
        response
    }
}

/// JSON Schema of a refusal.
pub fn schema() -> Value {
    json!({
        "type": "object",
        "description": "why a request was not done (RFC 9457)",
        "required": ["type", "title", "status", "detail", "problems"],
        "properties": {
            "type": { "type": "string", "enum": KINDS.iter().map(|kind| format!("/api#{}", kind.name)).collect::<Vec<_>>() },
            "title": { "type": "string" },
            "status": { "type": "integer" },
            "detail": { "type": "string", "description": "the problems as text, one a line" },
            "problems": { "type": "array", "items": schemars::schema_for!(Problem) },
        },
    })
}
