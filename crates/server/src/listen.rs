//! The socket: who may connect, and how long a request may take to begin.

use crate::guard::Hosts;
use crate::routes;
use axum::Router;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::graceful::GracefulShutdown;
use hyper_util::service::TowerToHyperService;
use measure::{Problem, Problems};
use std::future::Future;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;
use store::Store;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::Semaphore;

/// Connections at most; the next one waits until another closes.
const CONNECTIONS: usize = 512;
/// The head of a request may take so long, which also ends connections on which nothing is asked.
const HEAD: Duration = Duration::from_secs(30);
/// Bytes of a request's head, and of what is read ahead.
const HEAD_BYTES: usize = 64 * 1024;
/// When the server ends, answers on their way have so long.
const FAREWELL: Duration = Duration::from_secs(10);
/// When no connection can be taken (no file handles, say), the next try comes after so long.
const AGAIN: Duration = Duration::from_millis(100);

/// A server that has its socket.
pub struct Server {
    listener: TcpListener,
    address: SocketAddr,
    router: Router,
}

impl Server {
    /// Takes the socket for these records; port 0 is any free one.
    ///
    /// # Errors
    /// Anything but loopback is refused: there is no password and no encryption.
    pub async fn bind(address: SocketAddr, store: Arc<dyn Store>) -> Result<Self, Problems> {
        if !address.ip().is_loopback() {
            let what = "is not loopback; this version has neither passphrase nor encryption, so it answers this machine only";
            return Err(Problem::at("listen", what, "127.0.0.1 or [::1] with a port").value(address).into());
        }
        let cannot = |error: std::io::Error| Problem::at("listen", format!("cannot listen there: {error}"), "another port").value(address);
        let listener = TcpListener::bind(address).await.map_err(cannot)?;
        let address = listener.local_addr().map_err(cannot)?;
        Ok(Self { listener, address, router: routes::router(Hosts::of(address), store) })
    }

    /// Where it listens.
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// Answers until `end` comes; then what is being answered is answered still.
    pub async fn serve(self, end: impl Future<Output = ()>) {
        let places = Arc::new(Semaphore::new(CONNECTIONS));
        let connections = GracefulShutdown::new();
        tokio::pin!(end);
        loop {
            let accepted = async {
                let place = Arc::clone(&places).acquire_owned().await.expect("nobody closes it");
                (place, self.listener.accept().await)
            };
            let (place, accepted) = tokio::select! {
                accepted = accepted => accepted,
                () = &mut end => break,
            };
            let Ok((stream, _)) = accepted else {
                tokio::time::sleep(AGAIN).await;
                continue;
            };
            let connection = connections.watch(connection(stream, self.router.clone()));
            tokio::spawn(async move {
                // A connection that breaks off is its client's affair.
                let _ = connection.await;
                drop(place);
            });
        }
        // Who asks too slowly is cut off then.
        let _ = tokio::time::timeout(FAREWELL, connections.shutdown()).await;
    }
}

fn connection(stream: TcpStream, router: Router) -> http1::Connection<TokioIo<TcpStream>, TowerToHyperService<Router>> {
    // Small answers go out at once; where that can't be set they still go out.
    let _ = stream.set_nodelay(true);
    let mut http = http1::Builder::new();
    http.timer(TokioTimer::new()).header_read_timeout(HEAD).max_buf_size(HEAD_BYTES);
    http.serve_connection(TokioIo::new(stream), TowerToHyperService::new(router))
}
