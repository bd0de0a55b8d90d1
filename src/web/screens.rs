//! Who may look in: without a pass phrase whoever reaches this machine's own port, with one every screen that gave it.
//!
//! Sessions are kept in memory alone: no copy of the book holds one, and a restart ends them all. The cookie holds a random
//! mark of 256 bits, the memory its hash.

use std::convert::Infallible;
use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use argon2::password_hash::phc::{PasswordHash, Salt};
use argon2::{Argon2, PasswordHasher, PasswordVerifier};
use axum::Form as Posted;
use axum::extract::{FromRequest, FromRequestParts, Request, State};
use axum::http::request::Parts;
use axum::http::{Extensions, HeaderMap, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Redirect, Response};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use time::{Duration, OffsetDateTime};
use tokio::sync::Semaphore;
use unicode_normalization::UnicodeNormalization;
use uuid::Uuid;

use super::AppState;
use super::error::WebError;
use super::page::screens::ask_again;
use crate::desk::pass_phrase::WrongTries;
use crate::store::draft::Fields;
use crate::store::screen::{ScreenLock, acting_on};
use crate::store::{Store, StoreError};

/// Through which door a request came. The server says so of each one.
#[derive(Debug, Clone)]
pub struct Visitor {
    /// Where it comes from.
    pub address: SocketAddr,
    /// The names under which the pages may be asked for there; none for the door of this machine alone.
    pub outside: Option<Arc<[String]>>,
}

impl Visitor {
    /// Somebody at this machine.
    pub fn here() -> Self {
        Self { address: SocketAddr::from((Ipv4Addr::LOCALHOST, 0)), outside: None }
    }

    /// The visitor of a request.
    pub fn of(request: &Request) -> Self {
        Self::in_extensions(request.extensions())
    }

    fn in_extensions(extensions: &Extensions) -> Self {
        extensions.get().cloned().unwrap_or_else(Self::here)
    }

    /// The number of the place that wrong tries are counted for. One machine has a whole network of addresses in the newer
    /// protocol: its first half counts.
    pub fn place(&self) -> u128 {
        match self.address.ip().to_canonical() {
            IpAddr::V4(short) => u128::from(short.to_ipv6_mapped()),
            IpAddr::V6(long) => u128::from(long) >> 64 << 64,
        }
    }
}

impl<S: Sync> FromRequestParts<S> for Visitor {
    type Rejection = Infallible;
    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Infallible> {
        Ok(Self::in_extensions(&parts.extensions))
    }
}

/// The pass phrase and the screens that gave it.
#[derive(Debug, Clone)]
pub struct Screens {
    known: Arc<Mutex<KnownScreens>>,
}

#[derive(Debug)]
struct KnownScreens {
    lock: ScreenLock,
    sessions: Vec<ScreenSession>,
    tries: WrongTries,
}

/// A screen that gave the pass phrase.
#[derive(Debug, Clone)]
pub struct ScreenSession {
    /// Its place in the list of screens.
    pub id: Uuid,
    /// The name it gave itself.
    pub name: String,
    /// Where it is.
    pub from: String,
    pub begun_at: OffsetDateTime,
    pub seen_at: OffsetDateTime,
    mark: [u8; 32],
}

/// What came of a try to sign in.
#[derive(Debug, PartialEq, Eq)]
pub enum Try {
    /// The mark for the cookie.
    In(String),
    Wrong,
    /// Too many wrong ones: not even looked at.
    Wait(Duration),
}

/// One pass phrase is compared at a time: each takes 19 MiB and some tens of milliseconds.
static COMPARING: Semaphore = Semaphore::const_new(1);

/// So many screens at most; the one that was left alone longest is ended for the next.
const MOST_SESSIONS: usize = 50;

impl Screens {
    pub fn new(lock: ScreenLock) -> Self {
        Self { known: Arc::new(Mutex::new(KnownScreens { lock, sessions: Vec::new(), tries: WrongTries::default() })) }
    }

    /// Those of a book: its pass phrase, and nobody signed in.
    pub async fn of_book(store: &Store) -> Result<Self, StoreError> {
        Ok(Self::new(store.get_screen_lock().await?))
    }

    fn known(&self) -> MutexGuard<'_, KnownScreens> {
        self.known.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The pass phrase's hash and the idle time.
    pub fn lock(&self) -> ScreenLock {
        self.known().lock.clone()
    }

