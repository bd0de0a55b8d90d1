//! The command line and the data folder.

use std::net::{Ipv4Addr, SocketAddr};
use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};

/// The order book, bench companion and receipt book of a small mail-order lens lab.
#[derive(Debug, Parser)]
#[command(name = "rimbook", version, about, args_conflicts_with_subcommands = true)]
pub struct Cli {
    /// What to do. Without a command, serves the pages.
    #[command(subcommand)]
    pub command: Option<Command>,
    /// Options for serving the pages.
    #[command(flatten)]
    pub serve: Serve,
}

/// What Rimbook does besides serving its pages.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Read one JSON request on standard input and print one JSON answer (see `rimbook calc --help`).
    #[command(after_long_help = crate::calc::HELP)]
    Calc,
}

/// Options for serving the pages.
#[derive(Debug, Args)]
pub struct Serve {
    /// The folder that holds the book. Default: `rimbook` in your user data folder.
    #[arg(long, value_name = "DIR")]
    pub data: Option<PathBuf>,
    /// The port to listen on, on this machine only.
    #[arg(long, default_value_t = 4127, value_name = "PORT")]
    pub port: u16,
    /// Fill an empty book with the invented lab Saltmarsh Lens Post, to try Rimbook.
    #[arg(long)]
    pub demo: bool,
}

impl Serve {
    /// The folder that holds the book: `--data`, or the user's data folder if the system has one.
    pub fn folder(&self) -> Option<PathBuf> {
        self.data.clone().or_else(|| Some(dirs::data_dir()?.join("rimbook")))
    }

    /// Always loopback: the book holds health data and has no password.
    pub fn address(&self) -> SocketAddr {
        SocketAddr::from((Ipv4Addr::LOCALHOST, self.port))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn verify_cli() {
        Cli::command().debug_assert();
    }

    #[test]
    fn listens_on_loopback_only() {
        let cli = Cli::parse_from(["rimbook", "--port", "5000"]);
        assert!(cli.serve.address().ip().is_loopback());
    }
}
