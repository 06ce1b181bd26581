//! Results to bytes: tables, pictures, pages.
//!
//! In: judged seams and summaries. Out: bytes of CSV, Parquet, JSON, PNG, HTML, PDF, QIF. Units: mm.
//! Does not measure and does not touch the disk.
//!
//! Pictures are first lists of shapes ([`Picture`]) in inks that have a meaning ([`Ink`]); PNG and SVG are made from the
//! same list, so that paper, page and file show the same drawing.

mod advice_csv;
mod advice_directions;
mod advice_findings;
mod advice_json;
mod advice_page;
mod advice_strip;
mod advice_texts;
mod advice_words;
mod batch_overview;
mod blocks;
mod callouts;
mod car_axes;
mod change_strip;
mod changes_csv;
mod closing;
mod comparison_json;
mod comparison_page;
mod control_picture;
mod edge_curves;
mod error;
mod finish_words;
mod finished_csv;
mod format;
mod found_key;
mod found_overview;
mod found_surface;
mod found_views;
mod ink;
mod lineup_picture;
mod lineup_table;
mod lineups_csv;
mod move_words;
mod overview;
mod packing;
mod page;
mod pdf;
mod picture;
mod raster;
mod read_back;
mod read_tapers;
#[cfg(feature = "parquet")]
mod readings_parquet;
mod record_json;
mod repeat_page;
mod repeat_tables;
mod residual_map;
mod results_qif;
mod ribbons;
mod run_facts;
mod scale;
mod seam_notes;
mod section;
mod section_view;
mod side_words;
mod strip;
mod strip_lane;
mod svg;
mod table_csv;
mod texts;
mod trend_picture;

pub use advice_csv::advice_csv;
pub use advice_findings::{fault_lines, leftover_lines, standing_lines};
pub use advice_json::{ADVICE_VERSION, advice_json, advice_schema};
pub use advice_page::advice_page;
pub use advice_strip::advice_strip_picture;
pub use advice_texts::AdviceTexts;
pub use advice_words::{advice_lines, advice_text, need_words, unseen_words};
pub use batch_overview::{overview_csv, overview_html};
pub use blocks::{Block, ExtraSection};
pub use car_axes::{FlatView, flat_views, seam_ends};
pub use change_strip::change_strip_picture;
pub use changes_csv::changes_csv;
pub use comparison_json::{COMPARISON_VERSION, ComparisonRecord, comparison_json, comparison_schema};
pub use comparison_page::comparison_page;
pub use control_picture::{ChartSubject, control_picture};
pub use edge_curves::{edges_csv, edges_dxf, edges_obj};
pub use error::RenderError;
pub use finished_csv::finished_csv;
pub use format::{length, length_with_unit, signed, sixty_fourths};
pub use found_overview::found_overview;
pub use ink::{Ink, Rgb, Severity, Theme, mark, severity};
pub use lineup_picture::{lineup_picture, lineup_png};
pub use lineups_csv::lineups_csv;
pub use move_words::describe_move;
pub use overview::{Backdrop, OverviewMark, OverviewPiece, OverviewSeam, overview_picture, overview_seams};
pub use page::{ReportSettings, report_html, strip_settings};
pub use pdf::{Paper, advice_pdf, report_pdf};
pub use picture::{Anchor, Area, Label, Picture, Place, SeamAxis, Shape, Stroke, Weight};
pub use raster::{font_bytes, png, text_width};
pub use read_back::{ReadBackError, read_readings, read_record};
pub use read_tapers::read_tapers;
#[cfg(feature = "parquet")]
pub use readings_parquet::{ScanReadings, readings_parquet};
pub use record_json::{RECORD_VERSION, Record, alignment_json, record_json, record_schema, taper_word};
pub use repeat_page::repeat_page;
pub use repeat_tables::{REPEAT_VERSION, RepeatRecord, repeat_csv, repeat_json, repeat_schema};
pub use residual_map::residual_map;
pub use results_qif::results_qif;
pub use run_facts::{InputFile, Results, RunFacts, RunWarning, Setting};
pub use scale::Scale;
pub use section::{SectionSettings, section_picture, section_png};
pub use side_words::describe_sides;
pub use strip::{StripSettings, strip_picture, strip_png};
pub use svg::{escape, svg};
pub use table_csv::readings_csv;
pub use texts::{BatchTexts, ComparisonTexts, Language, RepeatTexts, Texts, WarningTexts};
