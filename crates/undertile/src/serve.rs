//! `serve`: the HTTP door on this machine.

use crate::{compute, files};
use clap::Args;
use std::net::SocketAddr;
use std::process::ExitCode;

/// Where.
#[derive(Args)]
pub struct Request {
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
    match server::run(request.listen, ready) {
        Ok(()) => ExitCode::SUCCESS,
        Err(problems) => compute::refuse(&problems),
    }
}
