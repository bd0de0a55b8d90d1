//! From the first run of an empty book to a receipt that stays the same, then new lenses from the job number alone.

use fantoccini::key::Key;
use rimbook::desk::packing::{ITEMS, Parcel};

use crate::driver::{Browser, Settings};
use crate::order::{fill_all, fill_order, name_the_lab};
use crate::running::Running;
use crate::trace::TracedPair;

#[tokio::test]
#[ignore = "a story in a real browser: cargo test -- --include-ignored"]
async fn one_order_from_first_run_to_receipt() {
    let home = tempfile::tempdir().unwrap();
    let rimbook = Running::start(home.path(), &[]);
    let browser = Browser::open(rimbook.address, Settings::default()).await;
    name_the_lab(&browser).await;
    take_the_order(&browser).await;
    let trace = TracedPair::read("09-gusset-rectangle.txt");
    trace_the_frame(&browser, &trace).await;
    take_the_lenses(&browser).await;
    lay_out(&browser, &trace).await;
    print_the_ticket(&browser).await;
    cut(&browser).await;
    check_twice(&browser).await;
    pack_and_send(&browser).await;
    let receipt = issue_the_receipt(&browser).await;
    new_lenses_from_the_number(&browser).await;
    the_receipt_stays_the_same(&browser, &receipt).await;
}

async fn take_the_order(browser: &Browser) {
    browser.press("Take an order").await;
    browser.arrives_at("/orders/").await;
    fill_order(browser).await;
    // The left eye in plus cylinder; a pupil and a height between the steps of the blocker.
    fill_all(browser, &[("rx_left", "-2.50 +0.75 x 170"), ("pd", "31.2/33"), ("height_right", "20.3")]).await;
    // What was understood, in both cylinder forms. Transposed by hand: sphere plus cylinder, the sign turned, the axis
    // by 90° (college opticianry course).
    browser.sees("#rx_right-understood .rx", "-2.25 -1.25 x 095").await;
    browser.sees("#rx_right-understood .rx", "-3.50 +1.25 x 005").await;
    browser.sees("#rx_left-understood .rx", "-2.50 +0.75 x 170").await;
    browser.sees("#rx_left-understood .rx", "-1.75 -0.75 x 080").await;
    // A slip of the finger is told at once, and put right.
    browser.fill("rx_right", "-225 -125").await;
    browser.sees("#rx_right-understood .error", "axis").await;
    browser.fill("rx_right", "-225 -125 95").await;
    browser.sees("#rx_right-understood .rx", "-2.25 -1.25 x 095").await;
    browser.choose("material", "Polycarbonate 1.59").await;
    browser.unfold("Prices, discount, tax").await;
    browser.fill("price_frame", "95").await;
    browser.fill("price_lens", "45").await;
    browser.fill("price_shipping", "7").await;
    browser.fill("payment", "192").await;
    browser.press("Review it first").await;
    // 95 for the frame, twice 45 for the lenses, 7 for the post.
    browser.sees(".bill-total", "$192.00").await;
    assert_eq!(browser.value("rx_left").await, "-2.50 +0.75 x 170", "what was typed stays as it was typed");
    // Two eyes in two forms are unusual enough to be asked about, once.
    browser.press("Take the order").await;
    browser.sees("p.warn", "One eye is written with plus cylinder").await;
    browser.click("label[for=seen]").await;
    browser.press("Take the order").await;
    browser.arrives_at("/jobs/1001").await;
    browser.sees(".job-no", "1001").await;
    browser.sees(".steps .next", "Shape next").await;
    assert_eq!(browser.text(".eye-left .rx.large").await, "-1.75 -0.75 x 080");
}

async fn trace_the_frame(browser: &Browser, trace: &TracedPair) {
    browser.click(".job-bar a.primary").await;
    browser.arrives_at("/jobs/1001/shape").await;
    browser.give_file("file", &trace.path).await;
    browser.press("Save this shape").await;
    browser.sees(".steps .next", "Lenses next").await;
    browser.open_page("/jobs/1001/shape").await;
    for (eye, outline) in ["right", "left"].iter().zip(&trace.eyes) {
        let figures = numbers(browser, &format!(".eye-{eye} .figures .num")).await;
        assert_near(figures[0], outline.a_mm, 0.006, "A");
        assert_near(figures[1], outline.b_mm, 0.006, "B");
        assert_eq!(browser.texts(&format!(".eye-{eye} svg .outline")).await.len(), 1, "both eyes are drawn");
    }
}

