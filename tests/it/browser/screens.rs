//! What the browser shows, compared with the last accepted pictures. `ACCEPT=1` writes new ones, and that run fails.
//!
//! Two builds of a browser, or two machines, smooth the edges of letters and lines differently and may shift them by a
//! fraction of a pixel; positions, colours and words stay. Pictures are therefore compared as means over blocks of 4 by 4
//! pixels: an edge moved by half a pixel changes such a mean by an eighth of its contrast, which is 28 of 224 between ink
//! and paper; a letter, a mark or a colour that is missing changes it by 40 and more.

use std::path::{Path, PathBuf};

use super::chromium::{Browser, WITH_WEBGL, browser};
use super::sample_page::sample_page;
use image::RgbImage;
use serde_json::json;

const BLOCK: u32 = 4;
/// Largest difference of a block's mean, of 255; see above.
const LARGEST: f64 = 34.0;
/// Blocks that may differ more: a twentieth of a letter mark of 20 by 20 pixels would be one.
const MOST_BLOCKS: usize = 6;

/// Blocks whose means differ by more than antialiasing explains; `None` where the sizes differ.
fn different_blocks(one: &RgbImage, other: &RgbImage) -> Option<usize> {
    if one.dimensions() != other.dimensions() {
        return None;
    }
    let mean = |picture: &RgbImage, left: u32, top: u32, channel: usize| {
        let (width, height) = picture.dimensions();
        let (mut sum, mut count) = (0.0, 0.0);
        for y in top..(top + BLOCK).min(height) {
            for x in left..(left + BLOCK).min(width) {
                sum += f64::from(picture.get_pixel(x, y).0[channel]);
                count += 1.0;
            }
        }
        sum / count
    };
    let (width, height) = one.dimensions();
    let corners = (0..height)
        .step_by(BLOCK as usize)
        .flat_map(|top| (0..width).step_by(BLOCK as usize).map(move |left| (left, top)));
    let differs = |(left, top): &(u32, u32)| {
        (0..3).any(|channel| {
            (mean(one, *left, *top, channel) - mean(other, *left, *top, channel)).abs() > LARGEST
        })
    };
    Some(corners.filter(differs).count())
}

fn accepted(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/it/browser/accepted").join(format!("{name}.png"))
}

fn check(name: &str, shown: &RgbImage) {
    let path = accepted(name);
    let known = image::open(&path).ok().map(|picture| picture.to_rgb8());
    let blocks = known.as_ref().and_then(|known| different_blocks(known, shown));
    if blocks.is_some_and(|count| count <= MOST_BLOCKS) {
        return;
    }
    let folder = if std::env::var_os("ACCEPT").is_some() {
        path.parent().unwrap().to_owned()
    } else {
        Path::new(env!("CARGO_MANIFEST_DIR")).join("target/golden-difference")
    };
    std::fs::create_dir_all(&folder).unwrap();
    let written = folder.join(format!("{name}.png"));
    shown.save(&written).unwrap();
    panic!(
        "{name}: {blocks:?} blocks are not as accepted; look at {}, accept with ACCEPT=1",
        written.display()
    );
}

fn open(browser: &mut Browser, theme: &str, size: [u32; 2]) {
    let features = json!({ "features": [{ "name": "prefers-color-scheme", "value": theme }] });
    browser.call("Emulation.setEmulatedMedia", features);
    browser.open(&sample_page().address, size);
    browser.value("document.fonts.ready.then(() => 1)");
}

fn scroll_to(browser: &mut Browser, selector: &str) {
    browser.value(&format!("document.querySelector('{selector}').scrollIntoView()"));
    browser.settle();
}

/// The view in space is drawn by whatever graphics the machine has, and is held by `reading` instead.
#[test]
fn the_page_looks_as_accepted_on_phone_and_laptop_in_light_and_dark() {
    let Some(mut browser) = browser(&WITH_WEBGL) else { return };
    for (theme, size, device) in [
        ("light", [390, 844], "phone"),
        ("dark", [390, 844], "phone"),
        ("light", [1366, 768], "laptop"),
        ("dark", [1366, 768], "laptop"),
    ] {
        open(&mut browser, theme, size);
        if device == "phone" {
            // The sheet of the worst place covers the lower part of a phone: it is a picture of its own.
            browser.value("document.querySelector('#sheet [data-close]').click()");
        }
        browser.settle();
        check(&format!("{device}-{theme}-top"), &browser.picture());
        scroll_to(&mut browser, "#seam-hood-fender-left");
        check(&format!("{device}-{theme}-strip"), &browser.picture());
    }
}

/// The comparison finds what matters and lets pass what does not.
#[test]
fn a_missing_mark_is_found_and_a_shift_of_half_a_pixel_is_not() {
    let path = accepted("laptop-light-strip");
    let known = image::open(&path).unwrap().to_rgb8();
    let (width, height) = known.dimensions();
    let mut without = known.clone();
    // Paper over a square of the size of a letter mark where something is drawn.
    let paper = known.get_pixel(2, 2).0;
    let is_drawn = |left: u32, top: u32| {
        let inked = (0..20u32).flat_map(|y| (0..20u32).map(move |x| (x, y)));
        inked.filter(|(x, y)| known.get_pixel(left + x, top + y).0 != paper).count() > 80
    };
    let corner = (0..height - 20)
        .step_by(10)
        .flat_map(|top| (0..width - 20).step_by(10).map(move |left| (left, top)))
        .find(|(left, top)| is_drawn(*left, *top))
        .unwrap();
    for y in 0..20 {
        for x in 0..20 {
            without.get_pixel_mut(corner.0 + x, corner.1 + y).0 = paper;
        }
    }
    assert!(different_blocks(&known, &without).unwrap() > MOST_BLOCKS);
    let mut shifted = known.clone();
    for y in 0..height {
        for x in 1..width {
            let [left, own] = [known.get_pixel(x - 1, y).0, known.get_pixel(x, y).0];
            shifted.get_pixel_mut(x, y).0 =
                std::array::from_fn(|channel| u8::midpoint(left[channel], own[channel]));
        }
    }
    let found = different_blocks(&known, &shifted).unwrap();
    assert!(found <= MOST_BLOCKS, "{found}");
}
