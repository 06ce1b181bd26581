//! The built-in font inside a PDF: glyphs, widths, and the way back to Unicode.
//!
//! In: texts. Out: glyph numbers as two bytes each, and the font's objects (ISO 32000-1, 9.7: composite fonts, Identity-H).
//! Characters that the font lacks become its empty box.

use std::cell::RefCell;
use std::collections::BTreeMap;

use ab_glyph::{Font, FontRef};
use pdf_writer::types::{CidFontType, FontFlags, SystemInfo, UnicodeCmap};
use pdf_writer::{Finish, Name, Pdf, Rect, Ref, Str};

use super::document::compressed;
use crate::render::error::RenderError;
use crate::render::picture::Weight;
use crate::render::raster::font_bytes;

const SYSTEM: SystemInfo<'static> =
    SystemInfo { registry: Str(b"Adobe"), ordering: Str(b"Identity"), supplement: 0 };
/// Objects that one font takes.
pub(super) const OBJECTS_PER_FONT: i32 = 5;

/// Both weights, and which glyphs were used.
pub(super) struct Fonts {
    regular: Face,
    bold: Face,
}

struct Face {
    font: FontRef<'static>,
    weight: Weight,
    used: RefCell<BTreeMap<u16, char>>,
}

impl Fonts {
    pub fn open() -> Result<Self, RenderError> {
        let face = |weight: Weight| {
            let font = FontRef::try_from_slice(font_bytes(weight)).map_err(|_| RenderError::Font)?;
            Ok::<_, RenderError>(Face { font, weight, used: RefCell::new(BTreeMap::new()) })
        };
        Ok(Self { regular: face(Weight::Regular)?, bold: face(Weight::Bold)? })
    }

    const fn face(&self, weight: Weight) -> &Face {
        match weight {
            Weight::Regular => &self.regular,
            Weight::Bold => &self.bold,
        }
    }

    /// The text as glyph numbers, big endian.
    pub fn glyphs(&self, text: &str, weight: Weight) -> Vec<u8> {
        let face = self.face(weight);
        let mut used = face.used.borrow_mut();
        text.chars()
            .flat_map(|letter| {
                let glyph = face.font.glyph_id(letter).0;
                used.entry(glyph).or_insert(letter);
                glyph.to_be_bytes()
            })
            .collect()
    }

    pub const fn name(weight: Weight) -> Name<'static> {
        match weight {
            Weight::Regular => Name(b"R"),
            Weight::Bold => Name(b"B"),
        }
    }

    /// Writes both fonts from object `first` on; the composite fonts are the first object of each.
    pub fn write(&self, pdf: &mut Pdf, first: i32) {
        write_face(pdf, &self.regular, first);
        write_face(pdf, &self.bold, first + OBJECTS_PER_FONT);
    }
}

fn write_face(pdf: &mut Pdf, face: &Face, first: i32) {
    let [whole, cid, descriptor, file, unicode] = [0, 1, 2, 3, 4].map(|step| Ref::new(first + step));
    let base: &[u8] = match face.weight {
        Weight::Regular => b"SHTLNA+BarlowSemiCondensed-Regular",
        Weight::Bold => b"SHTLNB+BarlowSemiCondensed-SemiBold",
    };
    let per_thousand = 1000.0 / face.font.units_per_em().unwrap_or(1000.0);
    let used = face.used.borrow();
    pdf.type0_font(whole)
        .base_font(Name(base))
        .encoding_predefined(Name(b"Identity-H"))
        .descendant_font(cid)
        .to_unicode(unicode);
    let mut font = pdf.cid_font(cid);
    font.subtype(CidFontType::Type2).base_font(Name(base)).system_info(SYSTEM).font_descriptor(descriptor);
    font.default_width(0.0).cid_to_gid_map_predefined(Name(b"Identity"));
    let mut widths = font.widths();
    for glyph in used.keys() {
        let advance = face.font.h_advance_unscaled(ab_glyph::GlyphId(*glyph)) * per_thousand;
        widths.consecutive(*glyph, [advance]);
    }
    widths.finish();
    font.finish();
    let (ascent, descent) =
        (face.font.ascent_unscaled() * per_thousand, face.font.descent_unscaled() * per_thousand);
    pdf.font_descriptor(descriptor)
        .name(Name(base))
        .flags(FontFlags::NON_SYMBOLIC)
        .bbox(Rect::new(-200.0, descent, 1400.0, ascent))
        .italic_angle(0.0)
        .ascent(ascent)
        .descent(descent)
        .cap_height(700.0)
        .stem_v(if face.weight == Weight::Bold { 110.0 } else { 80.0 })
        .font_file2(file);
    let bytes = font_bytes(face.weight);
    let packed = compressed(bytes);
    let mut stream = pdf.stream(file, &packed);
    stream.filter(pdf_writer::Filter::FlateDecode);
    stream.pair(Name(b"Length1"), bytes.len() as i32);
    stream.finish();
    let mut cmap = UnicodeCmap::<u16>::new(Name(b"Shutline"), SYSTEM);
    for (glyph, letter) in used.iter() {
        cmap.pair(*glyph, *letter);
    }
    pdf.cmap(unicode, &cmap.finish());
}
