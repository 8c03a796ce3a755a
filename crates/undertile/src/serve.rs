//! `serve`: the HTTP door on this machine.

use crate::{compute, files, verify};
use clap::Args;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;
use store::Sqlite;

/// Where.
#[derive(Args)]
pub struct Request {
    /// The program's data folder, made where it is missing
    #[arg(long, value_name = "DIR", default_value = "undertile-data")]
    data: PathBuf,
    /// Address and port; loopback only: this version has neither passphrase nor encryption. Port 0 is any free one
    #[arg(long, value_name = "ADDRESS", default_value = "127.0.0.1:7080")]
    listen: SocketAddr,
}

/// Answers until it is asked to end.
pub fn run(request: &Request) -> ExitCode {
    let ready = |address| {
        let text = format!("undertile answers at http://{address}/api to whoever works on this machine; Ctrl-C ends it\n");
        // Whoever closed standard output wants no text; the server answers all the same.
        let _ = files::print(text.as_bytes());
    };
    let store = match Sqlite::open(&request.data) {
        Ok(store) => Arc::new(store),
        Err(error) => return compute::refuse(&verify::problems(&request.data, error)),
    };
    match server::run(request.listen, store, ready) {
        Ok(()) => ExitCode::SUCCESS,
        Err(problems) => compute::refuse(&problems),
    }
}
