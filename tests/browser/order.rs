//! What every story orders, and how it is typed: Odile Marrow's pair in a new Fjordline Kestrel.

use crate::driver::Browser;

/// The first run: the lab gets its name and address.
pub async fn name_the_lab(browser: &Browser) {
    browser.open_page("/").await;
    browser.arrives_at("/start").await;
    browser.fill("name", "Saltmarsh Lens Post").await;
    browser.fill("address", "4 Quay Lane\nPellmarsh PM 00401").await;
    browser.press("Open the book").await;
    browser.sees("h1", "Today").await;
}

/// Someone new with her address.
pub const CUSTOMER: [(&str, &str); 6] = [
    ("customer_name", "Odile Marrow"),
    ("line1", "3 Sedge Row"),
    ("city", "Pellmarsh"),
    ("region", "PM"),
    ("postcode", "00404"),
    ("phone", "555-0119"),
];

/// A frame that is not in the book; the stamped bridge is the DBL of the traced shape.
pub const FRAME: [(&str, &str); 6] = [
    ("frame_maker", "Fjordline"),
    ("frame_model", "Kestrel"),
    ("frame_color", "ink"),
    ("frame_eye_size", "53"),
    ("frame_bridge", "18"),
    ("frame_temple", "140"),
];

/// A prescription, the right eye in the shorthand of a hurried hand.
pub const PRESCRIPTION: [(&str, &str); 5] = [
    ("rx_right", "-225 -125 95"),
    ("rx_left", "-1.75 -0.75 x 80"),
    ("height_right", "20"),
    ("height_left", "20"),
    ("pd", "31/33"),
];

/// Types some fields of the page.
pub async fn fill_all(browser: &Browser, fields: &[(&str, &str)]) {
    for (id, text) in fields {
        browser.fill(id, text).await;
    }
}

/// Everything an order needs, on an empty order page.
pub async fn fill_order(browser: &Browser) {
    browser.unfold("Phone, e-mail").await;
    browser.unfold("A new frame").await;
    fill_all(browser, &CUSTOMER).await;
    fill_all(browser, &FRAME).await;
    browser.choose("frame_rim", "full rim, metal").await;
    fill_all(browser, &PRESCRIPTION).await;
}

/// Takes two bought lenses in hand for the first job.
pub async fn take_bought_lenses(browser: &Browser, diameter: &str) {
    browser.open_page("/jobs/1001/lenses").await;
    for eye in ["right", "left"] {
        browser.click(&format!("label[for=lens_{eye}-bought]")).await;
        browser.fill(&format!("diameter_{eye}"), diameter).await;
    }
    browser.press("Take these lenses in hand").await;
    browser.sees(".steps .next", "Lay out and cut next").await;
}
