//! Pointing and keys: strips, table, view in space and the sheet of a station lead to each other.

use super::chromium::{Browser, WITH_WEBGL, browser};
use super::sample_page::sample_page;

const LAPTOP: [u32; 2] = [1366, 768];

fn opened() -> Option<Browser> {
    let mut browser = browser(&WITH_WEBGL)?;
    let page = sample_page();
    browser.open(&page.address, LAPTOP);
    Some(browser)
}

/// Where an element's box has this share of its width and height, after scrolling to it.
fn place_in(browser: &mut Browser, selector: &str, share: [f64; 2]) -> [f64; 2] {
    browser.value(&format!("document.querySelector('{selector}').scrollIntoView({{ block: 'center' }})"));
    browser.settle();
    let asked = format!(
        "(() => {{ const box = document.querySelector('{selector}').getBoundingClientRect(); \
         return [box.left + box.width * {}, box.top + box.height * {}]; }})()",
        share[0], share[1]
    );
    let found = browser.value(&asked);
    [found[0].as_f64().unwrap(), found[1].as_f64().unwrap()]
}

const WORDS: &str = "document.getElementById('words').textContent";

#[test]
fn pointing_at_a_strip_shows_its_section_and_marks_row_and_place() {
    let Some(mut browser) = opened() else { return };
    let at = place_in(&mut browser, "#seam-hood-cowl .wide svg", [0.5, 0.4]);
    browser.mouse("mouseMoved", at);
    let words = browser.text(WORDS);
    assert!(words.starts_with("Hood to cowl, "), "{words}");
    assert!(browser.is("document.querySelectorAll('#section svg path').length > 8"), "a section is drawn");
    assert!(browser.is("document.querySelector('tr.on td').textContent === 'Hood to cowl'"));
    assert!(browser.is("document.querySelector('#seam-hood-cowl .cursor').getAttribute('d').length > 3"));
    // The row's numbers are those of the sheet.
    let gap = browser.text("document.querySelector('tr.on').cells[2].textContent");
    assert!(words.contains(&gap), "{words} has {gap}");
    // The middle of a strip is the middle of its seam.
    let along = browser.text("document.querySelector('tr.on').cells[1].textContent");
    let along_mm: f64 = along.trim_end_matches(" mm").parse().unwrap();
    let length_mm =
        browser.number("+document.querySelector('#seam-hood-cowl svg').dataset.axis.split(' ')[3]");
    assert!((along_mm / length_mm - 0.5).abs() < 0.06, "{along_mm} of {length_mm}");
}

#[test]
fn the_sheet_says_what_a_reading_warns_of() {
    let Some(mut browser) = opened() else { return };
    // The worst place, at which a laptop begins, is the last station of the second seam.
    let said = browser
        .text("[...document.querySelectorAll('#words .muted')].map((line) => line.textContent).join('|')");
    assert_eq!(
        said,
        "the surface beside an edge is used for less than 15 mm|a part of the surface is not seen"
    );
    browser.value("document.querySelector('#sheet [data-step=\"-1\"]').click()");
    browser.value("[1, 2, 3].forEach(() => document.querySelector('#sheet [data-step=\"-1\"]').click())");
    assert!(browser.is("document.querySelectorAll('#words .muted').length === 0"));
}

#[test]
fn pointing_at_a_seam_in_space_selects_it_and_dragging_turns_the_car() {
    let Some(mut browser) = opened() else { return };
    let corner = place_in(&mut browser, "#space canvas", [0.0, 0.0]);
    // The number of a seam stands at its middle.
    let pin = "(() => { const pin = [...document.querySelectorAll('.pins .number')].find((one) => one.textContent === '3' && !one.hidden); \
               return pin.style.transform.match(/-?[\\d.]+/g).map(Number); })()";
    let before = browser.value(pin);
    let at = [corner[0] + before[0].as_f64().unwrap(), corner[1] + before[1].as_f64().unwrap()];
    browser.mouse("mouseMoved", at);
    let words = browser.text(WORDS);
    assert!(words.starts_with("Hood to cowl, "), "{words}");
    browser.drag([corner[0] + 300.0, corner[1] + 60.0], [corner[0] + 380.0, corner[1] + 70.0]);
    let after = browser.value(pin);
    assert_ne!(before, after, "the car turned");
    browser.value("document.querySelector('[data-view=above]').click()");
    browser.settle();
    assert_ne!(browser.value(pin), after, "a button turns it too: WCAG 2.2, 2.5.7");
    // From above with the front to the left, the left fender's seam lies below the right one's.
    let height = |number: &str| {
        format!(
            "+[...document.querySelectorAll('.pins .number')].find((one) => one.textContent === '{number}').style.transform.match(/-?[\\d.]+/g)[1]"
        )
    };
    let [left, right] = ["1", "2"].map(|number| browser.number(&height(number)));
    assert!(left > right, "left {left}, right {right}");
}

