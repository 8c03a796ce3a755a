//! What holds for every request: who may ask at all, and what a browser may do with the answer.
//!
//! On loopback the owner needs no password, so nobody else's page may use the owner's browser: not by a name that is made to
//! point here (DNS rebinding; the `Host` must be ours), nor by sending a form or a script's request across (CSRF; what changes
//! something must come from our own page, by `Origin` or `Sec-Fetch-Site`, or from no browser at all).

use crate::problem::{BAD_REQUEST, OTHER_SITE, Refusal, WRONG_HOST};
use axum::extract::Request;
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, Uri, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use measure::Problem;
use std::net::SocketAddr;
use std::sync::Arc;

/// Nothing from elsewhere, no inline script or style, in nobody's frame.
const POLICY: &str = "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'; object-src 'none'";

const ALWAYS: [(HeaderName, &str); 6] = [
    (header::CONTENT_SECURITY_POLICY, POLICY),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::REFERRER_POLICY, "no-referrer"),
    (header::X_FRAME_OPTIONS, "DENY"),
    (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
    (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
];

/// The names under which this server is asked.
pub struct Hosts(Vec<String>);

impl Hosts {
    /// Those of a loopback address and port.
    pub fn of(address: SocketAddr) -> Self {
        let port = address.port();
        let mut hosts = vec![address.to_string(), format!("localhost:{port}")];
        if port == 80 {
            hosts.extend(["localhost".into(), address.to_string().trim_end_matches(":80").into()]);
        }
        Self(hosts)
    }

    fn has(&self, host: &str) -> bool {
        self.0.iter().any(|ours| ours.eq_ignore_ascii_case(host))
    }

    fn has_origin(&self, origin: &str) -> bool {
        origin.strip_prefix("http://").is_some_and(|host| self.has(host))
    }
}

/// Lets a request through or refuses it; in either case the answer carries the headers.
pub async fn guard(hosts: Arc<Hosts>, request: Request, next: Next) -> Response {
    let mut response = match admit(&hosts, request.method(), request.uri(), request.headers()) {
        Ok(()) => next.run(request).await,
        Err(refusal) => refusal.into_response(),
    };
    let headers = response.headers_mut();
    for (name, value) in ALWAYS {
        headers.insert(name, HeaderValue::from_static(value));
    }
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    response
}

fn admit(hosts: &Hosts, method: &Method, uri: &Uri, headers: &HeaderMap) -> Result<(), Refusal> {
    let mut named = headers.get_all(header::HOST).iter();
    let (Some(host), None) = (named.next(), named.next()) else {
        return Err(Refusal::of(&BAD_REQUEST, Problem::at("Host", "must be there once", "the address this server was started with")));
    };
    let host = text(host);
    // An address in the request line overrules the header (RFC 9112, 3.2.2), so both must be ours.
    for named in [Some(host), uri.authority().map(|authority| authority.as_str())].into_iter().flatten() {
        if !hosts.has(named) {
            return Err(Refusal::of(&WRONG_HOST, Problem::at("Host", "is not this server", hosts.0.join(" or ")).value(named)));
        }
    }
    if [Method::GET, Method::HEAD, Method::OPTIONS].contains(method) {
        return Ok(());
    }
    let other = |field: &str, value: &str| {
        let right = "ask from this server's own pages, or from a program that is no browser";
        Err(Refusal::of(&OTHER_SITE, Problem::at(field, "the request comes from another site", right).value(value)))
    };
    match (headers.get(header::ORIGIN).map(text), headers.get("sec-fetch-site").map(text)) {
        (Some(origin), _) if !hosts.has_origin(origin) => other("Origin", origin),
        (None, Some(site)) if !["same-origin", "none"].contains(&site) => other("Sec-Fetch-Site", site),
        _ => Ok(()),
    }
}

fn text(value: &HeaderValue) -> &str {
    value.to_str().unwrap_or("(not text)")
}
