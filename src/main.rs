//! Parses the command line, starts logging, and calls into the library.

use std::process::ExitCode;

use clap::Parser;
use rimbook::config::{Cli, Command};
use rimbook::serve;
use tracing_subscriber::EnvFilter;

fn main() -> ExitCode {
    let cli = Cli::parse();
    tracing_subscriber::fmt()
        .with_env_filter(EnvFilter::try_from_default_env().unwrap_or_else(|_| EnvFilter::new("warn,rimbook=info")))
        .with_writer(std::io::stderr)
        .without_time()
        .init();
    match cli.command {
        Some(Command::Calc) => ExitCode::SUCCESS,
        None => match serve::run(&cli.serve) {
            Ok(()) => ExitCode::SUCCESS,
            Err(why) => {
                eprintln!("rimbook: {why}");
                ExitCode::FAILURE
            }
        },
    }
}
