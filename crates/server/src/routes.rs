//! Every address, once: what it takes, gives and refuses. The router, `/openapi.json` and the page `/api` are made from this.

use crate::asked::nothing_here;
use crate::compute;
use crate::docs;
use crate::guard::{Hosts, guard};
use crate::jobs;
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
use store::Store;

/// What handlers share.
pub struct Site {
    /// Where work is done.
    pub work: Work,
    /// The records.
    pub store: Arc<dyn Store>,
}

impl Site {
    /// Asks the records, off the threads that answer.
    pub async fn reading<T: Send + 'static>(
        &self,
        read: impl FnOnce(&dyn Store) -> Result<T, Refusal> + Send + 'static,
    ) -> Result<T, Refusal> {
        let store = Arc::clone(&self.store);
        self.work.place()?.run(move || read(&*store)).await
    }
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
    /// What may stand behind the question mark.
    pub asks: &'static [Part],
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
#[derive(Clone, Copy)]
pub enum Takes {
    /// None.
    Nothing,
    /// JSON of this schema.
    Json(fn() -> Value),
    /// Lines of JSON.
    Lines,
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
    /// JSON of this schema, for something that was begun.
    Begun(fn() -> Value),
    /// JSON of this schema with a tag, or that the asker has it.
    Tagged(fn() -> Value),
    /// A file with a tag, or that the asker has it.
    File,
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
        gives: Gives::Json(schema_of::<docs::Health>),
        attach: || get(docs::health),
        ..PLAIN
    },
    Route {
        method: "GET",
        path: "/api",
        summary: "this page",
        gives: Gives::Text("text/html; charset=utf-8"),
        attach: || get(docs::page),
        ..PLAIN
    },
    Route {
        method: "GET",
        path: "/api/page.css",
        summary: "how that page looks",
        gives: Gives::Text("text/css; charset=utf-8"),
        attach: || get(docs::style),
        ..PLAIN
    },
    Route {
        method: "GET",
        path: "/openapi.json",
        summary: "every address, for programs (OpenAPI 3.1)",
        gives: Gives::Json(any_object),
        attach: || get(openapi::serve),
        ..PLAIN
    },
    Route {
        method: "GET",
        path: "/api/compute",
        summary: "every computation: name, what it answers, sources",
        gives: Gives::Json(schema_of::<compute::List>),
        attach: || get(compute::list),
        ..PLAIN
    },
    Route {
        method: "POST",
        path: "/api/compute/{name}",
        summary: "one computation: JSON in, the same JSON out as `undertile compute` prints",
        takes: Takes::Computation,
        gives: Gives::Computation,
        refuses: &[&OTHER_SITE, &NOT_HERE, &TOO_SLOW, &TOO_LARGE, &MEDIA_TYPE, &BAD_INPUT, &FAILED, &BUSY],
        attach: || post(compute::run),
        ..PLAIN
    },
    Route {
        method: "GET",
        path: "/api/schema/{name}",
        summary: "input and output of a computation, or a file of the job folder, as JSON Schema 2020-12",
        parts: &[Part { name: "name", says: "computation or file", schema: schema_names }],
        gives: Gives::Json(any_object),
        refuses: &[&NOT_HERE],
        attach: || get(compute::schema),
        ..PLAIN
    },
    Route {
        method: "GET",
        path: "/api/jobs",
        summary: "every job's id",
        gives: Gives::Json(schema_of::<jobs::Jobs>),
        refuses: READING,
        attach: || get(jobs::list),
        ..PLAIN
    },
    Route {
        method: "POST",
        path: "/api/jobs",
        summary: "begins a job with the JSON and CSV files of a job folder; all of it is on the disk when it answers",
        takes: Takes::Json(schema_of::<jobs::NewJob>),
        gives: Gives::Begun(schema_of::<jobs::Begun>),
        refuses: ADDING,
        attach: || post(jobs::begin),
        ..PLAIN
    },
    Route {
        method: "GET",
        path: "/api/jobs/{job}/assessment",
        summary: "may this layer be covered: the answer `undertile assess --json` gives on the same files",
        parts: &[JOB],
        asks: &[
            Part { name: "hold_point", says: "hold point; without it the first one not released", schema: any_text },
            Part { name: "at", says: "moment for which releases are judged (RFC 3339); now when left out", schema: any_text },
        ],
        gives: Gives::Tagged(schema_of::<engine::assess::Assessment>),
        refuses: JUDGING,
        attach: || get(jobs::assessment),
        ..PLAIN
    },
    Route {
        method: "GET",
        path: "/api/jobs/{job}/files",
        summary: "names of the files the record comes to",
        parts: &[JOB],
        gives: Gives::Json(schema_of::<jobs::FileNames>),
        refuses: READING_JOB,
        attach: || get(jobs::files),
        ..PLAIN
    },
    Route {
        method: "GET",
        path: "/api/jobs/{job}/files/{file}",
        summary: "a JSON or CSV file as the record has it now",
        parts: &[JOB, Part { name: "file", says: "name of the file", schema: any_text }],
        gives: Gives::File,
        refuses: READING_JOB,
        attach: || get(jobs::file),
        ..PLAIN
    },
    Route {
        method: "GET",
        path: "/api/jobs/{job}/logs",
        summary: "the record's logs: one a device, and the job's own; size and root of each",
        parts: &[JOB],
        gives: Gives::Json(schema_of::<jobs::Logs>),
        refuses: READING_JOB,
        attach: || get(jobs::logs),
        ..PLAIN
    },
    Route {
        method: "GET",
        path: "/api/jobs/{job}/logs/{log}",
        summary: "entries of a log, byte for byte, one a line; `Link` leads to the next ones",
        parts: &[JOB, Part { name: "log", says: "device, or the job's id", schema: any_text }],
        asks: &[Part { name: "from", says: "place of the first entry wanted, from 0", schema: place }],
        gives: Gives::Text("application/jsonl"),
        refuses: JUDGING,
        attach: || get(jobs::log),
        ..PLAIN
    },
    Route {
        method: "POST",
        path: "/api/jobs/{job}/events",
        summary: "adds events, one a line, to a job that is here: all or none, on the disk when it answers; sent again, they are passed over",
        parts: &[JOB],
        takes: Takes::Lines,
        gives: Gives::Json(schema_of::<jobs::Kept>),
        refuses: ADDING,
        attach: || post(jobs::add),
        ..PLAIN
    },
];

