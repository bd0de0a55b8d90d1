//! Tracers, blockers and edgers on the wire: where they are listened to, over TCP or at a serial port.
//!
//! The wire knows no password. It is open on this machine alone unless the owner names another address, and then the
//! terminal and the page *Devices* say what that means.

pub mod host;
pub mod line;
mod tracer;

use std::collections::HashMap;
use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;
use std::time::Duration;

use tokio::net::TcpListener;
use tokio::sync::Semaphore;
use tokio::task::JoinSet;
use tokio::time::sleep;
use tokio_serial::SerialPortBuilderExt;

use self::host::Host;
use self::line::{DeviceLine, attend};
use super::{ServeError, listen, open, print_line, read_shapes, signals, upkeep};
use crate::config::{DEVICE_PORT, DevicesCommand, SerialPort};
use crate::shape::record::Assumptions;
use crate::store::FILE_NAME;
use crate::store::folder_lock::{FolderLock, LockError};
use crate::web::AppState;
use crate::web::clock::Clock;
use crate::web::devices::LineOpen;

/// Devices connected at one time; a lab has a handful.
const MOST_CONNECTED: usize = 8;
/// A connection on which nothing was said for so long is closed. A device connects again when it is used.
const IDLE: Duration = Duration::from_secs(3600);
/// How soon a serial port that cannot be opened, or was unplugged, is tried again.
const TRY_AGAIN: Duration = Duration::from_secs(5);
/// Why an address that others reach asks for care.
const OPEN_WIRE: &str = "whoever reaches this address can send shapes and read prescriptions and frames by job number, for the \
    wire has no password. Use it only in a network of the lab’s own";

/// What each device does otherwise than assumed.
#[derive(Debug, Clone, Default)]
pub struct DeviceAssumptions {
    every: Assumptions,
    of: HashMap<String, Assumptions>,
}

impl DeviceAssumptions {
    /// Reads `NAME=CHOICE` for every device and `NAME=CHOICE@DEVICE` for one: the address it connects from, or its port.
    ///
    /// # Errors
    ///
    /// What is wrong with one of them.
    pub fn read(given: &[String]) -> Result<Self, String> {
        let mut read = Self::default();
        let split = |one: &'_ str| -> (String, String, Option<String>) {
            let (switch, device) = match one.split_once('@') {
                Some((switch, device)) => (switch, Some(device.to_owned())),
                None => (one, None),
            };
            let (key, choice) = switch.split_once('=').unwrap_or((switch, ""));
            (key.to_owned(), choice.to_owned(), device)
        };
        let (for_every, for_one): (Vec<_>, Vec<_>) =
            given.iter().map(|one| split(one)).partition(|(.., device)| device.is_none());
        for (key, choice, _) in for_every {
            read.every.switch(&key, &choice).map_err(|why| why.to_string())?;
        }
        for (key, choice, device) in for_one {
            let every = read.every;
            let of = read.of.entry(device.unwrap_or_default()).or_insert(every);
            of.switch(&key, &choice).map_err(|why| why.to_string())?;
        }
        Ok(read)
    }

    /// Those of a device.
    pub fn of(&self, device: &str) -> Assumptions {
        self.of.get(device).copied().unwrap_or(self.every)
    }
}

/// Opens the book for devices alone, without pages, until the process receives a signal to stop.
///
/// # Errors
///
/// [`ServeError`], each a line for the terminal.
pub fn run(options: &DevicesCommand) -> Result<(), ServeError> {
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build()?;
    let end = runtime.block_on(serve_alone(options));
    runtime.shutdown_background();
    end
}

async fn serve_alone(options: &DevicesCommand) -> Result<(), ServeError> {
    let folder = options.folder().ok_or(ServeError::NoFolder)?;
    if !folder.join(FILE_NAME).is_file() {
        return Err(ServeError::NoBook(folder.display().to_string()));
    }
    let _lock = FolderLock::take(&folder).map_err(|why| held_elsewhere(why, options))?;
    let store = open(&folder).await?;
    let state = AppState::new(store.clone(), Clock::System).await?;
    let signals = signals::listen()?;
    let lines =
        start(Host::telling(state.clone()), options.address(), &options.lines.serial, &options.lines.assume).await?;
    print_line(&format!("The book is in {}", folder.display()));
    let upkeep = tokio::spawn(upkeep::look_after(store.clone()));
    let shapes = tokio::spawn(read_shapes(state));
    signals::nth(signals, 1).await;
    drop(lines);
    upkeep.abort();
    shapes.abort();
    store.close().await;
    Ok(())
}

/// Where another Rimbook has the book, that one can listen to devices.
fn held_elsewhere(why: LockError, options: &DevicesCommand) -> ServeError {
    if !matches!(why, LockError::Held { .. }) {
        return why.into();
    }
    let place = match (options.address(), options.lines.serial.first()) {
        (Some(address), _) => format!("--devices {address}"),
        (None, Some(port)) => format!("--serial {}", port.path),
        (None, None) => format!("--devices 127.0.0.1:{DEVICE_PORT}"),
    };
    ServeError::HeldFromDevices(format!("{why}. To hear devices there, close it and start it with: rimbook {place}"))
}

