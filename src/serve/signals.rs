//! The signals that stop the program: Ctrl-C, an end of the service or the machine, a terminal window that is closed.

use std::io;

use tokio::sync::watch;

/// Listens from now on and counts them.
///
/// # Errors
///
/// The system's.
pub fn listen() -> io::Result<watch::Receiver<u32>> {
    let mut signals = Signals::new()?;
    let (count, counted) = watch::channel(0);
    tokio::spawn(async move {
        loop {
            signals.next().await;
            count.send_modify(|count| *count += 1);
        }
    });
    Ok(counted)
}

/// Returns when so many have arrived.
pub async fn nth(mut counted: watch::Receiver<u32>, n: u32) {
    if counted.wait_for(|count| *count >= n).await.is_err() {
        std::future::pending::<()>().await;
    }
}

#[cfg(unix)]
struct Signals(Vec<tokio::signal::unix::Signal>);

#[cfg(unix)]
impl Signals {
    fn new() -> io::Result<Self> {
        use tokio::signal::unix::{SignalKind, signal};
        let mut kinds = vec![signal(SignalKind::interrupt())?, signal(SignalKind::terminate())?];
        if !is_hangup_ignored() {
            kinds.push(signal(SignalKind::hangup())?);
        }
        Ok(Self(kinds))
    }

    async fn next(&mut self) {
        use std::task::Poll;
        std::future::poll_fn(|context| {
            let has_arrived = self.0.iter_mut().any(|signal| signal.poll_recv(context).is_ready());
            if has_arrived { Poll::Ready(()) } else { Poll::Pending }
        })
        .await;
    }
}

/// Whether whoever started the program told it to outlive the terminal, as `nohup` does.
#[cfg(unix)]
fn is_hangup_ignored() -> bool {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let ignored = status.lines().find_map(|line| line.strip_prefix("SigIgn:"));
    // Signal 1 is the lowest bit.
    ignored.and_then(|mask| u64::from_str_radix(mask.trim(), 16).ok()).is_some_and(|mask| mask & 1 == 1)
}

#[cfg(not(unix))]
struct Signals;

#[cfg(not(unix))]
impl Signals {
    fn new() -> io::Result<Self> {
        Ok(Self)
    }

    async fn next(&mut self) {
        if tokio::signal::ctrl_c().await.is_err() {
            std::future::pending::<()>().await;
        }
    }
}