#[test]
fn keys_step_along_a_strip_turn_the_view_and_close_the_sheet() {
    let Some(mut browser) = opened() else { return };
    browser.value("document.getElementById('seam-hood-nose').focus()");
    browser.key("Home");
    let now = "+document.getElementById('seam-hood-nose').getAttribute('aria-valuenow')";
    assert_eq!(browser.number(now), 0.0);
    for _ in 0..3 {
        browser.key("ArrowRight");
    }
    assert_eq!(browser.number(now), 3.0);
    assert!(browser.text(WORDS).starts_with("Hood to nose, "));
    browser.key("Escape");
    assert!(browser.is("document.getElementById('sheet').hidden"));
    browser.value("document.querySelector('#space canvas').focus()");
    let pins = "document.querySelector('.pins').innerHTML";
    let before = browser.text(pins);
    browser.key("ArrowLeft");
    let turned = browser.text(pins);
    assert_ne!(before, turned);
    browser.key("PageDown");
    assert!(browser.is("!document.getElementById('sheet').hidden"), "Page Down selects a station");
}

#[test]
fn the_links_of_the_sheet_lead_to_strip_row_and_view() {
    let Some(mut browser) = opened() else { return };
    let at = place_in(&mut browser, "#seam-hood-nose .wide svg", [0.3, 0.4]);
    browser.mouse("mouseMoved", at);
    browser.value("document.querySelector('[data-to=table]').click()");
    assert!(browser.is("document.activeElement === document.querySelector('tr.on')"));
    browser.key("ArrowDown");
    assert!(browser.is("document.activeElement === document.querySelector('tr.on')"), "the row moved on");
    browser.value("document.querySelector('[data-to=space]').click()");
    browser.settle();
    assert!(browser.is("document.activeElement.tagName === 'CANVAS'"));
    // The station now lies in the middle of the view.
    let middle = "(() => { const [x, y] = document.querySelector('.pins .spot').style.transform.match(/-?[\\d.]+/g).map(Number); \
                  const canvas = document.querySelector('#space canvas'); \
                  return Math.hypot(x - canvas.clientWidth / 2, y - canvas.clientHeight / 2); })()";
    assert!(browser.number(middle) < 2.0);
    browser.value("document.querySelector('[data-to=strip]').click()");
    assert!(browser.is("document.activeElement.id === 'seam-hood-nose'"));
}

#[test]
fn the_table_sorts_and_filters() {
    let Some(mut browser) = opened() else { return };
    browser.value("document.querySelectorAll('#readings th button')[2].click()");
    let gaps = "[...document.querySelectorAll('#readings tbody tr')].map((row) => row.cells[2].textContent).join(' ')";
    let rising = browser.text(gaps);
    let values: Vec<f64> =
        rising.split_whitespace().map(|text| text.replace('−', "-").parse().unwrap()).collect();
    assert!(values.len() > 100 && values.is_sorted(), "{rising}");
    assert!(rising.ends_with(' '), "what is unseen stands at the end");
    let choose = "(() => { const choice = document.getElementById('only-verdict'); choice.value = 'tight wide low high'; \
                  choice.dispatchEvent(new Event('change')); })()";
    browser.value(choose);
    let words = "[...new Set([...document.querySelectorAll('#readings tbody tr:not([hidden])')].map((row) => row.dataset.v))].join()";
    let shown = browser.text(words);
    assert!(
        shown.split(',').all(|pair| ["tight", "wide", "low", "high"].iter().any(|word| pair.contains(word))),
        "{shown}"
    );
    let counted = browser.text("document.getElementById('row-count').textContent");
    let rows = browser.number("document.querySelectorAll('#readings tbody tr:not([hidden])').length");
    assert_eq!(counted, format!("{rows} rows shown"));
}