    /// Whether there is a pass phrase.
    pub fn is_locked(&self) -> bool {
        self.known().lock.hash.is_some()
    }

    /// Takes over a changed pass phrase or idle time. A changed pass phrase ends every session.
    pub fn change(&self, lock: ScreenLock) {
        let mut known = self.known();
        if known.lock.hash != lock.hash {
            known.sessions.clear();
        }
        known.lock = lock;
    }

    /// The session of a cookie, which is seen now. One left alone too long is ended.
    fn find(&self, headers: &HeaderMap, now: OffsetDateTime) -> Option<ScreenSession> {
        let mark = marks(headers).map(hash_of).collect::<Vec<_>>();
        let mut known = self.known();
        known.end_idle(now);
        let session = known.sessions.iter_mut().find(|session| mark.contains(&session.mark))?;
        session.seen_at = now;
        Some(session.clone())
    }

    /// The screens that are signed in, the newest first.
    pub fn list(&self, now: OffsetDateTime) -> Vec<ScreenSession> {
        let mut known = self.known();
        known.end_idle(now);
        known.sessions.iter().rev().cloned().collect()
    }

    /// Ends one session.
    pub fn end(&self, id: Uuid) {
        self.known().sessions.retain(|session| session.id != id);
    }

    /// Whether a phrase is the pass phrase. Wrong ones are slowed down by the place they come from.
    pub async fn compare(&self, phrase: &str, visitor: &Visitor, now: OffsetDateTime) -> Result<Option<Try>, WebError> {
        let hash = {
            let mut known = self.known();
            if let Some(wait) = known.tries.begin(visitor.place(), now) {
                return Ok(Some(Try::Wait(wait)));
            }
            known.lock.hash.clone()
        };
        let Some(hash) = hash else { return Ok(Some(Try::Wrong)) };
        let is_right = off_thread(normal(phrase), move |phrase| is_phrase(&phrase, &hash)).await?;
        if is_right {
            self.known().tries.was_right(visitor.place());
        }
        Ok((!is_right).then_some(Try::Wrong))
    }

    /// Begins a session for a screen that gave the pass phrase. Its mark is new: one that the browser brought counts nothing.
    pub fn begin(&self, name: String, visitor: &Visitor, now: OffsetDateTime) -> String {
        let mark = new_mark();
        let from = match visitor.outside {
            None => "this computer".to_owned(),
            Some(_) => visitor.address.ip().to_canonical().to_string(),
        };
        let session =
            ScreenSession { id: Uuid::now_v7(), name, from, begun_at: now, seen_at: now, mark: hash_of(&mark) };
        let mut known = self.known();
        if known.sessions.len() >= MOST_SESSIONS
            && let Some(oldest) = (0..known.sessions.len()).min_by_key(|index| known.sessions[*index].seen_at)
        {
            known.sessions.remove(oldest);
        }
        known.sessions.push(session);
        mark
    }

    /// Signs a screen in, if the phrase is right.
    pub async fn sign_in(
        &self,
        phrase: &str,
        name: String,
        visitor: &Visitor,
        now: OffsetDateTime,
    ) -> Result<Try, WebError> {
        Ok(match self.compare(phrase, visitor, now).await? {
            Some(refused) => refused,
            None => Try::In(self.begin(name, visitor, now)),
        })
    }
}

impl KnownScreens {
    fn end_idle(&mut self, now: OffsetDateTime) {
        let idle = Duration::minutes(self.lock.idle_minutes);
        // A clock that was put back ends a session too: nobody knows how long it was left alone.
        self.sessions.retain(|session| (-idle..=idle).contains(&(now - session.seen_at)));
    }
}

/// A pass phrase as it is compared: in one spelling of its letters, so that two keyboards make the same one.
pub fn normal(typed: &str) -> String {
    typed.nfkc().collect::<String>().trim().to_owned()
}

/// The hash of a new pass phrase: argon2id with the least memory and time that OWASP recommends (19 MiB, 2 passes), and a salt.
/// Source: OWASP Password Storage Cheat Sheet, the defaults of the argon2 crate (from memory).
pub async fn hash_phrase(phrase: String) -> Result<String, WebError> {
    let hash = off_thread(phrase, |phrase| {
        Argon2::default().hash_password(phrase.as_bytes()).map(|hash| hash.to_string()).map_err(|why| why.to_string())
    });
    hash.await?.map_err(WebError::Internal)
}

