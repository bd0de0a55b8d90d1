//! The pages: the only room that knows HTTP.
//!
//! A handler reads: take the form, parse it into domain types, ask the store, show a page or go to the next one. A form that
//! is wrong is shown again with status 422 and a sentence beside each field; a form that is done answers 303 See Other, and
//! its key (see [`crate::store::draft`]) makes a second click land on the same page.

use std::sync::{Arc, RwLock};

use axum::Router;
use time::Date;

pub mod asked;
pub mod asset;
pub mod backups;
pub mod chrome;
pub mod clock;
pub mod devices;
pub mod download;
mod drawing;
pub mod edge_drawing;
pub mod error;
pub mod form;
pub mod guard;
pub mod measure;
mod memo;
pub mod needs;
mod off_thread;
pub mod old_records;
pub mod page;
pub mod photos;
pub mod refused_value;
pub mod router;
pub mod screens;
pub mod twins;
mod two_windows;
pub mod words;

use self::asked::RecentSearches;
use self::backups::Backups;
use self::clock::Clock;
use self::devices::Devices;
use self::memo::Memo;
use self::old_records::OldRecords;
use self::page::buying::BuyingData;
use self::page::today::Day;
use self::photos::Photos;
use self::screens::Screens;
use crate::desk::lab::Lab;
use crate::picture::{Ask, Reading};
use crate::store::changes::Changes;
use crate::store::{Store, StoreError};

/// What every handler may ask for. Cheap to clone, which every request does many times.
#[derive(Debug, Clone)]
pub struct AppState(Arc<Shared>);

impl std::ops::Deref for AppState {
    type Target = Shared;
    fn deref(&self) -> &Shared {
        &self.0
    }
}

/// What all handlers share.
#[derive(Debug)]
pub struct Shared {
    /// The book.
    pub store: Store,
    /// What time it is.
    pub clock: Clock,
    /// What is known of the backups.
    pub backups: Backups,
    /// The pass phrase, and the screens that gave it.
    pub screens: Screens,
    /// What was said with devices on the wire.
    pub devices: Devices,
    /// What was searched for.
    pub asked: RecentSearches,
    /// Photos of faces that are being measured.
    pub photos: Photos,
    /// Old records that are tried or brought in.
    pub old_records: OldRecords,
    /// The lab's own row, which every page shows and only one page changes.
    lab: RwLock<Option<Arc<Lab>>>,
    /// The outline that was read last, of which picture and how.
    reading: Memo<(String, Ask), Reading>,
    /// The shapes on file, to find those that look alike.
    twins: twins::Twins,
    /// What the open jobs need.
    needs: needs::Needs,
    /// What the first page states of a day.
    day: Memo<(Changes, Date), Day>,
    /// What the page of the lenses to buy states.
    to_buy: Memo<(Changes, Arc<Lab>), BuyingData>,
}

impl AppState {
    /// The state over an open book.
    pub async fn new(store: Store, clock: Clock) -> Result<Self, StoreError> {
        Self::with_backups(store, clock, Backups::default()).await
    }

    /// The same, with what is known of the backups already.
    pub async fn with_backups(store: Store, clock: Clock, backups: Backups) -> Result<Self, StoreError> {
        let lab = store.find_lab().await?.map(Arc::new);
        let screens = Screens::of_book(&store).await?;
        let (asked, photos) = (RecentSearches::default(), Photos::default());
        let (devices, old_records) = (Devices::default(), OldRecords::default());
        let (twins, needs) = (twins::Twins::default(), needs::Needs::default());
        let (reading, day, to_buy) = (Memo::default(), Memo::default(), Memo::default());
        let lab = RwLock::new(lab);
        let shared = Shared {
            store,
            clock,
            backups,
            screens,
            devices,
            asked,
            photos,
            old_records,
            lab,
            reading,
            twins,
            needs,
            day,
            to_buy,
        };
        Ok(Self(Arc::new(shared)))
    }

    /// The lab, once the first run has named it.
    pub fn find_lab(&self) -> Option<Arc<Lab>> {
        self.lab.read().unwrap_or_else(std::sync::PoisonError::into_inner).clone()
    }

    /// The lab. Every page but the first run stands behind [`router::first_run`], so there is one.
    pub fn lab(&self) -> Arc<Lab> {
        self.find_lab().unwrap_or_else(|| Arc::new(Lab::new(String::new(), String::new())))
    }

    /// Reads the lab's row again after it was changed.
    pub async fn reload_lab(&self) -> Result<(), StoreError> {
        let lab = self.store.find_lab().await?.map(Arc::new);
        *self.lab.write().unwrap_or_else(std::sync::PoisonError::into_inner) = lab;
        Ok(())
    }
}

/// The whole application: pages behind their guards. Tests call this too.
pub fn build_app(state: AppState) -> Router {
    guard::guarded(router::pages(state), guard::RequestLimits::default())
}
