//! Parses the command line, starts logging, and calls into the library.

use std::io::{Read, Write};
use std::process::ExitCode;

use clap::Parser;
use mimalloc::MiMalloc;
use rimbook::config::{Cli, Command};
use rimbook::{calc, serve};
use tracing_subscriber::EnvFilter;

/// A page is many small pieces of text, made on one thread and freed on another; the system's allocator makes the threads
/// wait for each other.
#[global_allocator]
static ALLOCATOR: MiMalloc = MiMalloc;

fn main() -> ExitCode {
    let cli = Cli::parse();
    tracing_subscriber::fmt()
        .with_env_filter(EnvFilter::try_from_default_env().unwrap_or_else(|_| EnvFilter::new("warn,rimbook=info")))
        .with_writer(std::io::stderr)
        .without_time()
        .init();
    match cli.command {
        Some(Command::Calc) => calculate(),
        None => match serve::run(&cli.serve) {
            Ok(()) => ExitCode::SUCCESS,
            Err(why) => {
                eprintln!("rimbook: {why}");
                ExitCode::FAILURE
            }
        },
    }
}

/// Reads one request and prints one answer. A bad value prints one line that names the field; exit code 2.
fn calculate() -> ExitCode {
    let mut request = String::new();
    let answer = std::io::stdin()
        .read_to_string(&mut request)
        .map_err(|why| format!("request: cannot be read: {why}"))
        .and_then(|_| calc::run(&request).map_err(|why| why.to_string()));
    match answer {
        // Writing fails if the reading process has ended or the disk is full.
        Ok(answer) => match writeln!(std::io::stdout(), "{answer}") {
            Ok(()) => ExitCode::SUCCESS,
            Err(why) => {
                eprintln!("the answer cannot be written: {why}");
                ExitCode::FAILURE
            }
        },
        Err(why) => {
            eprintln!("{why}");
            ExitCode::from(2)
        }
    }
}
