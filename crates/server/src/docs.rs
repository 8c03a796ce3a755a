//! The page a person reads, made from the same table as the description for programs.

use crate::problem::KINDS;
use crate::reply::{self, Reply};
use crate::routes::{ALWAYS, ROUTES};
use engine::registry;
use schemars::JsonSchema;
use serde::Serialize;
use std::sync::LazyLock;

/// That the program answers.
#[derive(Serialize, JsonSchema)]
pub struct Health {
    /// `answers`.
    status: &'static str,
    /// Version of the program.
    version: &'static str,
}

/// `GET /healthz`
pub async fn health() -> Reply {
    Ok(reply::json(&Health { status: "answers", version: env!("CARGO_PKG_VERSION") }))
}

/// `GET /api/page.css`
pub async fn style() -> Reply {
    Ok(reply::bytes("text/css; charset=utf-8", include_str!("page.css")))
}

/// `GET /api`
pub async fn page() -> Reply {
    static PAGE: LazyLock<String> = LazyLock::new(write);
    Ok(reply::bytes("text/html; charset=utf-8", PAGE.as_str()))
}

fn write() -> String {
    let mut page = String::from(
        "<!doctype html>\n<html lang=\"en\">\n<meta charset=\"utf-8\">\n<meta name=\"viewport\" content=\"width=device-width\">\n\
         <title>undertile: addresses</title>\n<link rel=\"stylesheet\" href=\"/api/page.css\">\n<main>\n<h1>undertile: addresses</h1>\n\
         <p>For programs: <a href=\"/openapi.json\">/openapi.json</a> (OpenAPI 3.1). Results support a competent person's judgement; \
         they do not replace the adopted code, the membrane maker's data sheet or licensed practice.</p>\n",
    );
    page += "<h2>Addresses</h2>\n<table>\n<tr><th>method<th>address<th>what one gets<th>refuses with\n";
    for route in ROUTES {
        let statuses: Vec<String> = route.refuses.iter().map(|kind| format!("<a href=\"#{}\">{}</a>", kind.name, kind.status)).collect();
        let (path, summary) = (escaped(route.path), escaped(route.summary));
        page += &format!("<tr><td>{}<td><code>{path}</code><td>{summary}<td>{}\n", route.method, statuses.join(" "));
    }
    let always: Vec<String> = ALWAYS.iter().map(|kind| format!("<a href=\"#{}\">{}</a>", kind.name, kind.status)).collect();
    page += &format!("</table>\n<p>Every address also refuses with {}.</p>\n", always.join(", "));
    page += "<h2>Computations</h2>\n<table>\n<tr><th>name<th>what it answers<th>sources\n";
    for computation in registry::ALL {
        let sources: Vec<String> = computation.sources.iter().map(|source| escaped(source)).collect();
        page += &format!(
            "<tr><td><a href=\"/api/schema/{0}\">{0}</a><td>{1}<td>{2}\n",
            computation.name,
            escaped(computation.help),
            sources.join("<br>")
        );
    }
    page += "</table>\n<h2>Refusals</h2>\n<p>JSON after RFC 9457 (<code>application/problem+json</code>); <code>problems</code> lists \
             everything that is wrong, each with field, value, what is wrong and what would be right.</p>\n<dl>\n";
    for kind in KINDS {
        page += &format!("<dt id=\"{}\">{} {}<dd>{}\n", kind.name, kind.status, kind.name, escaped(kind.title));
    }
    page + "</dl>\n</main>\n</html>\n"
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}
