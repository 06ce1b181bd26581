//! The only disk access: readers behind `scan::ScanSource`, plans and curves, writing beside and renaming.
//!
//! In: paths. Out: scans, plans, files. Units: mm.
//! Does not interpret what it reads. What it reads is hostile: nothing here is taken by an index that might not be there.

#![cfg_attr(not(test), deny(clippy::indexing_slicing))]

mod append_plan;
mod batch_folder;
mod block_buffer;
mod byte_source;
mod content_hash;
mod curve_csv;
mod curve_dxf;
mod curve_file;
mod curve_obj;
mod curve_ply;
mod dxf_blocks;
mod dxf_entity;
mod fixed_rows;
mod gltf_document;
mod laz_guard;
mod laz_points;
mod laz_times;
mod left_behind;
mod number_table;
mod nurbs;
mod open_scan;
mod output_folder;
mod pcd_packed;
mod pick_curve;
mod ply_faces;
mod ply_header;
mod ply_walk;
mod point_rows;
mod read_curve;
mod read_e57;
mod read_error;
mod read_gltf;
mod read_las;
mod read_obj;
mod read_pcd;
mod read_plan;
mod read_ply;
mod read_rehearsal;
mod read_results;
mod read_stl;
mod read_text_cloud;
mod row_sieve;
mod scalar;
mod scan_folder;
mod scan_labels;
mod sniff;
mod spool;
mod step;
mod text_rows;
mod unfinished;
mod unpack;
mod vertex_table;
mod write_ply;
mod zstd_window;

pub use append_plan::{AppendPlanError, append_to_plan};
pub use batch_folder::{BatchEntry, BatchFolderError, plan_hash, read_entries, results_folder};
pub use content_hash::{FileFacts, content_hash, text_hash};
pub use curve_file::{CurveFile, CurvePoints};
pub use open_scan::open_scan;
pub use output_folder::{OutputFolder, WriteError, spare_inputs, write_file};
pub use read_curve::read_curve;
pub use read_error::ReadError;
pub use read_plan::{PlanFile, ReadPlanError, read_plan, read_plan_files};
pub use read_rehearsal::{ReadRehearsalError, read_rehearsal};
pub use read_results::{ResultsText, read_results};
pub use scan_folder::{FoundScan, ScanFolderError, find_scans};
pub use scan_labels::{LabelsError, read_labels};
pub use unfinished::remove_unfinished;
pub use write_ply::{PlyLayout, PlyWriter};
