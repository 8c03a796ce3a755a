//! The HTTP door: computations and records for programs and browsers on this machine.
//!
//! * [`Server`] takes a socket and answers. Every address stands once in a table, from which the router, the description for
//!   programs (`/openapi.json`, OpenAPI 3.1) and the page for people (`/api`) are made.
//! * Whatever is refused is refused in `application/problem+json` (RFC 9457) with all that is wrong.
//! * It answers on loopback only, and there only its own pages and programs that are no browser may change something.
//!
//! * [`record`] makes a job folder of a job's record and a record of a job folder.
//!
//! What this crate never does: compute a verdict. It hands bytes to the engine and gives back what the engine said.

mod asked;
mod compute;
mod docs;
mod guard;
mod jobs;
mod listen;
mod openapi;
mod problem;
pub mod record;
mod reply;
mod routes;
mod work;

pub use listen::Server;

use measure::{Problem, Problems};
use std::net::SocketAddr;
use std::sync::Arc;
use store::Store;

/// Answers at this address until the program is asked to end (Ctrl-C, or the system's request); says where once it does.
pub fn run(address: SocketAddr, store: Arc<dyn Store>, ready: impl FnOnce(SocketAddr)) -> Result<(), Problems> {
    let started = tokio::runtime::Builder::new_multi_thread().enable_all().build();
    let runtime = started.map_err(|error| Problem::at("", format!("no threads to answer with: {error}"), "a machine less busy"))?;
    runtime.block_on(async {
        let server = Server::bind(address, store).await?;
        ready(server.address());
        server.serve(asked_to_end()).await;
        Ok(())
    })
}

async fn asked_to_end() {
    let interrupted = async {
        // Where no signal can be waited for, the program ends by being ended.
        if tokio::signal::ctrl_c().await.is_err() {
            std::future::pending::<()>().await;
        }
    };
    #[cfg(unix)]
    let terminated = async {
        match tokio::signal::unix::signal(tokio::signal::unix::SignalKind::terminate()) {
            Ok(mut signal) => {
                signal.recv().await;
            }
            Err(_) => std::future::pending().await,
        }
    };
    #[cfg(not(unix))]
    let terminated = std::future::pending::<()>();
    tokio::select! {
        () = interrupted => {}
        () = terminated => {}
    }
}
