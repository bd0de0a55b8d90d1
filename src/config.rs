//! The command line and the data folder.

use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::path::{Path, PathBuf};

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
    /// Copy the book to a file and check the copy. Rimbook may be running meanwhile.
    Backup(Backup),
    /// Check every page and every row of a backup.
    Verify(Verify),
    /// Make a backup the book of a folder that has none.
    Restore(Restore),
    /// Write everything in the book as files that make sense without Rimbook: CSV, JSON, trace files, receipts.
    Export {
        /// A new or empty folder.
        folder: PathBuf,
        /// The folder that holds the book. Default: `rimbook` in your user data folder.
        #[arg(long, value_name = "DIR")]
        data: Option<PathBuf>,
    },
    /// Make a book of a folder that `rimbook export` wrote, in a folder that has none.
    Import {
        /// The folder with the export.
        folder: PathBuf,
        /// The folder that is to hold the book.
        #[arg(long, value_name = "DIR")]
        data: PathBuf,
    },
    /// Bring in the records of before Rimbook: trace files, and a table of customers, frames and jobs. Rimbook must be closed.
    OldRecords(OldRecordsCommand),
    /// Make a pair of keys for encrypted backups: the secret one in a new file; the public one is printed.
    NewKey {
        /// The file for the secret key.
        file: PathBuf,
    },
    /// Set the pass phrase of a book, typed on one line, or take it away. Rimbook must be closed.
    PassPhrase {
        /// The folder that holds the book. Default: `rimbook` in your user data folder.
        #[arg(long, value_name = "DIR")]
        data: Option<PathBuf>,
        /// Take the pass phrase away.
        #[arg(long)]
        remove: bool,
    },
    /// Hear tracers, blockers and edgers without the pages. Where the pages are open, start those with --devices instead.
    Devices(DevicesCommand),
    /// Start Rimbook when you log in, again after a crash, and put it among your programs.
    Install {
        /// The folder that holds the book. Default: `rimbook` in your user data folder.
        #[arg(long, value_name = "DIR")]
        data: Option<PathBuf>,
        /// Take all of that away again. The book stays.
        #[arg(long)]
        remove: bool,
    },
}

/// Hears devices without the pages.
#[derive(Debug, Args)]
pub struct DevicesCommand {
    /// The folder that holds the book. Default: `rimbook` in your user data folder.
    #[arg(long, value_name = "DIR")]
    pub data: Option<PathBuf>,
    /// The address of this machine that devices connect to. Default, without a serial port: 127.0.0.1:4129.
    #[arg(long, value_name = "ADDR", value_parser = read_devices)]
    pub listen: Option<SocketAddr>,
    /// Serial ports, and what devices do otherwise.
    #[command(flatten)]
    pub lines: DeviceLines,
}

/// Serial ports, and what devices do otherwise.
#[derive(Debug, Args)]
pub struct DeviceLines {
    /// Hear the device at a serial port of this machine, such as /dev/ttyUSB0 or COM3; with its speed /dev/ttyUSB0,19200,
    /// else 9600. May be given several times.
    #[arg(long, value_name = "PORT[,BAUD]", value_parser = read_serial)]
    pub serial: Vec<SerialPort>,
    /// What devices do otherwise than assumed, or one of them, named by its address or port: may be given several times.
    /// `rimbook shape read --help` lists names and choices.
    #[arg(long, value_name = "NAME=CHOICE[@DEVICE]")]
    pub assume: Vec<String>,
}

/// A serial port.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SerialPort {
    /// Its name on this machine.
    pub path: String,
    /// Its speed.
    pub baud: u32,
}

/// Copies the book to a file.
#[derive(Debug, Args)]
pub struct Backup {
    /// The new file. Default: one named after the moment, in the folder that the page *Backups* names.
    pub file: Option<PathBuf>,
    /// The folder that holds the book. Default: `rimbook` in your user data folder.
    #[arg(long, value_name = "DIR")]
    pub data: Option<PathBuf>,
    /// Encrypt it with the pass phrase in a file; `-` reads it from standard input.
    #[arg(long, value_name = "FILE", conflicts_with = "recipient")]
    pub passphrase_file: Option<PathBuf>,
    /// Encrypt it for a public key, `age1…`.
    #[arg(long, value_name = "KEY")]
    pub recipient: Option<String>,
}

