//! Takes connections and answers what they ask: HTTP/1.1, so many at a time, each request within a time.

use std::convert::Infallible;
use std::io;
use std::pin::pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use axum::Router;
use axum::body::Body;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;
use tokio::task::{AbortHandle, JoinSet};
use tokio::time::{sleep, timeout};
use tokio_rustls::TlsAcceptor;
use tower::ServiceExt;

use super::tls::OutsideDoor;
use crate::web::screens::Visitor;

/// How much the server takes on.
#[derive(Debug, Clone, Copy)]
pub struct ServerLimits {
    /// Connections open at one time. Well below the number of files a process may open on any system.
    pub connections: usize,
    /// Time for the head of a request, and until a connection that nothing is asked on is closed.
    pub head: Duration,
    /// Time that answers have left when the program is to stop.
    pub stop: Duration,
}

impl Default for ServerLimits {
    fn default() -> Self {
        Self { connections: 200, head: Duration::from_secs(15), stop: Duration::from_secs(3) }
    }
}

/// The most lines and bytes of the head of a request. Browsers send some twenty lines, under 2 kB.
const HEAD_LINES: usize = 64;
const HEAD_BYTES: usize = 32 * 1024;

/// The open connections, oldest first.
struct Connections {
    tasks: JoinSet<()>,
    open: Vec<Connection>,
    most: usize,
}

struct Connection {
    task: AbortHandle,
    /// Whether a page is being made for it.
    is_working: Arc<AtomicBool>,
}

/// Where connections are taken.
pub struct Door {
    listener: TcpListener,
    outside: Option<OutsideDoor>,
}

impl Door {
    /// The door of this machine.
    pub fn here(listener: TcpListener) -> Self {
        Self { listener, outside: None }
    }

    /// One for other machines.
    pub fn outside(listener: TcpListener, outside: OutsideDoor) -> Self {
        Self { listener, outside: Some(outside) }
    }
}

impl Connections {
    fn open(&mut self, guest: Guest, stream: TcpStream) {
        let is_working = Arc::clone(&guest.is_working);
        let task = self.tasks.spawn(guest.answer(stream));
        self.open.push(Connection { task, is_working });
    }

    /// Makes room for one more. Half-sent requests and connections that nothing is asked on go first, the oldest of
    /// them: somebody who opens thousands pushes out their own, and the owner's newest is always let in.
    fn make_room(&mut self) {
        while self.tasks.try_join_next().is_some() {}
        self.open.retain(|connection| !connection.task.is_finished());
        if self.open.len() >= self.most {
            let idle = self.open.iter().position(|connection| !connection.is_working.load(Ordering::Relaxed));
            self.open.remove(idle.unwrap_or(0)).task.abort();
        }
    }
}

/// Serves until `stop` is done, then lets answers that are being made go out, until `at_once` is done or their time is
/// over.
pub async fn serve(
    door: Door,
    pages: Router,
    limits: ServerLimits,
    stop: impl Future<Output = ()>,
    at_once: impl Future<Output = ()>,
) {
    let (stopping, stopped) = watch::channel(false);
    let mut connections = Connections { tasks: JoinSet::new(), open: Vec::new(), most: limits.connections };
    let mut stop = pin!(stop);
    loop {
        let taken = tokio::select! {
            () = &mut stop => break,
            taken = door.listener.accept() => taken,
        };
        connections.make_room();
        match taken {
            Ok((stream, address)) => {
                let guest = Guest {
                    visitor: Visitor { address, outside: door.outside.as_ref().map(|outside| outside.names.clone()) },
                    acceptor: door.outside.as_ref().map(|outside| outside.acceptor.clone()),
                    pages: pages.clone(),
                    head: limits.head,
                    is_working: Arc::default(),
                    stopped: stopped.clone(),
                };
                connections.open(guest, stream);
            }
            Err(why) => wait_after(&why).await,
        }
    }
    // From here on a new connection is refused instead of waiting for an answer.
    drop(door);
    let _ = stopping.send(true);
    let all_done = async { while connections.tasks.join_next().await.is_some() {} };
    tokio::select! {
        _ = timeout(limits.stop, all_done) => {}
        () = at_once => {}
    }
    connections.tasks.shutdown().await;
}

/// A connection that broke off before it was taken needs no pause; anything else, such as too many open files, does.
async fn wait_after(why: &io::Error) {
    use io::ErrorKind::{ConnectionAborted, ConnectionRefused, ConnectionReset};
    if !matches!(why.kind(), ConnectionAborted | ConnectionRefused | ConnectionReset) {
        tracing::warn!("cannot take a connection: {why}");
        sleep(Duration::from_millis(100)).await;
    }
}

/// A connection, and what it takes to answer on it.
struct Guest {
    visitor: Visitor,
    acceptor: Option<TlsAcceptor>,
    pages: Router,
    head: Duration,
    is_working: Arc<AtomicBool>,
    stopped: watch::Receiver<bool>,
}

impl Guest {
    /// Answers every request of the connection. Its errors are those of the other side, who is gone then.
    async fn answer(self, stream: TcpStream) {
        // A page is written in one piece; the system need not wait for more of it.
        let _ = stream.set_nodelay(true);
        match &self.acceptor {
            None => self.talk(stream).await,
            Some(acceptor) => {
                if let Ok(Ok(stream)) = timeout(self.head, acceptor.accept(stream)).await {
                    self.talk(stream).await;
                }
            }
        }
    }

    async fn talk(&self, stream: impl AsyncRead + AsyncWrite + Unpin) {
        let service = service_fn(|mut request: hyper::Request<Incoming>| {
            request.extensions_mut().insert(self.visitor.clone());
            let (pages, is_working) = (self.pages.clone(), Arc::clone(&self.is_working));
            async move {
                is_working.store(true, Ordering::Relaxed);
                let answer = pages.oneshot(request.map(Body::new)).await;
                is_working.store(false, Ordering::Relaxed);
                answer.map_err(|never: Infallible| never)
            }
        });
        let connection = http1::Builder::new()
            .timer(TokioTimer::new())
            .header_read_timeout(self.head)
            .max_headers(HEAD_LINES)
            .max_header_size(HEAD_BYTES)
            .max_buf_size(2 * HEAD_BYTES)
            .serve_connection(TokioIo::new(stream), service);
        let mut connection = pin!(connection);
        let mut stopped = self.stopped.clone();
        tokio::select! {
            _ = connection.as_mut() => return,
            _ = stopped.wait_for(|is_stopping| *is_stopping) => {}
        }
        connection.as_mut().graceful_shutdown();
        let _ = connection.await;
    }
}
