//! The program is killed while orders come in. What was answered as kept is there once; what was not is there once at most.

use std::collections::BTreeMap;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use sqlx::sqlite::SqliteConnectOptions;
use sqlx::{ConnectOptions, Connection};

use crate::shop::{Sent, Shop, new_key};

/// How often it is killed: a few times in every run, 200 times on request.
fn kills() -> u64 {
    std::env::var("RIMBOOK_KILLS").ok().and_then(|n| n.parse().ok()).unwrap_or(4)
}

/// What was sent: the name by its key, and the job if it was answered as kept.
#[derive(Default)]
struct Ledger {
    sent: Mutex<BTreeMap<String, (String, Option<String>)>>,
}

impl Ledger {
    fn answered(&self) -> usize {
        self.sent.lock().unwrap().values().filter(|(_, job)| job.is_some()).count()
    }

    /// Sends orders until told to stop.
    fn fill(&self, shop: &Shop, till: &AtomicBool) {
        while !till.load(Ordering::Relaxed) {
            let key = new_key();
            let name = format!("Customer {}", key.replace('-', " "));
            self.sent.lock().unwrap().insert(key.clone(), (name.clone(), None));
            match shop.send(&key, &name) {
                Sent::Kept(job) => self.sent.lock().unwrap().get_mut(&key).unwrap().1 = Some(job),
                Sent::Silence => {}
                Sent::Refused(head, page) => panic!("{head}{page}"),
            }
        }
    }
}

#[tokio::test]
async fn nothing_that_was_answered_is_lost_and_nothing_is_doubled() {
    let (home, ledger) = (tempfile::tempdir().unwrap(), Ledger::default());
    for kill in 0..kills() {
        let shop = Shop::open(home.path());
        let is_over = AtomicBool::new(false);
        std::thread::scope(|scope| {
            for _ in 0..3 {
                scope.spawn(|| ledger.fill(&shop, &is_over));
            }
            // On a busy machine the first answers take a while.
            let (before, until) = (ledger.answered(), Instant::now() + Duration::from_secs(30));
            while ledger.answered() < before + 2 && Instant::now() < until {
                std::thread::sleep(Duration::from_millis(5));
            }
            // Never twice after the same time: 200 kills fall on every part of a write.
            std::thread::sleep(Duration::from_millis(150 + kill * 37 % 400));
            shop.running.signal("KILL");
            is_over.store(true, Ordering::Relaxed);
        });
    }
    let shop = Shop::open(home.path());
    let sent = ledger.sent.lock().unwrap().clone();
    for (key, (name, job)) in sent.iter().filter(|(_, (_, job))| job.is_none()).take(50) {
        assert!(matches!(shop.send(key, name), Sent::Kept(_)), "{key} {job:?} can be sent again");
    }
    let mut book = SqliteConnectOptions::new().filename(home.path().join("rimbook.db")).connect().await.unwrap();
    let kept: Vec<(String, i64)> =
        sqlx::query_as("select c.name, j.number from job j join customer c on c.id = j.patient_id")
            .fetch_all(&mut book)
            .await
            .unwrap();
    let whole: String = sqlx::query_scalar("pragma integrity_check").fetch_one(&mut book).await.unwrap();
    book.close().await.unwrap();
    assert_eq!(whole, "ok");
    let mut jobs: BTreeMap<String, Vec<i64>> = BTreeMap::new();
    for (name, number) in kept {
        jobs.entry(name).or_default().push(number);
    }
    for (name, job) in sent.values() {
        let found = jobs.get(name).cloned().unwrap_or_default();
        assert!(found.len() <= 1, "{name} is doubled: {found:?}");
        if let Some(job) = job {
            assert_eq!(found.first().map(|number| format!("/jobs/{number}")).as_ref(), Some(job), "{name}");
        }
    }
    assert!(ledger.answered() as u64 > kills(), "there was a load: {} answered", ledger.answered());
    eprintln!("{} kills, {} orders answered as kept, none lost, none doubled", kills(), ledger.answered());
}
