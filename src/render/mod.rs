//! Results to bytes: tables, pictures, pages.
//!
//! In: judged seams and summaries. Out: bytes of CSV, JSON, PNG, HTML. Units: mm.
//! Does not measure and does not touch the disk.
//!
//! Pictures are first lists of shapes ([`Picture`]) in inks that have a meaning ([`Ink`]); PNG and SVG are made from the
//! same list, so that paper, page and file show the same drawing.

mod error;
mod format;
mod ink;
mod picture;
mod raster;
mod scale;
mod section;
mod section_view;
mod strip;
mod strip_lane;
mod svg;
mod table_csv;
mod texts;

pub use error::RenderError;
pub use format::{length, length_with_unit, signed, sixty_fourths};
pub use ink::{Ink, Rgb, Severity, Theme, mark, severity};
pub use picture::{Anchor, Area, Label, Picture, Place, Shape, Stroke, Weight};
pub use raster::{font_bytes, png, text_width};
pub use scale::Scale;
pub use section::{SectionSettings, section_picture, section_png};
pub use strip::{StripSettings, strip_picture, strip_png};
pub use svg::{escape, svg};
pub use table_csv::readings_csv;
pub use texts::{Language, Texts};
