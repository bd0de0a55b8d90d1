//! The page of the backups: where they go, one now, and the warning on every page.

use rimbook::store::backup;
use rimbook::web::clock::Clock;
use rimbook::web::{AppState, build_app};
use time::{Duration, OffsetDateTime, UtcOffset};

use crate::support::{NOW, TestLab};

fn clock(now: OffsetDateTime) -> Clock {
    Clock::Fixed { now, zone: UtcOffset::UTC }
}

/// The pages of a lab with what they know of its backups, at a moment.
async fn state_at(lab: &mut TestLab, now: OffsetDateTime, known: Option<&AppState>) -> AppState {
    let backups = known.map(|known| known.backups.clone()).unwrap_or_default();
    let state = AppState::with_backups(lab.store.clone(), clock(now), backups).await.unwrap();
    lab.app = build_app(state.clone());
    state
}

/// Presses the button of the page.
async fn back_up_now(lab: &TestLab) {
    let page = lab.get("/lab/backups").await;
    let key = page.attributes("form[action='/lab/backups/now'] input[name=key]", "value").remove(0);
    lab.post_as_is("/lab/backups/now", &[("key", key.as_str())]).await.assert_status(303);
}

fn warning(page: &crate::support::Answer) -> Vec<String> {
    page.texts("main > .notice.stop[role=status] p")
}

#[tokio::test]
async fn a_backup_is_made_at_the_press_of_a_button_and_once() {
    let lab = TestLab::new().await;
    lab.given_job().await;
    let page = lab.get("/lab/backups").await;
    page.assert_status(200);
    let key = page.attributes("form[action='/lab/backups/now'] input[name=key]", "value").remove(0);
    for _ in 0..2 {
        let done = lab.post_as_is("/lab/backups/now", &[("key", key.as_str())]).await;
        assert_eq!((done.status.as_u16(), done.location.as_str()), (303, "/lab/backups"));
    }
    let shelf = lab.store.backup_shelf().await.unwrap();
    let found = shelf.list().unwrap();
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(backup::verify(&found[0].path, None).await.unwrap().jobs, 1);
    let page = lab.get("/lab/backups").await;
    assert_eq!(page.texts("tbody th"), ["Nov 25, 2026, 4:00 pm"]);
    assert!(page.body.contains(&found[0].name.file_name()) && page.body.contains("One backup"));
    assert_eq!(lab.get("/lab").await.attributes("main a[href='/lab/backups']", "href").len(), 1);
}

#[tokio::test]
async fn the_folder_and_the_key_are_kept_and_wrong_ones_stand_beside_their_fields() {
    let lab = TestLab::new().await;
    let folder = lab.folder.path().join("stick");
    let key = backup::make_key(&lab.folder.path().join("key")).unwrap();
    let wrong = lab.post("/lab/backups", &[("folder", "stick"), ("recipient", "age1x")]).await;
    wrong.assert_status(422);
    assert_eq!(wrong.attributes("#folder", "value"), ["stick"]);
    assert!(wrong.texts("#folder-error")[0].contains("full path"));
    assert!(wrong.texts("#recipient-error")[0].contains("begins with age1"));
    let folder_text = folder.display().to_string();
    let right = [("folder", folder_text.as_str()), ("recipient", key.as_str())];
    lab.post("/lab/backups", &right).await.assert_status(303);
    assert_eq!(lab.store.get_backup_setting().await.unwrap().folder, folder_text);
    // A second window with the old page.
    let late = [("key", "backup-setting-0"), ("folder", ""), ("recipient", "")];
    let again = lab.post_as_is("/lab/backups", &late).await;
    again.assert_status(422);
    assert!(again.body.contains("another window"));
    // One that says what it was filled with saves what was changed in it, and no more.
    let filled = r#"[["folder",""],["recipient",""]]"#;
    let late = [("key", "backup-setting-0"), ("was", filled), ("folder", ""), ("recipient", key.as_str())];
    lab.post_as_is("/lab/backups", &late).await.assert_status(303);
    assert_eq!(lab.store.get_backup_setting().await.unwrap().folder, folder_text);
    back_up_now(&lab).await;
    let found = lab.store.backup_shelf().await.unwrap().list().unwrap();
    assert!(found[0].name.is_sealed && found[0].path.starts_with(&folder), "{found:?}");
    let secret = backup::Key::from_file(&lab.folder.path().join("key")).unwrap();
    backup::verify(&found[0].path, Some(&secret)).await.unwrap();
}

#[tokio::test]
async fn every_page_warns_of_backups_that_failed_or_are_old() {
    let mut lab = TestLab::new().await;
    let number = lab.given_job().await;
    let pages = ["/".to_owned(), "/lab".to_owned(), "/customers".to_owned(), format!("/jobs/{number}")];
    assert!(warning(&lab.get("/").await).is_empty(), "before the folder was looked at nothing is known");
    let state = state_at(&mut lab, NOW, None).await;
    back_up_now(&lab).await;
    for (hours, warns) in [(0, false), (48, false), (49, true)] {
        state_at(&mut lab, NOW + Duration::hours(hours), Some(&state)).await;
        for page in &pages {
            let said = warning(&lab.get(page).await);
            assert_eq!(!said.is_empty(), warns, "{page} after {hours} hours: {said:?}");
            assert!(said.iter().all(|says| says.contains("Nov 25, 2026")), "{said:?}");
        }
    }
    // The disk is gone: a file stands where the folder was.
    let stick = lab.folder.path().join("stick");
    lab.post("/lab/backups", &[("folder", &stick.display().to_string()), ("recipient", "")]).await.assert_status(303);
    std::fs::remove_dir_all(&stick).unwrap();
    std::fs::write(&stick, "").unwrap();
    let state = state_at(&mut lab, NOW, Some(&state)).await;
    state.backups.make(&lab.store, state.clock, |_| false).await;
    let page = lab.get("/").await;
    assert!(warning(&page)[0].starts_with("The last backup failed:"), "{:?}", warning(&page));
    assert_eq!(page.attributes("main > .notice a", "href"), ["/lab/backups"]);
    lab.get("/lab/backups").await.assert_status(200);
    // It is back.
    std::fs::remove_file(&stick).unwrap();
    state.backups.make(&lab.store, state.clock, |_| false).await;
    assert!(warning(&lab.get("/").await).is_empty());
}
