//! `serve`: the same bytes over HTTP as on the command line.

use crate::examples;
use crate::run::{folder, program, undertile};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::Child;

/// A server on a free port, ended with the test.
struct Serving {
    child: Child,
    host: String,
}

impl Serving {
    fn start(data: &Path) -> Self {
        let mut child = program().args(["serve", "--listen", "127.0.0.1:0", "--data"]).arg(data).spawn().unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let host = line.split("http://").nth(1).and_then(|rest| rest.split('/').next()).unwrap_or_else(|| panic!("{line:?}"));
        Self { host: host.into(), child }
    }

    /// Status and body.
    fn ask(&self, method: &str, path: &str, body: &[u8]) -> (u16, Vec<u8>) {
        let mut stream = TcpStream::connect(&self.host).unwrap();
        let (host, length) = (&self.host, body.len());
        write!(
            stream,
            "{method} {path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\nContent-Type: application/json\r\nContent-Length: {length}\r\n\r\n"
        )
        .unwrap();
        stream.write_all(body).unwrap();
        let mut answer = Vec::new();
        stream.read_to_end(&mut answer).unwrap();
        let end = answer.windows(4).position(|four| four == b"\r\n\r\n").unwrap();
        let status = std::str::from_utf8(&answer[9..12]).unwrap().parse().unwrap();
        (status, answer.split_off(end + 4))
    }
}

/// A data folder that is not there yet.
fn fresh(name: &str) -> PathBuf {
    let data = folder(name).join("data");
    if data.exists() {
        std::fs::remove_dir_all(&data).unwrap();
    }
    data
}

impl Drop for Serving {
    fn drop(&mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }
}

#[test]
fn the_server_gives_the_bytes_the_command_line_prints() {
    let server = Serving::start(&fresh("serve-compute"));
    for computation in engine::registry::ALL {
        let input = examples::input(computation.name).to_string().into_bytes();
        let (status, body) = server.ask("POST", &format!("/api/compute/{}", computation.name), &input);
        assert_eq!(status, 200, "{}", computation.name);
        assert!(body == undertile(&["compute", computation.name], &input).out.as_bytes(), "{} differs", computation.name);
        let (_, schema) = server.ask("GET", &format!("/api/schema/{}", computation.name), b"");
        assert!(schema == undertile(&["schema", computation.name], b"").out.as_bytes(), "the schema of {} differs", computation.name);
    }
}

#[test]
fn a_record_is_judged_over_http_as_its_folder_on_the_command_line() {
    let data = fresh("serve-record");
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/heron-row-12");
    let demo = demo.to_str().unwrap();
    let imported = undertile(&["record", "import", demo, "--data", data.to_str().unwrap()], b"");
    assert_eq!(imported.code, Some(0), "{imported:?}");
    let server = Serving::start(&data);
    let jobs: serde_json::Value = serde_json::from_slice(&server.ask("GET", "/api/jobs", b"").1).unwrap();
    let job = jobs["jobs"][0].as_str().unwrap();
    let at = "2026-11-25T12:00:00Z";
    let (status, body) = server.ask("GET", &format!("/api/jobs/{job}/assessment?hold_point=screed&at={at}"), b"");
    let printed = undertile(&["assess", demo, "--json", "--hold-point", "screed", "--at", at], b"");
    assert_eq!(status, 200, "{}", String::from_utf8_lossy(&body));
    assert!(body == printed.out.as_bytes(), "the assessment differs");
}

#[test]
fn a_data_folder_has_one_server() {
    let data = fresh("serve-twice");
    let _server = Serving::start(&data);
    let ran = undertile(&["serve", "--listen", "127.0.0.1:0", "--data", data.to_str().unwrap()], b"");
    assert_eq!(ran.code, Some(2), "{ran:?}");
}

#[test]
fn what_is_wrong_is_said_in_the_same_words() {
    let server = Serving::start(&fresh("serve-problems"));
    let ran = undertile(&["compute", "climate"], b"{\"air_c\": \"warm\"}");
    let (status, body) = server.ask("POST", "/api/compute/climate", b"{\"air_c\": \"warm\"}");
    let said: serde_json::Value = serde_json::from_slice(&body).unwrap();
    let printed: serde_json::Value = serde_json::from_str(&ran.err).unwrap();
    assert_eq!((status, &said["problems"]), (422, &printed["problems"]));
}

#[test]
fn only_loopback_is_served() {
    let data = fresh("serve-nowhere");
    let ran = undertile(&["serve", "--listen", "0.0.0.0:0", "--data", data.to_str().unwrap()], b"");
    assert_eq!(ran.code, Some(2));
    assert!(ran.err.contains("neither passphrase nor encryption"), "{}", ran.err);
}
