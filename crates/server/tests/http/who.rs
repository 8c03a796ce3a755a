//! Who may ask: every address against every kind of asker.

use crate::client::Running;

/// Every address, with a status for an asker that is let through.
const ADDRESSES: [(&str, &str, u16); 16] = [
    ("GET", "/healthz", 200),
    ("GET", "/api", 200),
    ("GET", "/api/page.css", 200),
    ("GET", "/openapi.json", 200),
    ("GET", "/api/compute", 200),
    ("GET", "/api/schema/room", 200),
    ("POST", "/api/compute/climate", 422),
    ("GET", "/api/jobs", 200),
    ("POST", "/api/jobs", 422),
    ("GET", "/api/jobs/none/assessment", 404),
    ("GET", "/api/jobs/none/files", 404),
    ("GET", "/api/jobs/none/files/room.json", 404),
    ("GET", "/api/jobs/none/logs", 404),
    ("GET", "/api/jobs/none/logs/none", 404),
    ("POST", "/api/jobs/none/events", 415),
    ("POST", "/nothing", 404),
];

/// What an asker says of itself; `{port}` is the server's. What it gets when it reads, and when it changes something.
const ASKERS: [Asker; 16] = [
    ("a program", &[], LetIn, LetIn),
    ("our own page", &[("Origin", "http://127.0.0.1:{port}"), ("Sec-Fetch-Site", "same-origin")], LetIn, LetIn),
    ("our own page by name", &[("Host", "localhost:{port}"), ("Origin", "http://localhost:{port}")], LetIn, LetIn),
    ("a name in capitals", &[("Host", "LOCALHOST:{port}")], LetIn, LetIn),
    ("the person at the address bar", &[("Sec-Fetch-Site", "none")], LetIn, LetIn),
    ("another site's page", &[("Origin", "https://elsewhere.example"), ("Sec-Fetch-Site", "cross-site")], LetIn, Refused(403)),
    ("another port's page", &[("Origin", "http://127.0.0.1:1"), ("Sec-Fetch-Site", "same-site")], LetIn, Refused(403)),
    ("our address over TLS", &[("Origin", "https://127.0.0.1:{port}")], LetIn, Refused(403)),
    ("a page without origin", &[("Origin", "null")], LetIn, Refused(403)),
    ("a form that says only where it is", &[("Sec-Fetch-Site", "cross-site")], LetIn, Refused(403)),
    ("a name made to point here", &[("Host", "elsewhere.example:{port}")], Refused(421), Refused(421)),
    ("that name with its own origin", &[("Host", "e.example"), ("Origin", "http://e.example")], Refused(421), Refused(421)),
    ("another port", &[("Host", "127.0.0.1:1")], Refused(421), Refused(421)),
    ("no port", &[("Host", "127.0.0.1")], Refused(421), Refused(421)),
    ("a name that begins like ours", &[("Host", "127.0.0.1:{port}.e.example")], Refused(421), Refused(421)),
    ("two hosts", &[("Host", "127.0.0.1:{port}"), ("Host", "e.example")], Refused(400), Refused(400)),
];

type Asker = (&'static str, &'static [(&'static str, &'static str)], Seen, Seen);

#[derive(Clone, Copy)]
enum Seen {
    LetIn,
    Refused(u16),
}
use Seen::{LetIn, Refused};

#[test]
fn every_address_lets_in_and_refuses_as_the_table_says() {
    let server = Running::start();
    let port = server.address.port().to_string();
    for (method, path, inside) in ADDRESSES {
        for (who, headers, reads, changes) in ASKERS {
            let headers: Vec<(&str, String)> = headers.iter().map(|(name, value)| (*name, value.replace("{port}", &port))).collect();
            let mut headers: Vec<(&str, &str)> = headers.iter().map(|(name, value)| (*name, value.as_str())).collect();
            headers.push(("Content-Type", "application/json"));
            let answer = server.ask(method, path, &headers, b"{}");
            let expected = match if method == "GET" { reads } else { changes } {
                LetIn => inside,
                Refused(status) => status,
            };
            assert_eq!(answer.status, expected, "{method} {path} by {who}: {}", String::from_utf8_lossy(&answer.body));
        }
    }
}

#[test]
fn every_address_of_the_description_is_in_the_table() {
    let description = Running::start().get("/openapi.json").json();
    for (path, operations) in description["paths"].as_object().unwrap() {
        let path = if path.starts_with("/api/compute/") { "/api/compute/climate" } else { path };
        for method in operations.as_object().unwrap().keys() {
            let same = |there: &str| there.split('/').zip(path.split('/')).all(|(a, b)| a == b || b.starts_with('{'));
            let found = ADDRESSES
                .iter()
                .any(|(m, p, _)| m.eq_ignore_ascii_case(method) && p.split('/').count() == path.split('/').count() && same(p));
            assert!(found, "{method} {path}");
        }
    }
}

#[test]
fn a_host_in_the_request_line_counts_as_well() {
    let server = Running::start();
    let host = server.address;
    let ask = |target: &str, version: &str, host: &str| {
        server.send(format!("GET {target} HTTP/{version}\r\n{host}Connection: close\r\n\r\n").as_bytes())
    };
    ask("http://elsewhere.example/healthz", "1.1", &format!("Host: {host}\r\n")).refused(421, "wrong-host");
    ask("/healthz", "1.1", "").refused(400, "bad-request");
    ask("/healthz", "1.0", "").refused(400, "bad-request");
    assert_eq!(ask("/healthz", "1.0", &format!("Host: {host}\r\n")).status, 200);
}