/// Listens to devices until what it gives back is dropped.
///
/// # Errors
///
/// An assumption that is none, or an address that cannot be listened at. A serial port may be plugged in later.
pub async fn start(
    host: Host,
    address: Option<SocketAddr>,
    serial: &[SerialPort],
    assume: &[String],
) -> Result<JoinSet<()>, ServeError> {
    let assumptions = Arc::new(DeviceAssumptions::read(assume).map_err(ServeError::Assumption)?);
    let mut lines = JoinSet::new();
    if let Some(address) = address {
        let listener = listen(address).await?;
        let address = listener.local_addr()?;
        let caution = (!address.ip().is_loopback()).then(|| OPEN_WIRE.to_owned());
        print_line(&format!("Devices are heard at {address}"));
        if let Some(caution) = &caution {
            print_line(&format!("Caution: {caution}."));
        }
        host.devices().set_line(LineOpen { place: address.to_string(), caution: caution.map(|why| why + ".") });
        lines.spawn(take_connections(listener, host.clone(), assumptions.clone()));
    }
    for port in serial {
        print_line(&format!("Devices are heard at {} ({} baud)", port.path, port.baud));
        lines.spawn(keep_port(port.clone(), host.clone(), assumptions.of(&port.path)));
    }
    Ok(lines)
}

/// Takes connections, so many at a time.
pub async fn take_connections(listener: TcpListener, host: Host, assumptions: Arc<DeviceAssumptions>) {
    let free = Arc::new(Semaphore::new(MOST_CONNECTED));
    let mut talks = JoinSet::new();
    loop {
        while talks.try_join_next().is_some() {}
        let Ok((stream, from)) = listener.accept().await else {
            // No file handles, say: they come back.
            sleep(TRY_AGAIN).await;
            continue;
        };
        let device = name_of(from.ip());
        let Ok(place) = free.clone().try_acquire_owned() else {
            host.say_trouble(&device, &format!("was turned away: {MOST_CONNECTED} devices are connected"));
            continue;
        };
        let line =
            DeviceLine { assumptions: assumptions.of(&device), device, idle: Some(IDLE), ..DeviceLine::default() };
        // An ACK and the answer after it are two short writes: they shall not wait for each other.
        let _ = stream.set_nodelay(true);
        let host = host.clone();
        talks.spawn(async move {
            attend(stream, line, &host).await;
            drop(place);
        });
    }
}

/// The address that a device connects from, as the owner writes it.
fn name_of(address: IpAddr) -> String {
    address.to_canonical().to_string()
}

/// Opens a serial port, and again after it was unplugged.
async fn keep_port(port: SerialPort, host: Host, assumptions: Assumptions) {
    let place = |caution: Option<String>| LineOpen { place: format!("{}, {} baud", port.path, port.baud), caution };
    loop {
        // Eight bits, no parity, one stop bit: the usual setting of these devices (from memory).
        match tokio_serial::new(&port.path, port.baud).open_native_async() {
            Ok(stream) => {
                host.devices().set_line(place(None));
                attend(stream, DeviceLine { assumptions, device: port.path.clone(), ..DeviceLine::default() }, &host)
                    .await;
            }
            Err(why) => host.devices().set_line(place(Some(format!("cannot be opened: {why}. It is tried again.")))),
        }
        sleep(TRY_AGAIN).await;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shape::record::assumption::{Acknowledgment, Refusal};

    #[test]
    fn assumptions_are_switched_for_all_or_for_one() {
        let given = ["refusal=as_unknown@192.0.2.7", "acknowledgment=not_sent", "escape=plain@/dev/ttyUSB0"];
        let read = DeviceAssumptions::read(&given.map(str::to_owned)).expect("all are in the table");
        let of = |device: &str| (read.of(device).acknowledgment, read.of(device).refusal);
        assert_eq!(of("192.0.2.7"), (Acknowledgment::NotSent, Refusal::AsUnknown));
        assert_eq!(of("/dev/ttyUSB0"), (Acknowledgment::NotSent, Refusal::Numbered));
        assert_eq!(of("192.0.2.8"), (Acknowledgment::NotSent, Refusal::Numbered));
        let wrong = DeviceAssumptions::read(&["refusal=maybe@x".to_owned()]).expect_err("no choice");
        assert_eq!(wrong, "“maybe” is not a choice of refusal; numbered, as_unknown was expected");
    }

    #[test]
    fn a_device_is_named_as_the_owner_writes_its_address() {
        assert_eq!(name_of("::ffff:192.0.2.7".parse().expect("an address")), "192.0.2.7");
    }
}