async fn take_the_lenses(browser: &Browser) {
    browser.click(".job-bar a.primary").await;
    browser.arrives_at("/jobs/1001/lenses").await;
    for eye in ["right", "left"] {
        browser.click(&format!("label[for=lens_{eye}-bought]")).await;
        browser.fill(&format!("diameter_{eye}"), "75").await;
        browser.fill(&format!("center_{eye}"), "1.5").await;
        browser.fill(&format!("source_{eye}"), "lot 4711").await;
    }
    browser.press("Take these lenses in hand").await;
    browser.sees(".steps .next", "Lay out and cut next").await;
}

async fn lay_out(browser: &Browser, trace: &TracedPair) {
    browser.open_page("/jobs/1001/layout").await;
    let [frame_pd, wanted] = [number(browser, "#frame-pd .num").await, number(browser, "#wanted-pd .num").await];
    assert_near(frame_pd, trace.frame_pd_mm(), 0.006, "frame PD = A + DBL");
    assert_near(wanted, 64.2, 0.001, "31.2 and 33");
    // Decentration of one eye: half of A and the bridge less its own pupil distance, and its height less half of B
    // (college opticianry course). The nose is to the viewer's right of the right eye, to the left of the left.
    let [right, left] = &trace.eyes;
    for (eye, outline, pd, height, to_the_right) in
        [("right", right, 31.2, 20.3, 1.0), ("left", left, 33.0, 20.0, -1.0)]
    {
        let (inward, up) = ((outline.a_mm + trace.dbl_mm) / 2.0 - pd, height - outline.b_mm / 2.0);
        let ways = browser.texts(&format!(".eye-{eye} .decentration .way")).await;
        assert_eq!(ways, ["in", "up"], "{eye}");
        let shown = numbers(browser, &format!(".eye-{eye} .decentration .num")).await;
        assert_near(shown[0], inward, 0.006, "decentration in");
        assert_near(shown[1], up, 0.006, "decentration up");
        let needs = number(browser, &format!(".eye-{eye} .needs .num")).await;
        let blank = outline.smallest_blank_mm(inward * to_the_right, up);
        assert_near(needs, blank + 2.0, 0.006, "smallest blank with 2 mm to spare");
        // The blocker goes in half millimeters; what it cannot do is nudged, and both together give the wanted place.
        let nudges = signed(browser, eye).await;
        let set_pd = number(browser, &format!(".eye-{eye} .set-pd .num")).await;
        let set_height = number(browser, &format!(".eye-{eye} .set-height .num")).await;
        assert_near((set_pd * 2.0).fract(), 0.0, 0.001, "a step of 0.5 mm");
        assert!(nudges.0.abs() <= 0.251 && nudges.1.abs() <= 0.251, "half a step at most: {nudges:?}");
        assert_near(set_pd - nudges.0, pd, 0.006, "towards the nose lowers the PD");
        assert_near(set_height + nudges.1, height, 0.006, "up raises the height");
    }
    let height = browser.run("return document.documentElement.scrollHeight").await;
    assert!(height.as_f64().unwrap() <= 800.0, "the layout fits a screen of 1280 by 800, but it is {height} high");
}

async fn print_the_ticket(browser: &Browser) {
    browser.click("main a[href='/jobs/1001/ticket']").await;
    browser.arrives_at("/jobs/1001/ticket").await;
    browser.sees(".sheet .number", "1001").await;
    browser.sees(".sheet", "Polycarbonate 1.59").await;
    // The bars are drawn, wide enough to be read: start, two digit pairs, check and stop of Code 128 are 68 modules
    // (ISO/IEC 15417), here of at least 0.33 mm, and both quiet zones.
    let width = browser.run("return document.querySelector('.barcode svg').getBoundingClientRect().width").await;
    let least_px = f64::from(68 + 20) * 0.33 / 25.4 * 96.0;
    assert!(width.as_f64().unwrap() >= least_px, "{width} px");
    // True size: the outline of the right lens is as wide on the sheet as its box.
    assert!(browser.has(".true-size svg").await && browser.has(".ruler-line svg").await);
    browser.click(".print-bar a").await;
    browser.arrives_at("/jobs/1001").await;
}

