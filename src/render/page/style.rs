//! The page's style sheet: inks as custom properties for light, dark and print, the font, and the layout.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;

use crate::render::ink::{Ink, Rgb, Theme};
use crate::render::picture::Weight;
use crate::render::raster::font_bytes;

pub(in crate::render) fn style_sheet() -> String {
    format!("{}\n{}", font_and_inks(), include_str!("../page.css"))
}

/// What every page begins with: the font that pictures are measured with, and the inks for light and dark.
pub(in crate::render) fn font_and_inks() -> String {
    let faces: String = [(Weight::Regular, 400), (Weight::Bold, 600)]
        .map(|(weight, number)| {
            format!(
                "@font-face{{font-family:\"Barlow Semi Condensed\";font-weight:{number};src:url(data:font/ttf;base64,{})}}",
                STANDARD.encode(font_bytes(weight))
            )
        })
        .concat();
    let (light, dark) = (properties(Theme::Light), properties(Theme::Dark));
    format!("{faces}\n:root{{{light}}}\n@media screen and (prefers-color-scheme:dark){{:root{{{dark}}}}}")
}

fn properties(theme: Theme) -> String {
    Ink::ALL
        .map(|ink| {
            let Rgb(red, green, blue) = ink.rgb(theme);
            format!("--{}:#{red:02x}{green:02x}{blue:02x};", ink.css_name())
        })
        .concat()
}