fn schema_of<T: schemars::JsonSchema>() -> Value {
    schemars::schema_for!(T).to_value()
}

const PLAIN: Route = Route {
    method: "GET",
    path: "",
    summary: "",
    parts: &[],
    asks: &[],
    takes: Takes::Nothing,
    gives: Gives::Json(any_object),
    refuses: &[],
    attach: MethodRouter::new,
};

const JOB: Part = Part { name: "job", says: "the job's id", schema: any_text };

const READING: &[&Kind] = &[&DAMAGED, &FAILED, &BUSY];
const READING_JOB: &[&Kind] = &[&NOT_HERE, &DAMAGED, &FAILED, &BUSY];
const JUDGING: &[&Kind] = &[&NOT_HERE, &BAD_INPUT, &DAMAGED, &FAILED, &BUSY];
const ADDING: &[&Kind] =
    &[&OTHER_SITE, &NOT_HERE, &TOO_SLOW, &DOES_NOT_FOLLOW, &TOO_LARGE, &MEDIA_TYPE, &BAD_INPUT, &DAMAGED, &FAILED, &BUSY, &NO_ROOM];

fn any_text() -> Value {
    serde_json::json!({ "type": "string" })
}

fn place() -> Value {
    serde_json::json!({ "type": "integer", "minimum": 0, "maximum": u64::MAX })
}

fn any_object() -> Value {
    serde_json::json!({ "type": "object" })
}

fn schema_names() -> Value {
    serde_json::json!({ "type": "string", "enum": compute::names().collect::<Vec<_>>() })
}

/// All of it behind the guard.
pub fn router(hosts: Hosts, store: Arc<dyn Store>) -> Router {
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
        .with_state(Arc::new(Site { work: Work::new(), store }))
}