async fn cut(browser: &Browser) {
    browser.open_page("/jobs/1001/cut").await;
    browser.fill("size_right", "-0.05").await;
    browser.press("Both lenses are cut").await;
    browser.sees(".steps .next", "Check next").await;
}

async fn check_twice(browser: &Browser) {
    browser.open_page("/jobs/1001/check").await;
    // 6° off at a cylinder of 1.25 D, where 3° are allowed (ANSI Z80.1-2015 quick-reference guide).
    let heights = [("pd", "31/33"), ("height_right", "20"), ("height_left", "20")];
    fill_all(browser, &[("read_right", "-2.25 -1.25 x 101"), ("read_left", "-1.75 -0.75 x 80")]).await;
    fill_all(browser, &heights).await;
    browser.press("Check the pair").await;
    browser.sees(".verdict.fail", "Not passed").await;
    let failed = browser.texts("tr.fail").await;
    assert!(failed.len() == 1 && failed[0].contains("xis"), "only the right axis is out: {failed:?}");
    browser.open_page("/jobs/1001/packing").await;
    browser.sees(".notice", "Not yet").await;
    assert!(!browser.has("input[name=tick]").await, "a pair that did not pass cannot be packed");
    // Blocked anew and read again, this time off the two drums: the first is the sphere, the second the other meridian.
    browser.open_page("/jobs/1001/check").await;
    browser.click("label[for=how-drums]").await;
    fill_all(browser, &[("first_right", "-2.25"), ("second_right", "-3.50"), ("axis_right", "96")]).await;
    fill_all(browser, &[("first_left", "-1.75"), ("second_left", "-2.50"), ("axis_left", "80")]).await;
    fill_all(browser, &heights).await;
    browser.press("Check the pair").await;
    browser.sees(".steps .next", "Pack next").await;
    browser.open_page("/jobs/1001/check").await;
    browser.sees(".verdict.pass", "Passed").await;
    browser.sees("#earlier", "not passed").await;
}

async fn pack_and_send(browser: &Browser) {
    browser.open_page("/jobs/1001/packing").await;
    browser.sees(".notice", "nothing on record says that both lenses resist impact").await;
    assert!(!browser.has("input[name=tick]").await, "a pair without proof of impact resistance cannot be packed");
    browser.fill("certificate_right", "batch certificate 4711").await;
    browser.press("Record impact resistance").await;
    browser.sees("#impact dd", "supplier’s certificate: batch certificate 4711").await;
    assert_eq!(browser.texts("#impact dd").await.len(), 2, "the same for both lenses");
    for item in ITEMS.iter().filter(|item| item.applies_to(Parcel::Glasses)).skip(1) {
        browser.click(&format!("label[for=tick-{}]", item.key)).await;
    }
    browser.press("Packed").await;
    browser.sees(&format!("#tick-{}-error", ITEMS[0].key), "required before the pair is sent").await;
    browser.click(&format!("label[for=tick-{}]", ITEMS[0].key)).await;
    browser.press("Packed").await;
    browser.sees(".steps .next", "Send next").await;
    browser.open_page("/jobs/1001/packing").await;
    browser.press("Print the packing sheet").await;
    browser.sees(".sheet", "Odile Marrow").await;
    browser.open_page("/jobs/1001/shipment").await;
    browser.fill("carrier", "Parcel post").await;
    browser.fill("tracking", "SL 0042 7712").await;
    browser.press("Sent").await;
    browser.sees(".steps .done", "Send done").await;
    browser.open_page("/jobs/1001/shipment").await;
    browser.press("Print the shipping slip").await;
    browser.sees(".sheet", "3 Sedge Row").await;
    let slip = browser.text(".sheet").await;
    assert!(slip.contains("Pellmarsh") && slip.contains("00404"), "{slip}");
    assert!(
        !slip.contains("2.25") && !slip.contains("ens power"),
        "nothing of the prescription on the outside: {slip}"
    );
}