/// Checks a backup.
#[derive(Debug, Args)]
pub struct Verify {
    /// The backup.
    pub file: PathBuf,
    /// What opens it, if it is encrypted.
    #[command(flatten)]
    pub unlock: Unlock,
}

/// Makes a backup the book of a folder.
#[derive(Debug, Args)]
pub struct Restore {
    /// The backup.
    pub file: PathBuf,
    /// The folder that is to hold the book.
    #[arg(long, value_name = "DIR")]
    pub data: PathBuf,
    /// Where there is a book already: keep that one under another name in the same folder. Stop Rimbook first.
    #[arg(long)]
    pub replace: bool,
    /// What opens it, if it is encrypted.
    #[command(flatten)]
    pub unlock: Unlock,
}

/// Brings in old records.
#[derive(Debug, Args)]
pub struct OldRecordsCommand {
    /// The folder with the trace files. Folders in it are read too.
    pub folder: PathBuf,
    /// The table, saved as CSV. Its columns are guessed from their heads.
    #[arg(long, value_name = "FILE")]
    pub csv: PathBuf,
    /// What a column holds, by its head or its number: `--column "Tray=number"`. May be given more than once; a wrong kind is
    /// answered with all there are.
    #[arg(long, value_name = "HEAD=KIND")]
    pub column: Vec<String>,
    /// Read 4/5/2019 as May 4. Default: by the days in the table, else as April 5.
    #[arg(long)]
    pub day_first: bool,
    /// The rim of frames that do not say it: metal, plastic, cord or drilled. Default: plastic.
    #[arg(long, value_name = "RIM")]
    pub rim: Option<String>,
    /// Leave out rows that cannot be brought in. Without this, one of them stops everything.
    #[arg(long)]
    pub leave_out: bool,
    /// Read everything and say what would be made, and write nothing.
    #[arg(long)]
    pub dry_run: bool,
    /// The folder that holds the book. Default: `rimbook` in your user data folder.
    #[arg(long, value_name = "DIR")]
    pub data: Option<PathBuf>,
}

/// What opens an encrypted backup.
#[derive(Debug, Args)]
pub struct Unlock {
    /// A file with its pass phrase; `-` reads it from standard input.
    #[arg(long, value_name = "FILE", conflicts_with = "key")]
    pub passphrase_file: Option<PathBuf>,
    /// The file with the secret key.
    #[arg(long, value_name = "FILE")]
    pub key: Option<PathBuf>,
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
    /// Let other machines in as well, over TLS, at this address of this machine, such as 192.168.1.20 or 192.168.1.20:4128.
    /// Needs a pass phrase.
    #[arg(long, value_name = "ADDR", value_parser = read_listen)]
    pub listen: Option<SocketAddr>,
    /// With --listen: a name or address that other machines open. More than one may be given.
    #[arg(long, value_name = "NAME", requires = "listen")]
    pub allow_host: Vec<String>,
    /// With --listen: a certificate of your own, in PEM form. Without one, Rimbook makes its own.
    #[arg(long, value_name = "FILE", requires_all = ["listen", "key"])]
    pub certificate: Option<PathBuf>,
    /// The key of that certificate, in PEM form.
    #[arg(long, value_name = "FILE", requires = "certificate")]
    pub key: Option<PathBuf>,
    /// Hear tracers, blockers and edgers at this address of this machine, such as 127.0.0.1:4129. The wire has no password:
    /// with another address than 127.0.0.1, whoever reaches it can send shapes and read jobs.
    #[arg(long, value_name = "ADDR", value_parser = read_devices)]
    pub devices: Option<SocketAddr>,
    /// Serial ports, and what devices do otherwise.
    #[command(flatten)]
    pub lines: DeviceLines,
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
    /// Make no daily backup, for a book that is only tried. With --demo none is made.
    #[arg(long)]
    pub no_backups: bool,
}

/// The folder that holds the book: the named one, or the user's data folder if the system has one.
pub fn folder(named: Option<&Path>) -> Option<PathBuf> {
    named.map(Path::to_owned).or_else(|| Some(dirs::data_dir()?.join("rimbook")))
}

/// The port for other machines, where none is given.
const OUTSIDE_PORT: u16 = 4128;

/// The port for devices, where none is given.
pub const DEVICE_PORT: u16 = 4129;
/// The speed of a serial port, where none is given: the usual one of these devices (from memory).
const USUAL_BAUD: u32 = 9600;

