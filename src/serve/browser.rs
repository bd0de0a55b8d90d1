//! Opens the pages in the owner's browser.

use std::thread;

/// Opens an address in the usual browser, where there is a screen to show it on. The program does not wait for it.
pub fn open(address: &str) {
    if has_screen() {
        let address = address.to_owned();
        thread::spawn(move || open_and_wait(&address));
    }
}

/// The same for a program that ends then.
pub fn open_and_wait(address: &str) {
    if let Err(why) = webbrowser::open(address) {
        tracing::warn!("no browser could be opened: {why}");
    }
}

/// Whether a browser would have a screen. Without a graphical screen some systems would start a browser of the terminal, over what the terminal shows.
#[cfg(all(unix, not(target_os = "macos")))]
pub fn has_screen() -> bool {
    ["DISPLAY", "WAYLAND_DISPLAY"].iter().any(|name| std::env::var_os(name).is_some_and(|value| !value.is_empty()))
}

/// Whether a browser would have a screen: always, here.
#[cfg(not(all(unix, not(target_os = "macos"))))]
pub fn has_screen() -> bool {
    true
}
