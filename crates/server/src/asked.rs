//! A request's parts, or a refusal in our own words.

use crate::problem::{BAD_INPUT, BAD_REQUEST, MEDIA_TYPE, NOT_HERE, Refusal, TOO_LARGE, TOO_SLOW};
use axum::body::{Body, Bytes};
use axum::extract::{FromRequestParts, Path, Query, Request};
use axum::http::header;
use axum::http::request::Parts;
use http_body_util::{BodyExt, LengthLimitError, Limited};
use measure::Problem;
use serde::de::DeserializeOwned;
use std::time::Duration;

/// A JSON body at most.
pub const JSON_BYTES: usize = 32_000_000;
/// A body may take so long to arrive.
const ARRIVAL: Duration = Duration::from_secs(60);

/// The variable parts of an address.
pub struct Named<T>(pub T);

impl<T: DeserializeOwned + Send, S: Send + Sync> FromRequestParts<S> for Named<T> {
    type Rejection = Refusal;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Refusal> {
        let named = Path::<T>::from_request_parts(parts, state).await;
        named.map(|Path(named)| Self(named)).map_err(|_| nothing_here(parts.uri.path()))
    }
}

/// What stands behind the question mark.
pub struct Asked<T>(pub T);

impl<T: DeserializeOwned + Send, S: Send + Sync> FromRequestParts<S> for Asked<T> {
    type Rejection = Refusal;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Refusal> {
        let asked = Query::<T>::from_request_parts(parts, state).await;
        asked.map(|Query(asked)| Self(asked)).map_err(|error| {
            let problem = Problem::at("", error.body_text(), "the parameters that /openapi.json lists for this address");
            Refusal::of(&BAD_INPUT, problem.value(parts.uri.query().unwrap_or("")))
        })
    }
}

/// No such address.
pub fn nothing_here(path: &str) -> Refusal {
    Refusal::of(&NOT_HERE, Problem::at("", "there is no such address", "one of those that /openapi.json lists").value(path))
}

/// A JSON body's bytes.
pub async fn json(request: Request) -> Result<Bytes, Refusal> {
    of_type(&request, "application/json")?;
    whole(request.into_body(), JSON_BYTES).await
}

/// A body of lines of JSON.
pub async fn lines(request: Request) -> Result<Bytes, Refusal> {
    of_type(&request, "application/jsonl")?;
    whole(request.into_body(), JSON_BYTES).await
}

/// Refuses a body of another type.
fn of_type(request: &Request, wanted: &str) -> Result<(), Refusal> {
    let said = request.headers().get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok()).unwrap_or("");
    let essence = said.split(';').next().unwrap_or("").trim();
    if essence.eq_ignore_ascii_case(wanted) {
        return Ok(());
    }
    Err(Refusal::of(&MEDIA_TYPE, Problem::at("Content-Type", "is not what this address takes", wanted).value(said)))
}

/// A body's bytes, if there are not too many of them and they come in time.
async fn whole(body: Body, most: usize) -> Result<Bytes, Refusal> {
    let too_large = || Refusal::of(&TOO_LARGE, Problem::at("", "the body is too large", format!("at most {most} bytes")));
    if axum::body::HttpBody::size_hint(&body).lower() > most as u64 {
        return Err(too_large());
    }
    match tokio::time::timeout(ARRIVAL, Limited::new(body, most).collect()).await {
        Ok(Ok(collected)) => Ok(collected.to_bytes()),
        Ok(Err(error)) if error.is::<LengthLimitError>() => Err(too_large()),
        Ok(Err(error)) => {
            Err(Refusal::of(&BAD_REQUEST, Problem::at("", format!("the body did not arrive whole: {error}"), "send it again")))
        }
        Err(_) => {
            let right = format!("all of it within {} s", ARRIVAL.as_secs());
            Err(Refusal::of(&TOO_SLOW, Problem::at("", "the body took too long to arrive", right)))
        }
    }
}
