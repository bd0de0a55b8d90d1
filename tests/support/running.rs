//! The real program as its owner starts it: its own process, a folder of its own, a port that is free.

#![allow(
    dead_code,
    clippy::unwrap_used,
    clippy::panic,
    reason = "each test target uses its part, and a failed step is a failed test"
)]

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::path::Path;
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::thread;
use std::time::{Duration, Instant};

/// Longer than any start takes on a slow machine under load; reached only by a program that hangs.
const PATIENCE: Duration = Duration::from_secs(60);

/// A program that serves its pages; stopped when dropped.
pub struct Running {
    child: Child,
    /// Where it listens.
    pub address: SocketAddr,
    /// What it printed until then.
    pub said: Vec<String>,
}

impl Running {
    /// Starts the built program on the book in `folder`, at a free port, and waits for the line that names its address.
    pub fn start(folder: &Path, more: &[&str]) -> Self {
        let mut command = rimbook();
        command.arg("--data").arg(folder).args(["--port", "0", "--no-browser"]).args(more);
        Self::run(command)
    }

    /// The same at a port of the test's choice.
    pub fn start_at(folder: &Path, port: &str) -> Self {
        let mut command = rimbook();
        command.arg("--data").arg(folder).args(["--port", port, "--no-browser"]);
        Self::run(command)
    }

    /// The same for a command line of the test's own.
    pub fn run(mut command: Command) -> Self {
        let mut child = command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::inherit()).spawn().unwrap();
        let lines = lines_of(child.stdout.take().unwrap());
        let mut said = Vec::new();
        let mut address = None;
        while let Ok(line) = lines.recv_timeout(PATIENCE) {
            address = address.or(line.strip_prefix("Rimbook is open at http://").map(|a| a.parse().unwrap()));
            let is_last = line.starts_with("The book is in ");
            said.push(line);
            if is_last {
                break;
            }
        }
        match address {
            Some(address) => Self { child, address, said },
            None => {
                let _ = child.kill();
                let _ = child.wait();
                panic!("no address in {said:?}");
            }
        }
    }

    /// One request; the head and the body of the answer.
    pub fn get(&self, path: &str) -> (String, String) {
        let host = self.address;
        ask(self.address, &format!("GET {path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n"))
    }
}

impl Running {
    /// Posts a form as a browser does.
    pub fn post(&self, path: &str, fields: &[(&str, &str)]) -> (String, String) {
        ask(self.address, &posted(self.address, path, fields))
    }

    /// The number of its process.
    pub fn process(&self) -> u32 {
        self.child.id()
    }

    /// Sends it a signal: `HUP`, `TERM`, `INT`, `KILL`.
    #[cfg(unix)]
    pub fn signal(&self, name: &str) {
        let sent = Command::new("kill").args(["-s", name, &self.child.id().to_string()]).status().unwrap();
        assert!(sent.success());
    }

    /// Waits until it has ended by itself; how long that took.
    pub fn ended(&mut self, within: Duration) -> Option<(ExitStatus, Duration)> {
        let began = Instant::now();
        loop {
            if let Some(status) = self.child.try_wait().unwrap() {
                return Some((status, began.elapsed()));
            }
            if began.elapsed() > within {
                return None;
            }
            thread::sleep(Duration::from_millis(10));
        }
    }
}

/// The bytes of a form that is posted as a browser does.
pub fn posted(host: SocketAddr, path: &str, fields: &[(&str, &str)]) -> String {
    let escape = |text: &str| -> String {
        let byte = |b: u8| if b.is_ascii_alphanumeric() { char::from(b).to_string() } else { format!("%{b:02X}") };
        text.bytes().map(byte).collect()
    };
    let form = fields.iter().map(|(n, v)| format!("{}={}", escape(n), escape(v))).collect::<Vec<_>>().join("&");
    format!(
        "POST {path} HTTP/1.1\r\nHost: {host}\r\nSec-Fetch-Site: same-origin\r\n\
         Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\nConnection: close\r\n\r\n{form}",
        form.len()
    )
}

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A start that was refused: how it ended and what it said.
pub struct Refused {
    pub status: ExitStatus,
    pub out: String,
    pub err: String,
}

/// Runs a command that should end by itself.
pub fn refused(command: &mut Command, input: &str) -> Refused {
    let mut child = command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    // A program that refuses at once may have closed its end already.
    let _ = child.stdin.take().unwrap().write_all(input.as_bytes());
    let until = Instant::now() + PATIENCE;
    while child.try_wait().unwrap().is_none() {
        if Instant::now() > until {
            let _ = child.kill();
            panic!("{command:?} goes on");
        }
        thread::sleep(Duration::from_millis(5));
    }
    let output = child.wait_with_output().unwrap();
    Refused {
        status: output.status,
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

/// The built program.
pub fn rimbook() -> Command {
    Command::new(env!("CARGO_BIN_EXE_rimbook"))
}

/// A port nobody listened on a moment ago.
pub fn free_port() -> u16 {
    TcpListener::bind(("127.0.0.1", 0)).unwrap().local_addr().unwrap().port()
}

/// Sends one HTTP/1.1 request and reads one answer that gives its length: the head and the body.
pub fn ask(address: SocketAddr, request: &str) -> (String, String) {
    try_ask(address, request).unwrap()
}

/// The same where nobody may be there any more.
pub fn try_ask(address: SocketAddr, request: &str) -> std::io::Result<(String, String)> {
    let mut stream = TcpStream::connect(address)?;
    stream.set_read_timeout(Some(PATIENCE))?;
    stream.write_all(request.as_bytes())?;
    let mut reader = BufReader::new(stream);
    let mut head = String::new();
    while reader.read_line(&mut head)? > 2 {}
    let length = head
        .lines()
        .filter_map(|line| line.split_once(':'))
        .find(|(name, _)| name.eq_ignore_ascii_case("content-length"))
        .and_then(|(_, length)| length.trim().parse().ok())
        .unwrap_or(0);
    let mut body = vec![0; length];
    reader.read_exact(&mut body)?;
    Ok((head, String::from_utf8_lossy(&body).into_owned()))
}

/// The lines a process prints, as they come. The thread ends with the process.
pub fn lines_of(out: impl Read + Send + 'static) -> Receiver<String> {
    let (send, lines) = channel();
    thread::spawn(move || {
        for line in BufReader::new(out).lines().map_while(Result::ok) {
            // Nobody listens any more once the test knows what it wants; the pipe is still emptied.
            let _ = send.send(line);
        }
    });
    lines
}
