//! The PDF file round the pages.
//!
//! In: content streams with their tags. Out: bytes. Does not lay out.

use std::io::Write;

use pdf_writer::types::TabOrder;
use pdf_writer::{Filter, Finish, Pdf, Rect, Ref, TextStr};

use super::flow::Sheets;
use super::fonts::{Fonts, OBJECTS_PER_FONT};
use crate::render::picture::Weight;

/// A sheet of paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Paper {
    /// 210 by 297 mm (ISO 216).
    #[default]
    A4,
    /// 8.5 by 11 inches.
    Letter,
}

impl Paper {
    /// Width and height, points.
    #[must_use]
    pub const fn size(self) -> [f32; 2] {
        match self {
            Self::A4 => [595.276, 841.89],
            Self::Letter => [612.0, 792.0],
        }
    }
}

const CATALOG: i32 = 1;
const TREE: i32 = 2;
const INFO: i32 = 3;
const FONTS: i32 = 4;
const PAGES: i32 = FONTS + 2 * OBJECTS_PER_FONT;

pub(super) fn document(
    Sheets { pages, tags }: &Sheets,
    fonts: &Fonts,
    paper: Paper,
    title: &str,
    language: &str,
) -> Vec<u8> {
    let mut pdf = Pdf::new();
    let mut catalog = pdf.catalog(Ref::new(CATALOG));
    catalog.pages(Ref::new(TREE)).lang(TextStr(language));
    catalog.viewer_preferences().display_doc_title(true);
    catalog.mark_info().marked(true);
    let tree = PAGES + 2 * pages.len() as i32;
    catalog.pair(pdf_writer::Name(b"StructTreeRoot"), Ref::new(tree));
    catalog.finish();
    pdf.document_info(Ref::new(INFO)).title(TextStr(title)).creator(TextStr("shutline"));
    fonts.write(&mut pdf, FONTS);
    let page_ref = |index: usize| Ref::new(PAGES + 2 * index as i32);
    pdf.pages(Ref::new(TREE)).kids((0..pages.len()).map(page_ref)).count(pages.len() as i32);
    let [width, height] = paper.size();
    for (index, content) in pages.iter().enumerate() {
        let stream = Ref::new(PAGES + 2 * index as i32 + 1);
        let mut page = pdf.page(page_ref(index));
        page.media_box(Rect::new(0.0, 0.0, width, height)).parent(Ref::new(TREE)).contents(stream);
        page.struct_parents(index as i32).tab_order(TabOrder::StructureOrder);
        page.resources()
            .fonts()
            .pair(Fonts::name(Weight::Regular), Ref::new(FONTS))
            .pair(Fonts::name(Weight::Bold), Ref::new(FONTS + OBJECTS_PER_FONT));
        page.finish();
        pdf.stream(stream, &compressed(content.as_bytes())).filter(Filter::FlateDecode);
    }
    tags.write(&mut pdf, tree, &page_ref);
    pdf.finish()
}

/// Packed by zlib. Writing to memory cannot fail; should it, the stream is empty.
pub(super) fn compressed(bytes: &[u8]) -> Vec<u8> {
    let mut packer = flate2::write::ZlibEncoder::new(Vec::new(), flate2::Compression::default());
    let written = packer.write_all(bytes);
    packer.finish().ok().filter(|_| written.is_ok()).unwrap_or_default()
}
