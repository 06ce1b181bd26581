//! What can be typed, and the start of the server.

use std::io::ErrorKind;
use std::net::{Ipv4Addr, TcpListener};
use std::path::PathBuf;

use clap::Args;

use super::server::serve;
use super::site::Site;
use crate::cli::exit_code::Outcome;
use crate::cli::messages::{Failure, Talk, print_data};

/// Show a folder of results in the browser of this machine, anew whenever results change
///
/// Only programs on this machine can reach it, and only the files below the folder are shown. Ends with Ctrl-C.
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  shutline view out/before")]
pub struct View {
    /// Folder that measure, compare or batch wrote
    folder: PathBuf,
    /// Port to listen on; 0 takes any that is free
    #[arg(long, default_value_t = 8023)]
    port: u16,
}

impl View {
    pub fn run(&self, talk: Talk) -> Result<Outcome, Failure> {
        let site = Site::open(&self.folder)?;
        let listener =
            TcpListener::bind((Ipv4Addr::LOCALHOST, self.port)).map_err(|error| self.refused(&error))?;
        let port = listener.local_addr()?.port();
        print_data(&format!("http://127.0.0.1:{port}/\n"))?;
        talk.line("open this address in a browser on this machine; Ctrl-C ends");
        serve(&listener, &site, port)?;
        Ok(Outcome::AllGood)
    }

    fn refused(&self, error: &std::io::Error) -> Failure {
        let port = self.port;
        Failure::new(match error.kind() {
            ErrorKind::AddrInUse => {
                format!(
                    "port {port} is in use, perhaps by another `shutline view`; end that one, or give `--port 0` for any free port"
                )
            }
            ErrorKind::PermissionDenied => {
                format!(
                    "port {port} is reserved on this machine; give a port above 1023, or `--port 0` for any free one"
                )
            }
            _ => format!("could not listen on port {port}: {error}; try `--port 0`"),
        })
    }
}
