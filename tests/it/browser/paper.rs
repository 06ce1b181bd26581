//! The page printed: the style sheet for paper, on A4 and Letter.

use super::chromium::{WITH_WEBGL, browser};
use super::sample_page::sample_page;
use serde_json::json;

#[test]
fn on_paper_the_page_is_plain_and_whole() {
    let Some(mut browser) = browser(&WITH_WEBGL) else { return };
    browser.open(&sample_page().address, [1366, 768]);
    for (name, size) in [("A4", [8.27, 11.69]), ("Letter", [8.5, 11.0])] {
        let printed = browser.print(size);
        assert!(printed.starts_with(b"%PDF-") && printed.len() > 50_000, "{name}: {} bytes", printed.len());
    }
    browser.call("Emulation.setEmulatedMedia", json!({ "media": "print" }));
    for hidden in ["#space", "#sheet", ".cursor", ".skip", ".narrow"] {
        let shown = format!(
            "[...document.querySelectorAll('{hidden}')].filter((one) => one.getBoundingClientRect().height > 0).length"
        );
        assert_eq!(browser.number(&shown), 0.0, "{hidden} is not for paper");
    }
    assert_eq!(browser.text("getComputedStyle(document.body).paddingRight"), "0px");
    assert_eq!(browser.number("[...document.querySelectorAll('figure.strip .wide svg')].length"), 4.0);
    // A printout of a dark screen has dark ink on light paper all the same.
    let dark = json!({ "media": "print", "features": [{ "name": "prefers-color-scheme", "value": "dark" }] });
    browser.call("Emulation.setEmulatedMedia", dark);
    assert_eq!(browser.text("getComputedStyle(document.body).color"), "rgb(31, 29, 26)");
}
