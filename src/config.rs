//! The command line and the data folder.

use std::net::{Ipv4Addr, SocketAddr};
use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};

use crate::intake::command::ShapeCommand;

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
    /// Read a frame shape from a file of any kind, or write one.
    #[command(subcommand)]
    Shape(ShapeCommand),
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
    /// Do not open the browser.
    #[arg(long)]
    pub no_browser: bool,
    /// Fill an empty book with the invented lab Saltmarsh Lens Post, to try Rimbook.
    #[arg(long)]
    pub demo: bool,
    /// With --demo: how many jobs. From 1000 on they are the work of a lifetime, for trying how fast the pages are;
    /// a million takes some minutes and about 10 GB.
    #[arg(long, requires = "demo", value_name = "N", value_parser = clap::value_parser!(u64).range(1000..=2_000_000))]
    pub jobs: Option<u64>,
}

impl Serve {
    /// The folder that holds the book: `--data`, or the user's data folder if the system has one.
    pub fn folder(&self) -> Option<PathBuf> {
        self.data.clone().or_else(|| Some(dirs::data_dir()?.join("rimbook")))
    }

    /// Always loopback: the book holds health data.
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
    fn a_number_of_jobs_needs_the_demo() {
        assert_eq!(Cli::parse_from(["rimbook", "--demo", "--jobs", "1000"]).serve.jobs, Some(1000));
        for wrong in [&["rimbook", "--jobs", "1000"][..], &["rimbook", "--demo", "--jobs", "999"]] {
            assert!(Cli::try_parse_from(wrong).is_err(), "{wrong:?}");
        }
    }

    #[test]
    fn listens_on_loopback_only() {
        let cli = Cli::parse_from(["rimbook", "--port", "5000"]);
        assert!(cli.serve.address().ip().is_loopback());
    }
}
