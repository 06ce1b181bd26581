//! Compares an output with the last accepted one. `ACCEPT=1` writes the new one, and that run still fails.
//! A picture or page that differs is laid beside the old one in `target/golden-difference/<name>.html`.

use std::fmt::Write;
use std::path::Path;

/// Checks `bytes` against `tests/it/golden/accepted/<name>`.
pub fn check(name: &str, bytes: &[u8]) {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let accepted = root.join("tests/it/golden/accepted").join(name);
    let old = std::fs::read(&accepted).unwrap_or_default();
    if old == bytes || (name.ends_with(".png") && are_same_pixels(&old, bytes)) {
        return;
    }
    if std::env::var_os("ACCEPT").is_some() {
        std::fs::create_dir_all(accepted.parent().unwrap()).unwrap();
        std::fs::write(&accepted, bytes).unwrap();
        panic!("{name} is accepted as it is now; run again without ACCEPT");
    }
    let folder = root.join("target/golden-difference");
    std::fs::create_dir_all(&folder).unwrap();
    let page = folder.join(format!("{name}.html"));
    std::fs::write(&page, difference_page(name, &old, bytes)).unwrap();
    panic!("{name} is not as accepted: look at {}, then accept with ACCEPT=1", page.display());
}

fn difference_page(name: &str, old: &[u8], new: &[u8]) -> String {
    let mut page = format!("<!doctype html><meta charset=utf-8><title>{name}</title><h1>{name}</h1>");
    if name.ends_with(".png") {
        let difference = picture_difference(old, new);
        for (title, bytes) in [("old", old), ("new", new), ("difference", difference.as_slice())] {
            let _ = write!(
                page,
                "<h2>{title}</h2><img style='max-width:100%' src='data:image/png;base64,{}'>",
                base64(bytes)
            );
        }
    } else {
        let (old, new) = (String::from_utf8_lossy(old), String::from_utf8_lossy(new));
        let (mut old_lines, mut new_lines) = (old.lines(), new.lines());
        page.push_str("<pre>");
        for number in 1.. {
            let (before, after) = (old_lines.next(), new_lines.next());
            if before.is_none() && after.is_none() {
                break;
            }
            if before != after {
                let [before, after] =
                    [before, after].map(|line| shutline::render::escape(line.unwrap_or("")));
                let _ = writeln!(page, "{number}: − {before}\n{number}: + {after}");
            }
        }
        page.push_str("</pre>");
    }
    page
}

/// True for the same picture, however it is packed.
fn are_same_pixels(old: &[u8], new: &[u8]) -> bool {
    let pixels = |bytes| image::load_from_memory(bytes).ok().map(|picture| picture.to_rgba8());
    pixels(old).is_some_and(|old| pixels(new).is_some_and(|new| old == new))
}

/// Black where both pictures agree; empty where they cannot be compared.
fn picture_difference(old: &[u8], new: &[u8]) -> Vec<u8> {
    let (Ok(old), Ok(new)) = (image::load_from_memory(old), image::load_from_memory(new)) else {
        return Vec::new();
    };
    let (old, mut new) = (old.to_rgb8(), new.to_rgb8());
    for (x, y, pixel) in new.enumerate_pixels_mut() {
        let before = old.get_pixel_checked(x, y).copied().unwrap_or(image::Rgb([0; 3]));
        pixel.0 = std::array::from_fn(|index| pixel.0[index].abs_diff(before.0[index]));
    }
    let mut bytes = std::io::Cursor::new(Vec::new());
    image::DynamicImage::from(new).write_to(&mut bytes, image::ImageFormat::Png).unwrap();
    bytes.into_inner()
}

fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::new();
    for three in bytes.chunks(3) {
        let word =
            three.iter().fold(0u32, |word, byte| word << 8 | u32::from(*byte)) << (8 * (3 - three.len()));
        for index in 0..4 {
            let letter = LETTERS[(word >> (18 - 6 * index) & 63) as usize] as char;
            out.push(if index <= three.len() { letter } else { '=' });
        }
    }
    out
}
