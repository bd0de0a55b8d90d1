//! Parses the command line, starts logging, and calls into the library.

use std::fmt::Display;
use std::io::{IsTerminal, Read, Write};
use std::path::Path;
use std::process::ExitCode;

use clap::Parser;
use mimalloc::MiMalloc;
use rimbook::config::{self, Cli, Command};
use rimbook::serve::install::{self, Places};
use rimbook::serve::{ServeError, browser, devices, pass_phrase};
use rimbook::{calc, intake, old_records, safekeeping, serve};
use tracing_subscriber::EnvFilter;

/// A page is many small pieces of text, made on one thread and freed on another; the system's allocator makes the threads
/// wait for each other.
#[global_allocator]
static ALLOCATOR: MiMalloc = MiMalloc;

fn main() -> ExitCode {
    let cli = Cli::parse();
    tracing_subscriber::fmt()
        // A log that cannot be written, as on a full disk, is not said anywhere: saying so would stop the answer.
        .log_internal_errors(false)
        .with_env_filter(
            EnvFilter::try_from_default_env().unwrap_or_else(|_| EnvFilter::new("warn,usvg=off,rimbook=info")),
        )
        .with_writer(std::io::stderr)
        .with_ansi(wants_color())
        .without_time()
        .init();
    match cli.command {
        Some(Command::Calc) => calculate(),
        Some(Command::Shape(command)) => answer(intake::command::run(&command).map_err(|why| why.to_string())),
        Some(Command::OldRecords(asked)) => match old_records::command::run(&asked, std::io::stdout().lock()) {
            Ok(()) => ExitCode::SUCCESS,
            Err(why) => {
                eprintln!("rimbook: {why}");
                ExitCode::from(2)
            }
        },
        Some(Command::PassPhrase { data, remove }) => finish(change_pass_phrase(data.as_deref(), remove)),
        Some(Command::Install { data, remove }) => finish(match remove {
            true => Places::of_user().and_then(|places| install::remove(&places)),
            false => Places::of_user().and_then(|places| install::install(&places, data.as_deref())),
        }),
        Some(Command::Devices(options)) => match devices::run(&options) {
            Ok(()) => ExitCode::SUCCESS,
            Err(why) => not_started(&why, true),
        },
        None => match serve::run(&cli.serve) {
            Ok(()) => ExitCode::SUCCESS,
            Err(why) => not_started(&why, cli.serve.no_browser),
        },
        Some(command) => match safekeeping::run(&command) {
            Ok(()) => ExitCode::SUCCESS,
            Err(why) => {
                eprintln!("rimbook: {why}");
                ExitCode::FAILURE
            }
        },
    }
}

/// Colors are for a person who looks at a terminal, and does not ask for none; a file is read with other programs.
fn wants_color() -> bool {
    std::io::stderr().is_terminal() && std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty())
}

/// Prints what was done, or why it was not.
fn finish(end: Result<Vec<String>, impl Display>) -> ExitCode {
    match end {
        Ok(said) => {
            // A closed standard output changes nothing of what was done.
            let _ = writeln!(std::io::stdout(), "{}", said.join("\n"));
            ExitCode::SUCCESS
        }
        Err(why) => {
            eprintln!("rimbook: {why}");
            ExitCode::FAILURE
        }
    }
}

fn change_pass_phrase(data: Option<&Path>, remove: bool) -> Result<Vec<String>, String> {
    let folder = config::folder(data).ok_or_else(|| ServeError::NoFolder.to_string())?;
    if !remove && std::io::stdin().is_terminal() {
        eprintln!("Type the new pass phrase on one line. What you type is shown.");
    }
    let said = pass_phrase::change(&folder, remove, std::io::stdin().lock()).map_err(|why| why.to_string())?;
    Ok(vec![said.to_owned()])
}

/// Says why. Where the book is open in another Rimbook, its pages are what was asked for: they are opened if wanted.
fn not_started(why: &ServeError, no_browser: bool) -> ExitCode {
    eprintln!("rimbook: {why}");
    match why.open_at() {
        Some(address) if !no_browser && browser::has_screen() && is_wanted() => {
            browser::open_and_wait(address);
            ExitCode::SUCCESS
        }
        _ => ExitCode::FAILURE,
    }
}

/// Asks whoever looks at a terminal. Whoever clicked an icon wants the pages.
fn is_wanted() -> bool {
    if !std::io::stdin().is_terminal() {
        return true;
    }
    eprint!("Open them in the browser? (Y/n) ");
    let mut answer = String::new();
    std::io::stdin().read_line(&mut answer).is_ok_and(|_| matches!(answer.trim(), "" | "y" | "Y" | "yes"))
}

/// Reads one request and prints one answer. A bad value prints one line that names the field; exit code 2.
fn calculate() -> ExitCode {
    let mut request = String::new();
    let found = std::io::stdin()
        .read_to_string(&mut request)
        .map_err(|why| format!("request: cannot be read: {why}"))
        .and_then(|_| calc::run(&request).map_err(|why| why.to_string()));
    answer(found.map(|text| (text + "\n").into_bytes()))
}

/// Prints an answer, or the one line that says why there is none; exit code 2.
fn answer(found: Result<Vec<u8>, String>) -> ExitCode {
    match found {
        // Writing fails if the reading process has ended or the disk is full.
        Ok(bytes) => match std::io::stdout().write_all(&bytes) {
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
