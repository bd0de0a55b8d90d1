//! Runs a page that computes for long on a thread of its own. The threads that answer are two: on one of them such a page would
//! hold up every other, and the taking of connections too.

use axum::extract::Request;
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use tokio::runtime::Handle;
use tokio::sync::Semaphore;

use super::error::WebError;
use crate::store::screen::{acting_on, acting_screen};

/// So many at a time. More would take turns on the same processors, and memory besides.
static PLACES: Semaphore = Semaphore::const_new(4);

/// Runs the rest of a request there. What it computes is not stopped when nobody waits for it any more, but it ends.
pub(super) async fn run(request: Request, next: Next) -> Response {
    let Ok(place) = PLACES.acquire().await else { return next.run(request).await };
    let (here, screen) = (Handle::current(), acting_screen());
    let work = move || {
        let _place = place;
        here.block_on(async {
            match screen {
                Some(screen) => acting_on(screen, next.run(request)).await,
                None => next.run(request).await,
            }
        })
    };
    match tokio::task::spawn_blocking(work).await {
        Ok(answer) => answer,
        // The cause was written to the log where it happened.
        Err(why) => WebError::Internal(format!("a page ended: {why}")).into_response(),
    }
}

#[cfg(test)]
mod tests {
    use std::time::{Duration, Instant};

    use axum::Router;
    use axum::body::Body;
    use axum::middleware::from_fn;
    use axum::routing::get;
    use tower::ServiceExt;

    use super::*;

    /// One thread answers here: a page that holds it up would end before the other one.
    #[tokio::test]
    async fn other_pages_go_on_meanwhile() {
        let slow = || async {
            std::thread::sleep(Duration::from_millis(400));
            "slow"
        };
        let pages =
            Router::new().route("/slow", get(slow).layer(from_fn(run))).route("/quick", get(|| async { "quick" }));
        let ask = |path: &str| {
            let request = Request::get(path).body(Body::empty()).expect("a request");
            let pages = pages.clone();
            async move {
                let answer = pages.oneshot(request).await.expect("an answer");
                assert!(answer.status().is_success());
                Instant::now()
            }
        };
        let (slow, quick) = tokio::join!(ask("/slow"), ask("/quick"));
        assert!(slow > quick + Duration::from_millis(200));
    }
}