fn is_phrase(phrase: &str, hash: &str) -> bool {
    PasswordHash::new(hash).is_ok_and(|hash| Argon2::default().verify_password(phrase.as_bytes(), &hash).is_ok())
}

async fn off_thread<T: Send + 'static>(
    phrase: String,
    work: impl FnOnce(String) -> T + Send + 'static,
) -> Result<T, WebError> {
    let failed = |why: String| WebError::Internal(format!("pass phrase: {why}"));
    let _turn = COMPARING.acquire().await.map_err(|why| failed(why.to_string()))?;
    tokio::task::spawn_blocking(move || work(phrase)).await.map_err(|why| failed(why.to_string()))
}

/// 256 random bits of the system, in hexadecimal.
fn new_mark() -> String {
    const_hex::encode([Salt::generate().as_ref(), Salt::generate().as_ref()].concat())
}

fn hash_of(mark: &str) -> [u8; 32] {
    Sha256::digest(mark.as_bytes()).into()
}

/// The name of the cookie on this machine, and over TLS, where the browser then refuses any that another site could have set.
const COOKIE: &str = "rimbook-screen";
const SECURE_COOKIE: &str = "__Host-rimbook-screen";

/// The marks in the cookies of a request; a browser may send more than one of a name.
fn marks(headers: &HeaderMap) -> impl Iterator<Item = &str> {
    let pairs = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
    pairs.flat_map(|value| value.split(';')).filter_map(|pair| {
        let (name, mark) = pair.trim().split_once('=')?;
        [COOKIE, SECURE_COOKIE].contains(&name).then_some(mark)
    })
}

/// The header that gives a browser its mark: not for scripts, not for other sites, until the browser is closed. An empty
/// mark takes it away.
pub fn set_cookie(visitor: &Visitor, mark: &str) -> HeaderValue {
    let rest = "Path=/; HttpOnly; SameSite=Strict";
    let gone = if mark.is_empty() { "; Max-Age=0" } else { "" };
    let text = match visitor.outside {
        Some(_) => format!("{SECURE_COOKIE}={mark}; {rest}; Secure{gone}"),
        None => format!("{COOKIE}={mark}; {rest}{gone}"),
    };
    HeaderValue::from_str(&text).unwrap_or_else(|_| HeaderValue::from_static(""))
}

/// The session that a request belongs to, for the pages about sessions.
#[derive(Debug, Clone)]
pub struct SignedIn(pub ScreenSession);

/// Lets nobody past without the pass phrase, where there is one. Nobody from outside gets past where there is none.
pub(super) async fn ask_pass_phrase(State(state): State<AppState>, mut request: Request, next: Next) -> Response {
    let visitor = Visitor::of(&request);
    if is_open(request.uri().path()) {
        return next.run(request).await;
    }
    if !state.screens.is_locked() {
        return match visitor.outside {
            None => next.run(request).await,
            Some(_) => refuse("The book has no pass phrase, so it is open on its own machine only. Set one there."),
        };
    }
    match state.screens.find(request.headers(), state.clock.now()) {
        Some(session) => {
            request.extensions_mut().insert(SignedIn(session.clone()));
            acting_on(session.name, next.run(request)).await
        }
        None if request.method() == Method::GET => {
            let to = request.uri().path_and_query().map_or("/", |to| to.as_str());
            Redirect::to(&format!("/sign-in?to={}", const_hex::encode(to))).into_response()
        }
        None => answer_unsent(request, &state).await,
    }
}

/// A form that came after its session had ended. It goes back to the browser that sent it, and nowhere else.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Unsent {
    /// Where it was sent.
    pub path: String,
    pub fields: Fields,
}

/// The longest form that goes back, as JSON.
const LONGEST_UNSENT: usize = 200_000;

impl Unsent {
    /// The form of a request. None where it has files, or a pass phrase, or was sent by a script.
    async fn of(request: Request, state: &AppState) -> Option<Self> {
        let path = request.uri().path().to_owned();
        let by_script = request.headers().get("sec-fetch-mode").is_some_and(|mode| mode != "navigate");
        if by_script || path.starts_with("/lab/screens") || path.starts_with("/drafts/") {
            return None;
        }
        let Posted(fields) = Posted::<Fields>::from_request(request, state).await.ok()?;
        Some(Self { path, fields })
    }

