//! From the command line to an open door: the book, the address, the pages.

use std::io::Write;
use std::net::SocketAddr;

use thiserror::Error;
use tokio::net::TcpListener;

use crate::config::Serve;
use crate::demo::{self, DemoError};
use crate::store::{OpenError, Store, StoreError};
use crate::web::clock::Clock;
use crate::web::{AppState, build_app};

/// Why Rimbook did not start: one line each.
#[derive(Debug, Error)]
pub enum ServeError {
    /// The system names no data folder for this user.
    #[error("this system names no data folder for you: choose one with --data DIR")]
    NoFolder,
    /// The book.
    #[error(transparent)]
    Book(#[from] OpenError),
    /// The book opened but could not be read.
    #[error("cannot read the book: {0}")]
    Read(#[from] StoreError),
    /// Somebody else listens there.
    #[error("port {0} is in use, perhaps by another Rimbook: close it, or choose another with --port PORT")]
    PortInUse(u16),
    /// Any other trouble with the address.
    #[error("cannot listen on {address}: {why}")]
    Listen {
        /// Where.
        address: SocketAddr,
        /// What the system said.
        why: std::io::Error,
    },
    /// The invented lab could not be laid in.
    #[error(transparent)]
    Demo(#[from] DemoError),
    /// The runtime or the server itself.
    #[error("{0}")]
    Io(#[from] std::io::Error),
}

/// Opens the book and serves the pages until the process is told to stop.
///
/// # Errors
///
/// [`ServeError`], each a line for the terminal.
pub fn run(options: &Serve) -> Result<(), ServeError> {
    // Two threads: the pages of one counter, on whatever machine stands there.
    tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build()?.block_on(serve(options))
}

async fn serve(options: &Serve) -> Result<(), ServeError> {
    let folder = options.folder().ok_or(ServeError::NoFolder)?;
    // The port first: a second Rimbook must not touch the book of the first.
    let address = options.address();
    let listener = TcpListener::bind(address).await.map_err(|why| match why.kind() {
        std::io::ErrorKind::AddrInUse => ServeError::PortInUse(address.port()),
        _ => ServeError::Listen { address, why },
    })?;
    let store = Store::open(&folder).await?;
    let clock = Clock::System;
    store.forget_old_drafts(clock.now()).await?;
    if options.demo {
        fill_with_demo(&store, clock).await?;
    }
    let state = AppState::new(store.clone(), clock).await?;
    say(&format!("Rimbook is open at http://{}", listener.local_addr()?));
    say(&format!("The book is in {}", folder.display()));
    axum::serve(listener, build_app(state)).with_graceful_shutdown(told_to_stop()).await?;
    store.close().await;
    Ok(())
}

/// A book that has a lab already is left as it is: the pages open all the same.
async fn fill_with_demo(store: &Store, clock: Clock) -> Result<(), ServeError> {
    match demo::load(store, clock.today(), clock.now()).await {
        Ok(summary) => say(&summary.to_string()),
        Err(DemoError::NotEmpty(lab)) => {
            say(&format!("The book belongs to {lab} already: nothing was added to it"));
        }
        Err(other) => return Err(other.into()),
    }
    Ok(())
}

/// One line for whoever started the program; the pages stay open when nobody reads it.
fn say(line: &str) {
    if let Err(why) = writeln!(std::io::stdout(), "{line}") {
        tracing::debug!("nobody reads what is said at the start: {why}");
    }
}

async fn told_to_stop() {
    let interrupt = async {
        if tokio::signal::ctrl_c().await.is_err() {
            std::future::pending::<()>().await;
        }
    };
    #[cfg(unix)]
    let terminate = async {
        match tokio::signal::unix::signal(tokio::signal::unix::SignalKind::terminate()) {
            Ok(mut signal) => {
                signal.recv().await;
            }
            Err(_) => std::future::pending::<()>().await,
        }
    };
    #[cfg(not(unix))]
    let terminate = std::future::pending::<()>();
    tokio::select! { () = interrupt => {}, () = terminate => {} }
}
