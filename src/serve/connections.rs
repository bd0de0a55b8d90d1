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
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;
use tokio::task::{AbortHandle, JoinSet};
use tokio::time::{sleep, timeout};
use tower::ServiceExt;

/// How much the server takes on.
#[derive(Debug, Clone, Copy)]
pub struct Limits {
    /// Connections open at one time. Well below the number of files a process may open on any system.
    pub connections: usize,
    /// Time for the head of a request, and until a connection that nothing is asked on is closed.
    pub head: Duration,
    /// Time that answers have left when the program is to stop.
    pub stop: Duration,
}

impl Default for Limits {
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

impl Connections {
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
    listener: TcpListener,
    pages: Router,
    limits: Limits,
    stop: impl Future<Output = ()>,
    at_once: impl Future<Output = ()>,
) {
    let (stopping, stopped) = watch::channel(false);
    let mut connections = Connections { tasks: JoinSet::new(), open: Vec::new(), most: limits.connections };
    let mut stop = pin!(stop);
    loop {
        let stream = tokio::select! {
            () = &mut stop => break,
            taken = listener.accept() => taken.map(|(stream, _)| stream),
        };
        connections.make_room();
        match stream {
            Ok(stream) => open(&mut connections, stream, pages.clone(), limits.head, stopped.clone()),
            Err(why) => wait_after(&why).await,
        }
    }
    // From here on a new connection is refused instead of waiting for an answer.
    drop(listener);
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

fn open(
    connections: &mut Connections,
    stream: TcpStream,
    pages: Router,
    head: Duration,
    stopped: watch::Receiver<bool>,
) {
    let is_working = Arc::new(AtomicBool::new(false));
    let task = connections.tasks.spawn(answer(stream, pages, head, Arc::clone(&is_working), stopped));
    connections.open.push(Connection { task, is_working });
}

/// Answers every request of one connection. Its errors are those of the other side, who is gone then.
async fn answer(
    stream: TcpStream,
    pages: Router,
    head: Duration,
    is_working: Arc<AtomicBool>,
    mut stopped: watch::Receiver<bool>,
) {
    // A page is written in one piece; the system need not wait for more of it.
    let _ = stream.set_nodelay(true);
    let service = service_fn(move |request: hyper::Request<Incoming>| {
        let (pages, is_working) = (pages.clone(), Arc::clone(&is_working));
        async move {
            is_working.store(true, Ordering::Relaxed);
            let answer = pages.oneshot(request.map(Body::new)).await;
            is_working.store(false, Ordering::Relaxed);
            answer.map_err(|never: Infallible| never)
        }
    });
    let connection = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(head)
        .max_headers(HEAD_LINES)
        .max_header_size(HEAD_BYTES)
        .max_buf_size(2 * HEAD_BYTES)
        .serve_connection(TokioIo::new(stream), service);
    let mut connection = pin!(connection);
    tokio::select! {
        _ = connection.as_mut() => return,
        _ = stopped.wait_for(|is_stopping| *is_stopping) => {}
    }
    connection.as_mut().graceful_shutdown();
    let _ = connection.await;
}
