//! The places that the script fills: the view in three dimensions, and the sheet of the station that is pointed at.
//!
//! Without JavaScript or WebGL both stay hidden, and the flat views, strips, sections and table hold the same.

use maud::{Markup, html};

use crate::render::texts::Texts;

pub(super) fn space(texts: &Texts) -> Markup {
    let views = [
        ("above", texts.from_above),
        ("left", texts.from_left),
        ("right", texts.from_right),
        ("front", texts.from_front),
    ];
    html! {
        section id="space" hidden {
            h2 { (texts.view_title) }
            div class="stage" {
                canvas tabindex="0" role="img" aria-label=(texts.view_text) aria-describedby="space-help" {}
                div class="knobs" {
                    @for (name, words) in views { button type="button" data-view=(name) { (words) } }
                    button type="button" data-zoom="0.8" aria-label=(texts.zoom_in) { "+" }
                    button type="button" data-zoom="1.25" aria-label=(texts.zoom_out) { "−" }
                }
            }
            p class="muted" id="space-help" { (texts.view_help) }
        }
    }
}

pub(super) fn sheet(texts: &Texts) -> Markup {
    html! {
        aside id="sheet" hidden aria-label=(texts.station_word) {
            div class="row" {
                button type="button" data-step="-1" aria-label=(texts.previous) { "◀" }
                button type="button" data-step="1" aria-label=(texts.next) { "▶" }
                span class="links" {
                    a data-to="strip" href="#seams" { (texts.to_strip) }
                    a data-to="table" href="#readings" { (texts.to_table) }
                    a data-to="space" href="#space" { (texts.to_view) }
                }
                button type="button" data-close="1" aria-label=(texts.close) { "×" }
            }
            p id="words" role="status" aria-live="polite" {}
            div id="section" {}
        }
    }
}