fn read_devices(text: &str) -> Result<SocketAddr, String> {
    let address = text.parse().or_else(|_| text.parse::<IpAddr>().map(|ip| SocketAddr::new(ip, DEVICE_PORT)));
    address.map_err(|_| "an address of this machine is expected, such as 127.0.0.1:4129".to_owned())
}

fn read_serial(text: &str) -> Result<SerialPort, String> {
    let (path, baud) = match text.rsplit_once(',') {
        Some((path, baud)) => (path, baud.parse().ok().filter(|baud| (300..=4_000_000).contains(baud))),
        None => (text, Some(USUAL_BAUD)),
    };
    match baud {
        Some(baud) if !path.is_empty() => Ok(SerialPort { path: path.to_owned(), baud }),
        _ => Err("a port of this machine and its speed are expected, such as /dev/ttyUSB0,9600".to_owned()),
    }
}

impl DevicesCommand {
    /// The folder that holds the book.
    pub fn folder(&self) -> Option<PathBuf> {
        folder(self.data.as_deref())
    }

    /// Where devices connect: nowhere where they are at serial ports alone.
    pub fn address(&self) -> Option<SocketAddr> {
        let usual = SocketAddr::from((Ipv4Addr::LOCALHOST, DEVICE_PORT));
        self.listen.or(self.lines.serial.is_empty().then_some(usual))
    }
}

fn read_listen(text: &str) -> Result<SocketAddr, String> {
    let address = text.parse().or_else(|_| text.parse::<IpAddr>().map(|ip| SocketAddr::new(ip, OUTSIDE_PORT)));
    let address = address.map_err(|_| "an address of this machine is expected, such as 192.168.1.20".to_owned())?;
    match address.ip().is_loopback() {
        true => Err("this machine's own pages are open at 127.0.0.1 anyway: give an address that others reach".into()),
        false => Ok(address),
    }
}

impl Serve {
    /// The folder that holds the book.
    pub fn folder(&self) -> Option<PathBuf> {
        folder(self.data.as_deref())
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
    fn devices_are_heard_where_they_are_asked_for() {
        let serve = Cli::parse_from(["rimbook"]).serve;
        assert!(serve.devices.is_none() && serve.lines.serial.is_empty(), "nowhere by themselves");
        let serve = Cli::parse_from(["rimbook", "--devices", "192.0.2.7", "--serial", "/dev/ttyUSB0,19200"]).serve;
        assert_eq!(serve.devices, Some(SocketAddr::from(([192, 0, 2, 7], DEVICE_PORT))));
        assert_eq!(serve.lines.serial, [SerialPort { path: "/dev/ttyUSB0".to_owned(), baud: 19200 }]);
        let alone = |more: &[&str]| match Cli::parse_from([&["rimbook", "devices"], more].concat()).command {
            Some(Command::Devices(devices)) => devices.address(),
            other => panic!("{other:?}"),
        };
        assert_eq!(alone(&[]), Some(SocketAddr::from(([127, 0, 0, 1], DEVICE_PORT))));
        assert_eq!(alone(&["--serial", "COM3"]), None);
        for wrong in [&["--devices", "bench.local"][..], &["--serial", ",9600"], &["--serial", "COM3,fast"]] {
            assert!(Cli::try_parse_from([&["rimbook"], wrong].concat()).is_err(), "{wrong:?}");
        }
    }

    #[test]
    fn listens_on_loopback_only_unless_told_otherwise() {
        let cli = Cli::parse_from(["rimbook", "--port", "5000"]);
        assert!(cli.serve.address().ip().is_loopback() && cli.serve.listen.is_none());
        let cli = Cli::parse_from(["rimbook", "--listen", "192.0.2.7", "--allow-host", "bench"]);
        assert!(cli.serve.address().ip().is_loopback(), "the door of this machine stays");
        assert_eq!(cli.serve.listen, Some(SocketAddr::from(([192, 0, 2, 7], OUTSIDE_PORT))));
        for wrong in [
            &["rimbook", "--listen", "127.0.0.1"][..],
            &["rimbook", "--listen", "bench.local"],
            &["rimbook", "--allow-host", "bench"],
            &["rimbook", "--listen", "192.0.2.7", "--key", "key.pem"],
        ] {
            assert!(Cli::try_parse_from(wrong).is_err(), "{wrong:?}");
        }
    }
}
