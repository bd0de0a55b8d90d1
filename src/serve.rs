//! Starts the server: opens the port and the book, loads the demonstration if asked, serves the pages.

pub mod browser;
pub mod connections;
pub mod devices;
pub mod install;
pub mod pass_phrase;
mod signals;
mod tls;
mod upkeep;

use std::io::Write;
use std::net::SocketAddr;
use std::path::Path;
use std::time::Instant;

use thiserror::Error;
use tokio::net::TcpListener;

use self::connections::{Door, ServerLimits};
use self::devices::host::Host;
use self::tls::{OutsideDoor, TlsError};
use crate::config::Serve;
use crate::demo::{DemoError, fresh_file};
use crate::store::backup::remove_leftover;
use crate::store::folder_lock::{FolderLock, LockError};
use crate::store::fresh_file::remove_unfinished;
use crate::store::{OpenError, Store, StoreError, make_private_folder};
use crate::web::backups::watch;
use crate::web::clock::Clock;
use crate::web::{AppState, build_app};

/// Why Rimbook did not start. Each is one line for the terminal.
#[derive(Debug, Error)]
pub enum ServeError {
    /// The system names no data folder for this user.
    #[error("this system names no data folder for you: choose one with --data DIR")]
    NoFolder,
    /// Another program has the data folder.
    #[error(transparent)]
    Lock(#[from] LockError),
    /// The book could not be opened.
    #[error(transparent)]
    Book(#[from] OpenError),
    /// The book opened but could not be read.
    #[error("cannot read the book: {0}")]
    Read(#[from] StoreError),
    /// Another program already listens there.
    #[error("port {0} is in use by another program: close that, or choose another with --port PORT")]
    PortInUse(u16),
    /// Any other error when listening on the address.
    #[error("cannot listen on {address}: {why}")]
    Listen {
        address: SocketAddr,
        /// The system's error.
        why: std::io::Error,
    },
    /// Devices were to be heard for a folder without a book.
    #[error("there is no book in {0}: choose its folder with --data DIR")]
    NoBook(String),
    /// Another program has the book, and can hear devices itself.
    #[error("{0}")]
    HeldFromDevices(String),
    /// A device was said to do something that is in no table.
    #[error("--assume: {0}")]
    Assumption(String),
    /// Other machines were to be let in without a pass phrase.
    #[error(
        "--listen lets other machines in, which needs a pass phrase first: set one on The lab, Pass phrase and screens, or with \
         rimbook pass-phrase"
    )]
    NoPassPhrase,
    /// The door for other machines could not be opened.
    #[error(transparent)]
    Tls(#[from] TlsError),
    /// The demonstration could not be loaded.
    #[error(transparent)]
    Demo(#[from] DemoError),
    /// An error of the runtime or the server.
    #[error("{0}")]
    Io(#[from] std::io::Error),
}

impl ServeError {
    /// Where the pages of the same book are open already.
    pub fn open_at(&self) -> Option<&str> {
        match self {
            Self::Lock(LockError::Held { holder, .. }) => holder.address.as_deref(),
            _ => None,
        }
    }
}

/// Opens the book and serves the pages until the process receives a signal to stop. The second signal stops it at once.
///
/// # Errors
///
/// [`ServeError`], each a line for the terminal.
pub fn run(options: &Serve) -> Result<(), ServeError> {
    // Two threads are enough for one user on a small machine.
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build()?;
    let end = runtime.block_on(serve(options));
    // A long computation of a page that nobody waits for any more is not waited for either.
    runtime.shutdown_background();
    end
}

async fn serve(options: &Serve) -> Result<(), ServeError> {
    let folder = options.folder().ok_or(ServeError::NoFolder)?;
    FolderLock::must_be_free(&folder)?;
    // Bind the port next: a second Rimbook must not touch the folder of the first.
    let listener = listen(options.address()).await?;
    make_private_folder(&folder).map_err(|why| OpenError::Folder { folder: folder.display().to_string(), why })?;
    let mut lock = FolderLock::take(&folder)?;
    remove_leftover(&folder)?;
    let clock = Clock::System;
    let store = match options.demo {
        true => open_with_demo(&folder, options.jobs, clock).await?,
        false => open(&folder).await?,
    };
    store.forget_old_drafts(clock.now()).await?;
    let state = AppState::new(store.clone(), clock).await?;
    let address = format!("http://{}", listener.local_addr()?);
    lock.say_address(&address)?;
    let outside = match options.listen {
        Some(address) => Some(open_outside(options, address, &folder, &state).await?),
        None => None,
    };
    let devices =
        devices::start(Host::new(state.clone()), options.devices, &options.lines.serial, &options.lines.assume).await?;
    let signals = signals::listen()?;
    print_line(&format!("Rimbook is open at {address}"));
    print_line(&format!("The book is in {}", folder.display()));
    if !options.no_browser {
        browser::open(&address);
    }
    let upkeep = tokio::spawn(upkeep::look_after(store.clone()));
    let shapes = tokio::spawn(read_shapes(state.clone()));
    if !options.demo && !options.no_backups {
        tokio::spawn(watch(state.clone()));
    }
    let pages = build_app(state);
    let answer = |door| {
        let (first, second) = (signals::nth(signals.clone(), 1), signals::nth(signals.clone(), 2));
        connections::serve(door, pages.clone(), ServerLimits::default(), first, second)
    };
    match outside {
        Some(outside) => drop(tokio::join!(answer(Door::here(listener)), answer(outside))),
        None => answer(Door::here(listener)).await,
    }
    drop(devices);
    upkeep.abort();
    shapes.abort();
    store.close().await;
    Ok(())
}

/// Goes on with old records, and reads the shapes on file, beside the first pages. What fails here fails again, and is told,
/// where a page asks.
async fn read_shapes(state: AppState) {
    if let Err(why) = state.go_on_with_old_records().await {
        tracing::warn!("what is left of old records is done at the next start: {why}");
    }
    if let Err(why) = state.read_shapes().await {
        tracing::warn!("the shapes on file were not read: {why}");
    }
    state.compare_old_shapes().await;
}

async fn listen(address: SocketAddr) -> Result<TcpListener, ServeError> {
    TcpListener::bind(address).await.map_err(|why| match why.kind() {
        std::io::ErrorKind::AddrInUse => ServeError::PortInUse(address.port()),
        _ => ServeError::Listen { address, why },
    })
}

/// Opens the door for other machines and says how they find it.
async fn open_outside(
    options: &Serve,
    address: SocketAddr,
    folder: &Path,
    state: &AppState,
) -> Result<Door, ServeError> {
    if !state.screens.is_locked() {
        return Err(ServeError::NoPassPhrase);
    }
    let door = OutsideDoor::new(options, address, folder)?;
    let listener = listen(address).await?;
    let port = listener.local_addr()?.port();
    for name in door.names.iter() {
        let host = if name.contains(':') { format!("[{name}]") } else { name.clone() };
        print_line(&format!(
            "Other screens open https://{host}:{port} (SHA-256 of its certificate {})",
            door.fingerprint
        ));
    }
    Ok(Door::outside(listener, door))
}

/// Opens the book. What a stopped filling left is removed.
async fn open(folder: &Path) -> Result<Store, ServeError> {
    let store = Store::open(folder).await?;
    remove_unfinished(folder)?;
    Ok(store)
}

/// Opens the book with the demonstration in it. A book that has a lab already is left as it is.
async fn open_with_demo(folder: &Path, jobs: Option<u64>, clock: Clock) -> Result<Store, ServeError> {
    let store = open(folder).await?;
    if let Some(lab) = store.find_lab().await? {
        print_line(&format!("The book already belongs to {}: nothing was added to it", lab.name));
        return Ok(store);
    }
    store.close().await;
    let mut told = ProgressLines::new();
    let summary =
        fresh_file::fill(folder, jobs, clock.today(), clock.now(), &mut |done, of| told.tell(done, of)).await?;
    print_line(&summary.to_string());
    open(folder).await
}

/// What is told while a large demonstration is written: a line each twentieth.
struct ProgressLines {
    began: Instant,
    told: u64,
}

impl ProgressLines {
    fn new() -> Self {
        Self { began: Instant::now(), told: 0 }
    }

    fn tell(&mut self, done: u64, of: u64) {
        let twentieth = done * 20 / of.max(1);
        if twentieth > self.told {
            self.told = twentieth;
            let seconds = self.began.elapsed().as_secs();
            print_line(&format!("Written: {done} of {of} jobs, {} % ({seconds} s)", done * 100 / of.max(1)));
        }
    }
}

/// Prints one line. A closed standard output does not stop the server.
fn print_line(line: &str) {
    if let Err(why) = writeln!(std::io::stdout(), "{line}") {
        tracing::debug!("cannot write to standard output: {why}");
    }
}
