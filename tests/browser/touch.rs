//! A tablet beside the edger, held upright and touched with wet hands: every control of the bench pages is 44 px high, and no page
//! is wider than the screen.

use crate::driver::{Browser, Settings};
use crate::running::Running;

/// What can be pressed or filled and is lower than that. A link inside a sentence is part of its line (WCAG 2.2, 2.5.8), a box to
/// tick is as high as its words, which tick it too, and what is folded away or for screen readers alone is not pressed.
const LOW: &str = "
  const inSentence = (a) => a.matches('a') && a.closest('p')?.textContent.trim().length > a.textContent.trim().length;
  return [...document.querySelectorAll('button, input, select, textarea, summary, a[href]')]
    .filter((at) => at.checkVisibility() && at.type !== 'hidden' && !inSentence(at) && !at.closest('.visually-hidden, .skip'))
    .map((at) => (['checkbox', 'radio'].includes(at.type) && at.labels[0]) || at)
    .map((at) => [at.getBoundingClientRect().height, at])
    .filter(([height]) => height > 1 && height < 43.5)
    .map(([height, at]) => `${height.toFixed(1)} ${at.outerHTML.slice(0, 120)}`)";

const WIDE: &str = "return document.documentElement.scrollWidth - innerWidth";

#[tokio::test]
#[ignore = "a story in a real browser: cargo test -- --include-ignored"]
async fn every_control_of_the_bench_can_be_hit_with_a_thumb() {
    let home = tempfile::tempdir().unwrap();
    let running = Running::start(home.path(), &["--demo"]);
    let browser = Browser::open(running.address, Settings::default()).await;
    browser.touch(800, 1280);
    browser.open_page("/").await;
    assert_eq!(browser.run("return matchMedia('(pointer: coarse)').matches").await, true);
    let mut low = Vec::new();
    for job in ["1110", "1118", "1120"] {
        for page in ["", "/shape", "/lenses", "/layout", "/edge", "/cut", "/ticket", "/check"] {
            let path = format!("/jobs/{job}{page}");
            browser.open_page(&path).await;
            let found = browser.run(LOW).await;
            low.extend(found.as_array().unwrap().iter().map(|one| format!("{path}: {}", one.as_str().unwrap())));
            let wide = browser.run(WIDE).await;
            assert!(wide.as_i64().unwrap() <= 0, "{path} is {wide} px too wide");
        }
    }
    low.sort_by_key(|one| one.split(": ").nth(1).map(str::to_owned));
    low.dedup_by_key(|one| one.split(": ").nth(1).map(str::to_owned));
    assert!(low.is_empty(), "{} too low:\n{}", low.len(), low.join("\n"));
}
