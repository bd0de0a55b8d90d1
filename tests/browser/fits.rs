//! Every page of the router on the demonstration's book, at three widths: none is wider than its window, and on paper
//! nothing stands outside its sheet.

use crate::driver::{Browser, Settings};
use crate::pages::{addresses, is_page};
use crate::running::Running;

/// Widths in pixels, each with a height: a telephone, an upright screen, a small laptop.
const VIEWS: [(u32, u32); 3] = [(400, 800), (800, 1280), (1280, 800)];

/// What is too wide, in words. A sheet is as wide as its paper and scrolls, so there its own edges count.
const TOO_WIDE: &str = "const found = []; const room = document.documentElement; \
    if (room.scrollWidth > innerWidth) found.push(`the page is ${room.scrollWidth} wide`); \
    for (const sheet of document.querySelectorAll('.sheet')) { \
        const edge = sheet.getBoundingClientRect().right + 1; \
        for (const part of sheet.querySelectorAll('*')) { \
            if (part.closest('.visually-hidden') === null && part.getBoundingClientRect().right > edge) \
                found.push(`outside the sheet: ${part.outerHTML.slice(0, 120)}`); } } \
    return found";

#[tokio::test]
#[ignore = "a story in a real browser: cargo test -- --include-ignored"]
async fn nothing_is_wider_than_its_page() {
    let home = tempfile::tempdir().unwrap();
    let rimbook = Running::start(home.path(), &["--demo"]);
    let browser = Browser::open(rimbook.address, Settings::default()).await;
    let mut found = Vec::new();
    let mut pages = 0;
    for path in addresses(&browser).await.iter().filter(|path| is_page(rimbook.address, path)) {
        browser.open_page(path).await;
        pages += 1;
        for (width, height) in VIEWS {
            browser.view(width, height);
            let too_wide = browser.run(TOO_WIDE).await;
            found.extend(too_wide.as_array().unwrap().iter().map(|what| format!("{width} {path}: {what}")));
        }
    }
    assert!(pages > 100, "only {pages} pages were found");
    assert!(found.is_empty(), "{} places:\n{}", found.len(), found.join("\n"));

    // The check itself: a wide line on a page and one on a sheet are found.
    for (path, place, what) in [("/", "main", "the page is"), ("/jobs/1001/slip", ".to", "outside the sheet")] {
        browser.open_page(path).await;
        let spoil = format!(
            "const wide = document.createElement('p'); wide.textContent = 'wide'; wide.style.minWidth = '3000px'; \
             document.querySelector('{place}').append(wide);"
        );
        let spoiled = browser.run(&format!("{spoil}\n{TOO_WIDE}")).await;
        assert!(spoiled.to_string().contains(what), "{path}: {spoiled}");
    }
    the_fullest_tickets_are_one_sheet(&browser).await;
    no_blocking_sheet_is_wider_than_its_paper(&browser).await;
}

/// A browser makes a page smaller that is wider than its paper, and its outlines with it. Blanks that are not chosen yet have the
/// longest words.
async fn no_blocking_sheet_is_wider_than_its_paper(browser: &Browser) {
    browser.as_printed(true);
    browser.view(1000, 2000);
    browser.open_page("/jobs/1119/shape/blocking-sheet?paper=a4").await;
    browser.find(".sheet .blocking").await;
    let too_wide = browser.run(TOO_WIDE).await;
    assert_eq!(too_wide.as_array().map(Vec::len), Some(0), "{too_wide}");
    browser.as_printed(false);
}

/// Two prisms, many warnings, a high shape: the demonstration's fullest tickets, on letter paper less the margins of
/// `@page ticket`.
async fn the_fullest_tickets_are_one_sheet(browser: &Browser) {
    const WIDTH: u32 = 720;
    const HIGHEST: f64 = 10.3 * 96.0;
    const HEIGHT: &str = "const sheet = document.querySelector('.ticket'); sheet.style.minBlockSize = 0; \
                          return sheet.getBoundingClientRect().height";
    browser.as_printed(true);
    // Higher than the sheet, so that no scroll bar takes from its width.
    browser.view(WIDTH, 2000);
    for job in [1009, 1024, 1029, 1035, 1048, 1069, 1078, 1104] {
        browser.open_page(&format!("/jobs/{job}/ticket?as=now")).await;
        let height = browser.run(HEIGHT).await.as_f64().unwrap();
        assert!((500.0..=HIGHEST).contains(&height), "the ticket of job {job} is {height} px high");
    }
    browser.as_printed(false);
}