    /// As it stands in a field of the page that asks for the pass phrase; nothing for one that is too long.
    fn to_json(&self) -> Option<String> {
        serde_json::to_string(self).ok().filter(|json| json.len() <= LONGEST_UNSENT)
    }
}

/// Asks for the pass phrase and keeps in the page what was typed.
async fn answer_unsent(request: Request, state: &AppState) -> Response {
    let unsent = Unsent::of(request, state).await.and_then(|unsent| unsent.to_json());
    match unsent.map(ask_again) {
        Some(Ok(page)) => page,
        Some(Err(why)) => why.into_response(),
        None => refuse(
            "This screen must give the pass phrase first. Open another page of Rimbook, sign in there, come back to this \
             one with the Back button and send it again: what you typed is still in the form.",
        ),
    }
}

fn refuse(why: &str) -> Response {
    WebError::Refused(StatusCode::UNAUTHORIZED, why.to_owned()).into_response()
}

/// What the page for signing in needs, and it itself.
fn is_open(path: &str) -> bool {
    path == "/sign-in" || path.starts_with("/static/")
}

#[cfg(test)]
mod tests {
    use time::macros::datetime;

    use super::*;

    const NOW: OffsetDateTime = datetime!(2026-11-25 16:00 UTC);

    fn headers(mark: &str) -> HeaderMap {
        let cookie = format!("theme=dark; {COOKIE}={mark}");
        HeaderMap::from_iter([(header::COOKIE, HeaderValue::from_str(&cookie).expect("a header"))])
    }

    #[tokio::test]
    async fn a_session_ends_when_it_is_left_alone_or_ended_or_the_phrase_is_changed() {
        let hash = hash_phrase("heron copper fjord tern".into()).await.expect("a hash");
        assert!(hash.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{hash}");
        let lock = ScreenLock { hash: Some(hash), idle_minutes: 30 };
        let screens = Screens::new(lock.clone());
        let here = Visitor::here();
        let minutes = |n| NOW + Duration::minutes(n);
        let sign_in = async |phrase: &str, now| screens.sign_in(phrase, "Counter".into(), &here, now).await;
        assert_eq!(sign_in("heron copper fjord", NOW).await.expect("tried"), Try::Wrong);
        let Ok(Try::In(mark)) = sign_in(" heron copper fjord tern ", NOW).await else { panic!("right") };
        assert!(mark.len() == 64 && screens.find(&headers(&mark), minutes(29)).is_some());
        assert!(screens.find(&headers(&mark), minutes(59)).is_some(), "each page counts from anew");
        assert!(screens.find(&headers(&mark), minutes(90)).is_none(), "left alone for 31 minutes");
        assert!(screens.find(&headers(&mark), minutes(59)).is_none(), "and stays ended");
        let Ok(Try::In(mark)) = sign_in("heron copper fjord tern", NOW).await else { panic!("right") };
        assert!(screens.find(&headers(&mark[..63]), NOW).is_none() && screens.find(&headers(""), NOW).is_none());
        screens.end(screens.list(NOW)[0].id);
        assert!(screens.find(&headers(&mark), NOW).is_none());
        let Ok(Try::In(mark)) = sign_in("heron copper fjord tern", NOW).await else { panic!("right") };
        screens.change(ScreenLock { idle_minutes: 45, ..lock.clone() });
        assert!(screens.find(&headers(&mark), NOW).is_some());
        screens.change(ScreenLock { hash: None, ..lock });
        assert!(screens.find(&headers(&mark), NOW).is_none());
    }

    #[test]
    fn one_place_is_one_machine() {
        let place = |text: &str| {
            let address = SocketAddr::new(text.parse().expect("an address"), 1);
            Visitor { address, outside: None }.place()
        };
        assert_eq!(place("192.0.2.7"), place("::ffff:192.0.2.7"));
        assert_ne!(place("192.0.2.7"), place("192.0.2.8"));
        assert_eq!(place("2001:db8:1:2:3:4:5:6"), place("2001:db8:1:2::1"));
        assert_ne!(place("2001:db8:1:2::1"), place("2001:db8:1:3::1"));
    }
}
