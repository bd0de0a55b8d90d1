//! The day and the time on the pages are those on the wall, not those of UTC.

use time::macros::{datetime, offset};

use crate::support::TestLab;

#[tokio::test]
async fn near_midnight_the_pages_show_the_local_day() {
    let mut lab = TestLab::new().await;
    // (moment in UTC, zone, the day on the wall)
    for (now, zone, iso, in_words) in [
        (datetime!(2026-11-26 04:59:59 UTC), offset!(-5), "2026-11-25", "Wed Nov 25"),
        (datetime!(2026-11-26 05:00:00 UTC), offset!(-5), "2026-11-26", "Thu Nov 26"),
        (datetime!(2026-11-25 14:59:59 UTC), offset!(+9), "2026-11-25", "Wed Nov 25"),
        (datetime!(2026-11-25 15:00:00 UTC), offset!(+9), "2026-11-26", "Thu Nov 26"),
    ] {
        lab.move_to(now, zone).await;
        let title = lab.get("/").await.text(".title .soft");
        assert!(title.starts_with(in_words), "{now} at {zone}: {title}");
        let order = lab.get("/orders/new").await.location;
        let page = lab.get(&order).await;
        assert_eq!(page.attributes("#ordered_on", "value"), [iso], "{now} at {zone}");
    }
}

#[tokio::test]
async fn a_job_is_late_from_the_local_midnight_on() {
    let mut lab = TestLab::new().await;
    // Promised in ten days: December 5.
    lab.given_job().await;
    for (now, late) in [(datetime!(2026-12-06 04:59:59 UTC), 0), (datetime!(2026-12-06 05:00:00 UTC), 1)] {
        lab.move_to(now, offset!(-5)).await;
        assert_eq!(lab.get("/").await.texts(".mark.late").len(), late, "{now}");
    }
}

#[tokio::test]
async fn a_past_moment_is_shown_in_local_time() {
    let mut lab = TestLab::new().await;
    let number = lab.given_job().await;
    // Taken at 16:00 UTC on November 25.
    for (zone, when) in [
        (offset!(UTC), "Nov 25, 2026, 4:00 pm"),
        (offset!(-5), "Nov 25, 2026, 11:00 am"),
        (offset!(+9), "Nov 26, 2026, 1:00 am"),
    ] {
        lab.move_to(datetime!(2026-11-25 16:00 UTC), zone).await;
        let history = lab.get(&format!("/jobs/{number}")).await.text(".history");
        assert!(history.contains(when), "{zone}: {history}");
    }
}
