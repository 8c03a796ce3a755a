//! What HTTP asks for, and limits.

use crate::client::Running;

#[test]
fn a_wrong_method_is_refused_and_the_right_one_named() {
    let server = Running::start();
    for (method, path, allowed) in [
        ("DELETE", "/api/compute", "GET,HEAD"),
        ("POST", "/healthz", "GET,HEAD"),
        ("GET", "/api/compute/falls", "POST"),
        ("PUT", "/api/compute/falls", "POST"),
        ("PATCH", "/openapi.json", "GET,HEAD"),
    ] {
        let answer = server.ask(method, path, &[], b"");
        answer.refused(405, "method");
        assert_eq!(answer.header("allow"), Some(allowed), "{method} {path}");
    }
}

#[test]
fn an_unknown_address_is_not_here() {
    let server = Running::start();
    for path in ["/", "/api/", "/api/computes", "/../etc/passwd", "/api/schema", "//", "/healthz/"] {
        server.get(path).refused(404, "not-here");
    }
}

#[test]
fn another_content_type_is_refused() {
    let server = Running::start();
    for said in ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", "application/jsonp", ""] {
        server.ask("POST", "/api/compute/climate", &[("Content-Type", said)], b"{}").refused(415, "media-type");
    }
    server.ask("POST", "/api/compute/climate", &[], b"{}").refused(415, "media-type");
    for said in ["application/json; charset=utf-8", "Application/JSON"] {
        server.ask("POST", "/api/compute/climate", &[("Content-Type", said)], b"{}").refused(422, "bad-input");
    }
}

#[test]
fn too_large_a_body_is_refused_before_and_while_it_comes() {
    let server = Running::start();
    let host = server.address;
    let head = format!("POST /api/compute/falls HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\nContent-Type: application/json\r\n");
    let announced = format!("{head}Content-Length: 32000001\r\n\r\n");
    server.send(announced.as_bytes()).refused(413, "too-large");
    let mut chunked = format!("{head}Transfer-Encoding: chunked\r\n\r\n").into_bytes();
    let piece = [b"f4240\r\n".as_slice(), &vec![b' '; 1_000_000], b"\r\n"].concat();
    (0..32).for_each(|_| chunked.extend(&piece));
    chunked.extend(b"1\r\n \r\n0\r\n\r\n");
    server.send(&chunked).refused(413, "too-large");
    assert_eq!(server.get("/healthz").status, 200);
}

#[test]
fn a_head_without_end_and_what_is_no_http_are_cut_off() {
    let server = Running::start();
    let endless = format!("GET /healthz HTTP/1.1\r\nHost: {}\r\nx: {}\r\n\r\n", server.address, "y".repeat(1_000_000));
    assert_eq!(server.send(endless.as_bytes()).status, 431);
    assert_eq!(server.send(b"\x16\x03\x01 no http\r\n\r\n").status, 400);
    assert_eq!(server.get("/healthz").status, 200);
}

#[test]
fn every_answer_carries_the_headers_that_bind_a_browser() {
    let server = Running::start();
    for answer in [server.get("/api"), server.get("/nothing"), server.ask("GET", "/", &[("Host", "elsewhere.example")], b"")] {
        let policy = answer.header("content-security-policy").unwrap();
        assert!(policy.contains("default-src 'self'") && policy.contains("frame-ancestors 'none'"), "{policy}");
        assert_eq!(answer.header("x-content-type-options"), Some("nosniff"));
        assert_eq!(answer.header("referrer-policy"), Some("no-referrer"));
        assert_eq!(answer.header("cross-origin-resource-policy"), Some("same-origin"));
        assert!(answer.header("access-control-allow-origin").is_none());
        assert!(answer.header("cache-control").is_some());
    }
}

#[tokio::test]
async fn only_loopback_is_listened_on() {
    let folder = tempfile::tempdir().unwrap();
    let store = std::sync::Arc::new(store::Sqlite::open(folder.path()).unwrap());
    for address in ["0.0.0.0:0", "192.0.2.1:0", "[::]:0", "[2001:db8::1]:0"] {
        let problems = server::Server::bind(address.parse().unwrap(), store.clone()).await.err().unwrap();
        assert!(problems.to_string().contains("neither passphrase nor encryption"), "{problems}");
    }
}
