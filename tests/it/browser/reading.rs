//! What is there to read: on phone and laptop, light and dark, with and without JavaScript and WebGL.

use super::chromium::{WITH_WEBGL, browser};
use super::sample_page::sample_page;
use serde_json::json;
use shutline::render::{Ink, Rgb, Severity, Theme};

const PHONE: [u32; 2] = [390, 844];
const LAPTOP: [u32; 2] = [1366, 768];

#[test]
fn the_page_loads_without_errors_and_fits_phone_and_laptop() {
    let Some(mut browser) = browser(&WITH_WEBGL) else { return };
    let page = sample_page();
    for size in [PHONE, LAPTOP] {
        browser.open(&page.address, size);
        assert!(browser.errors.is_empty(), "{size:?}: {:?}", browser.errors);
        let wide = browser.number("document.documentElement.scrollWidth");
        assert!(wide <= f64::from(size[0]), "{size:?}: scrolls sideways, {wide}");
        assert!(browser.is("!document.getElementById('space').hidden"), "the view in space is there");
        // WCAG 2.2, 2.5.8: a target is at least 24 by 24 CSS pixels (links within sentences are exempt).
        let small = "[...document.querySelectorAll('button,select')].filter((one) => { const box = one.getBoundingClientRect(); \
                     return box.width > 0 && (box.height < 24 || box.width < 24); }).map((one) => one.outerHTML).join()";
        assert_eq!(browser.text(small), "", "{size:?}");
    }
}

/// Nothing moves and every picture has words: WCAG 2.2, 1.1.1; headings do not leave out a level: 1.3.1.
#[test]
fn pictures_have_words_and_headings_have_an_order() {
    let Some(mut browser) = browser(&WITH_WEBGL) else { return };
    browser.open(&sample_page().address, LAPTOP);
    let mute = "[...document.querySelectorAll('svg,canvas')].filter((one) => !one.getAttribute('aria-label')).length";
    assert_eq!(browser.number(mute), 0.0);
    let levels = "[...document.querySelectorAll('h1,h2,h3')].map((one) => +one.tagName[1])";
    let levels = browser.value(levels);
    let levels: Vec<i64> = levels.as_array().unwrap().iter().map(|level| level.as_i64().unwrap()).collect();
    assert_eq!(levels.iter().filter(|level| **level == 1).count(), 1);
    assert!(levels.windows(2).all(|pair| pair[1] <= pair[0] + 1), "{levels:?}");
    assert_eq!(browser.text("document.documentElement.lang"), "en");
}

fn count(picture: &image::RgbImage, ink: Ink, theme: Theme) -> usize {
    let Rgb(red, green, blue) = ink.rgb(theme);
    picture.pixels().filter(|pixel| pixel.0 == [red, green, blue]).count()
}

/// Structure, not bytes: the inks of the verdicts are on the screen, in light and in dark.
#[test]
fn a_strip_on_the_screen_has_the_inks_of_its_verdicts() {
    let Some(mut browser) = browser(&WITH_WEBGL) else { return };
    let page = sample_page();
    for (theme, name) in [(Theme::Light, "light"), (Theme::Dark, "dark")] {
        let features = json!({ "features": [{ "name": "prefers-color-scheme", "value": name }] });
        browser.call("Emulation.setEmulatedMedia", features);
        browser.open(&page.address, LAPTOP);
        browser.value("document.getElementById('seam-hood-fender-left').scrollIntoView()");
        browser.settle();
        let picture = browser.picture();
        assert!(count(&picture, Ink::Paper, theme) > 200_000, "{name}: mostly paper");
        for ink in [Ink::Below(Severity::Severe), Ink::Good, Ink::Band] {
            assert!(count(&picture, ink, theme) > 200, "{name}: {ink:?}");
        }
        let other = if theme == Theme::Light { Theme::Dark } else { Theme::Light };
        assert_eq!(count(&picture, Ink::Below(Severity::Severe), other), 0, "{name}");
    }
}

#[test]
fn the_view_in_space_paints_surface_and_seams() {
    let Some(mut browser) = browser(&WITH_WEBGL) else { return };
    browser.open(&sample_page().address, LAPTOP);
    let painted = "(() => { const canvas = document.querySelector('#space canvas'); const copy = document.createElement('canvas'); \
        copy.width = canvas.width; copy.height = canvas.height; const pen = copy.getContext('2d'); pen.drawImage(canvas, 0, 0); \
        const data = pen.getImageData(0, 0, copy.width, copy.height).data; const counts = [0, 0, 0]; \
        for (let at = 0; at < data.length; at += 4) { if (data[at + 3] === 0) continue; counts[0] += 1; \
        if (data[at + 2] > data[at + 1] + 40) counts[1] += 1; if (data[at] > data[at + 2] + 60) counts[2] += 1; } return counts; })()";
    let counts = browser.value(painted);
    let [all, purple, orange] = [0, 1, 2].map(|index| counts[index].as_f64().unwrap());
    assert!(all > 20_000.0, "the surface: {counts}");
    assert!(purple > 100.0 && orange > 100.0, "seams that are out: {counts}");
    assert!(purple + orange < all / 4.0, "the surface is quiet: {counts}");
}

#[test]
fn without_javascript_pictures_and_tables_stay() {
    let Some(mut browser) = browser(&WITH_WEBGL) else { return };
    browser.call("Emulation.setScriptExecutionDisabled", json!({ "value": true }));
    browser.open_without_script(&sample_page().address, LAPTOP);
    let shown = |selector: &str| {
        format!(
            "[...document.querySelectorAll('{selector}')].filter((one) => one.getBoundingClientRect().height > 0).length"
        )
    };
    assert_eq!(browser.number(&shown("figure.strip .wide svg")), 4.0);
    assert!(browser.number(&shown("#readings tbody tr")) > 100.0);
    assert!(browser.number(&shown("figure svg")) >= 8.0);
    for hidden in ["#space", "#sheet", ".tools", ".only-script"] {
        assert_eq!(browser.number(&shown(hidden)), 0.0, "{hidden} would do nothing");
    }
}

#[test]
fn without_webgl_the_page_says_nothing_of_it_and_works() {
    let Some(mut browser) = browser(&["--disable-3d-apis"]) else { return };
    browser.open(&sample_page().address, LAPTOP);
    assert!(browser.errors.is_empty(), "{:?}", browser.errors);
    assert!(browser.is("document.getElementById('space').hidden"));
    assert!(browser.is("document.querySelector('[data-to=space]').hidden"));
    assert!(
        browser.is("!document.getElementById('sheet').hidden"),
        "the worst place is open beside the page"
    );
}