/// The receipt as it stands on its page.
async fn issue_the_receipt(browser: &Browser) -> String {
    browser.open_page("/jobs/1001/bill").await;
    assert_eq!(browser.text("#owed").await, "$0.00");
    browser.press("Issue the receipt").await;
    let path = browser.arrives_at("/receipts/").await;
    let receipt = browser.text(".sheet").await;
    for words in ["Saltmarsh Lens Post", "Odile Marrow", "$192.00", "V2103", "RT", "LT"] {
        assert!(receipt.contains(words), "{words} is not in {receipt}");
    }
    browser.reload().await;
    assert_eq!(browser.path().await, path, "a reload issues no second receipt");
    receipt
}

async fn the_receipt_stays_the_same(browser: &Browser, receipt: &str) {
    browser.open_page("/lab").await;
    browser.fill("name", "Saltmarsh Lens and Frame Post").await;
    browser.press("Save").await;
    browser.sees(".top-name", "Saltmarsh Lens and Frame Post").await;
    browser.open_page("/jobs/1001/bill").await;
    browser.click("#receipts a.job-link").await;
    browser.arrives_at("/receipts/").await;
    assert_eq!(browser.text(".sheet").await, receipt, "a receipt never changes");
}

async fn new_lenses_from_the_number(browser: &Browser) {
    browser.open_page("/").await;
    browser.sees("h1", "Today").await;
    // A scanner is a keyboard: it types the number and ends with Enter.
    browser.key(Key::Null).await;
    browser.type_here("/").await;
    browser.type_here("1001").await;
    browser.key(Key::Enter).await;
    browser.arrives_at("/jobs/1001").await;
    browser.press("New lenses for this frame").await;
    browser.sees("h1", "New lenses for the frame of job 1001").await;
    assert!(!browser.has("#frame_name, #frame_maker, #price_frame").await, "no frame is asked for");
    browser.sees("main", "Shape on file").await;
    assert_eq!((browser.value("pd").await, browser.value("height_left").await), ("31.2/33".into(), "20.00".into()));
    browser.fill("rx_right", "-2.75 -1.25 x 95").await;
    browser.fill("rx_left", "-1.75 -0.75 x 80").await;
    browser.press("Review it first").await;
    browser.sees(".eye-right", "Since last time").await;
    browser.press("Take the order").await;
    browser.arrives_at("/jobs/1002").await;
    browser.sees(".steps .next", "Lenses next").await;
    browser.sees(".eye-right .is-new", "0.50").await;
    browser.sees(".eye-left", "no change").await;
    browser.open_page("/jobs/1002/shape").await;
    browser.sees("dl.across", "job 1001").await;
    browser.open_page("/jobs/1002/ticket").await;
    browser.sees(".sheet", "no frame in the tray").await;
}

fn assert_near(found: f64, wanted: f64, within: f64, what: &str) {
    assert!((found - wanted).abs() <= within, "{what}: {found} on the page, {wanted:.3} worked out from the file");
}

async fn numbers(browser: &Browser, selector: &str) -> Vec<f64> {
    browser.find(selector).await;
    let texts = browser.texts(selector).await;
    texts.iter().map(|text| text.parse().unwrap_or_else(|_| panic!("{selector}: {texts:?}"))).collect()
}

/// The first figure there.
pub async fn number(browser: &Browser, selector: &str) -> f64 {
    numbers(browser, selector).await[0]
}

/// What is left to nudge of an eye: towards the nose, and up.
async fn signed(browser: &Browser, eye: &str) -> (f64, f64) {
    let mut found = (0.0, 0.0);
    for (i, amount) in numbers(browser, &format!(".eye-{eye} .nudge .num")).await.into_iter().enumerate() {
        let nudge = &browser.texts(&format!(".eye-{eye} .nudge")).await[i];
        match nudge.split_whitespace().last() {
            Some("in") => found.0 = amount,
            Some("out") => found.0 = -amount,
            Some("up") => found.1 = amount,
            Some("down") => found.1 = -amount,
            _ => assert_near(amount, 0.0, 0.001, nudge),
        }
    }
    found
}
