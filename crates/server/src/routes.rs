//! Every address, once: what it takes, gives and refuses. The router, `/openapi.json` and the page `/api` are made from this.

use crate::compute;
use crate::docs;
use crate::guard::{Hosts, guard};
use crate::intake::nothing_here;
use crate::openapi;
use crate::problem::*;
use crate::work::Work;
use axum::Router;
use axum::extract::Request;
use axum::http::Method;
use axum::middleware;
use axum::routing::{MethodRouter, get, post};
use measure::Problem;
use serde_json::Value;
use std::sync::Arc;

/// What handlers share.
pub struct Site {
    /// Where work is done.
    pub work: Work,
}

/// An address and a method.
pub struct Route {
    /// `GET` or `POST`.
    pub method: &'static str,
    /// Address, its variable parts in braces.
    pub path: &'static str,
    /// What one gets, in a line.
    pub summary: &'static str,
    /// What the variable parts may be.
    pub parts: &'static [Part],
    /// What it takes.
    pub takes: Takes,
    /// What it gives.
    pub gives: Gives,
    /// Why it may refuse, beside what any address refuses.
    pub refuses: &'static [&'static Kind],
    attach: fn() -> MethodRouter<Arc<Site>>,
}

/// A variable part of an address.
pub struct Part {
    /// Its name.
    pub name: &'static str,
    /// What it says.
    pub says: &'static str,
    /// What it may be.
    pub schema: fn() -> Value,
}

/// What an address takes as body.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Takes {
    /// None.
    Nothing,
    /// The input of the computation the address names; each is an address of its own in the description.
    Computation,
}

/// What an address gives.
#[derive(Clone, Copy)]
pub enum Gives {
    /// The output of the computation it names.
    Computation,
    /// JSON of this schema.
    Json(fn() -> Value),
    /// Text of this type.
    Text(&'static str),
}

/// What any address may refuse.
pub const ALWAYS: &[&Kind] = &[&BAD_REQUEST, &METHOD, &WRONG_HOST];

/// Every address.
pub const ROUTES: &[Route] = &[
    Route {
        method: "GET",
        path: "/healthz",
        summary: "that the program answers, and its version",
        parts: &[],
        takes: Takes::Nothing,
        gives: Gives::Json(schema_of::<docs::Health>),
        refuses: &[],
        attach: || get(docs::health),
    },
    Route {
        method: "GET",
        path: "/api",
        summary: "this page",
        parts: &[],
        takes: Takes::Nothing,
        gives: Gives::Text("text/html; charset=utf-8"),
        refuses: &[],
        attach: || get(docs::page),
    },
    Route {
        method: "GET",
        path: "/api/page.css",
        summary: "how that page looks",
        parts: &[],
        takes: Takes::Nothing,
        gives: Gives::Text("text/css; charset=utf-8"),
        refuses: &[],
        attach: || get(docs::style),
    },
    Route {
        method: "GET",
        path: "/openapi.json",
        summary: "every address, for programs (OpenAPI 3.1)",
        parts: &[],
        takes: Takes::Nothing,
        gives: Gives::Json(any_object),
        refuses: &[],
        attach: || get(openapi::serve),
    },
    Route {
        method: "GET",
        path: "/api/compute",
        summary: "every computation: name, what it answers, sources",
        parts: &[],
        takes: Takes::Nothing,
        gives: Gives::Json(schema_of::<compute::List>),
        refuses: &[],
        attach: || get(compute::list),
    },
    Route {
        method: "POST",
        path: "/api/compute/{name}",
        summary: "one computation: JSON in, the same JSON out as `undertile compute` prints",
        parts: &[],
        takes: Takes::Computation,
        gives: Gives::Computation,
        refuses: &[&OTHER_SITE, &NOT_HERE, &TOO_SLOW, &TOO_LARGE, &MEDIA_TYPE, &BAD_INPUT, &FAILED, &BUSY],
        attach: || post(compute::run),
    },
    Route {
        method: "GET",
        path: "/api/schema/{name}",
        summary: "input and output of a computation, or a file of the job folder, as JSON Schema 2020-12",
        parts: &[Part { name: "name", says: "computation or file", schema: schema_names }],
        takes: Takes::Nothing,
        gives: Gives::Json(any_object),
        refuses: &[&NOT_HERE],
        attach: || get(compute::schema),
    },
];

fn schema_of<T: schemars::JsonSchema>() -> Value {
    schemars::schema_for!(T).to_value()
}

fn any_object() -> Value {
    serde_json::json!({ "type": "object" })
}

fn schema_names() -> Value {
    serde_json::json!({ "type": "string", "enum": compute::names().collect::<Vec<_>>() })
}

/// All of it behind the guard.
pub fn router(hosts: Hosts) -> Router {
    let hosts = Arc::new(hosts);
    let mut router = Router::new();
    for route in ROUTES {
        router = router.route(route.path, (route.attach)());
    }
    router
        .fallback(async |request: Request| nothing_here(request.uri().path()))
        .method_not_allowed_fallback(async |method: Method| {
            Refusal::of(&METHOD, Problem::at("", "this address does not do that", "a method that /openapi.json lists").value(method))
        })
        .layer(middleware::from_fn(move |request, next| guard(Arc::clone(&hosts), request, next)))
        .with_state(Arc::new(Site { work: Work::new() }))
}
