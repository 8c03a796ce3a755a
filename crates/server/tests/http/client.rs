//! A server on a free port, and a client that sends what it is told to, proper or not.

use serde_json::Value;
use server::Server;
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::sync::Arc;
use std::thread::JoinHandle;
use std::time::Duration;
use store::Sqlite;
use tempfile::TempDir;
use tokio::sync::oneshot;

/// A server that ends with it.
pub struct Running {
    pub address: SocketAddr,
    pub store: Arc<Sqlite>,
    _folder: TempDir,
    end: Option<oneshot::Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

impl Running {
    pub fn start() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let store = Arc::new(Sqlite::open(folder.path()).unwrap());
        let kept = store.clone();
        let (say, hear) = std::sync::mpsc::channel();
        let (end, ended) = oneshot::channel::<()>();
        let thread = std::thread::spawn(move || {
            let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().unwrap();
            runtime.block_on(async {
                let server = Server::bind(([127, 0, 0, 1], 0).into(), kept).await.unwrap();
                say.send(server.address()).unwrap();
                server.serve(async { ended.await.unwrap_or(()) }).await;
            });
        });
        Self { address: hear.recv().unwrap(), store, _folder: folder, end: Some(end), thread: Some(thread) }
    }

    /// A request as it should be; headers given are added, and replace `Host` if they have one.
    pub fn ask(&self, method: &str, path: &str, headers: &[(&str, &str)], body: &[u8]) -> Answer {
        let mut head = format!("{method} {path} HTTP/1.1\r\nConnection: close\r\nContent-Length: {}\r\n", body.len());
        if !headers.iter().any(|(name, _)| name.eq_ignore_ascii_case("host")) {
            head += &format!("Host: {}\r\n", self.address);
        }
        headers.iter().for_each(|(name, value)| head += &format!("{name}: {value}\r\n"));
        self.send(&[(head + "\r\n").as_bytes(), body].concat())
    }

    pub fn get(&self, path: &str) -> Answer {
        self.ask("GET", path, &[], b"")
    }

    pub fn post_json(&self, path: &str, body: &[u8]) -> Answer {
        self.ask("POST", path, &[("Content-Type", "application/json")], body)
    }

    /// These bytes and no others.
    pub fn send(&self, bytes: &[u8]) -> Answer {
        let mut stream = TcpStream::connect(self.address).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
        // A server that refuses early may stop reading; what it answered counts.
        let _ = stream.write_all(bytes);
        let mut answer = Vec::new();
        let _ = stream.read_to_end(&mut answer);
        Answer::read(&answer)
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        self.end.take().map(|end| end.send(()));
        let ended = self.thread.take().map(JoinHandle::join);
        assert!(ended.is_none_or(|ended| ended.is_ok()) || std::thread::panicking(), "the server's thread panicked");
    }
}

#[derive(Debug)]
pub struct Answer {
    pub status: u16,
    headers: Vec<(String, String)>,
    pub body: Vec<u8>,
}

impl Answer {
    fn read(bytes: &[u8]) -> Self {
        let end = bytes.windows(4).position(|four| four == b"\r\n\r\n").expect("an answer has a head");
        let head = std::str::from_utf8(&bytes[..end]).unwrap();
        let mut lines = head.split("\r\n");
        let status = lines.next().unwrap().split(' ').nth(1).unwrap().parse().unwrap();
        let header = |line: &str| line.split_once(':').map(|(name, value)| (name.to_lowercase(), value.trim().to_owned()));
        Self { status, headers: lines.filter_map(header).collect(), body: bytes[end + 4..].to_vec() }
    }

    pub fn header(&self, name: &str) -> Option<&str> {
        self.headers.iter().find(|(there, _)| there == name).map(|(_, value)| value.as_str())
    }

    pub fn json(&self) -> Value {
        serde_json::from_slice(&self.body).unwrap_or_else(|error| panic!("{error}: {}", String::from_utf8_lossy(&self.body)))
    }

    /// That it is a refusal of this kind, as RFC 9457 and our own words want it; gives the problems.
    pub fn refused(&self, status: u16, kind: &str) -> Value {
        assert_eq!(self.header("content-type"), Some("application/problem+json"), "{self:?}");
        let said = self.json();
        assert_eq!((self.status, said["status"].as_u64().unwrap()), (status, u64::from(status)), "{said}");
        assert_eq!(said["type"], format!("/api#{kind}"), "{said}");
        assert!(!said["title"].as_str().unwrap().is_empty());
        for problem in said["problems"].as_array().unwrap() {
            assert!(!problem["what"].as_str().unwrap().is_empty() && !problem["right"].as_str().unwrap().is_empty(), "{said}");
        }
        said["problems"].clone()
    }
}
