//! What to measure: panels, seams, stations, tolerances. Data and its checks; no disk.
//!
//! In: the text of a plan and the curves that it names. Out: a [`Plan`] in which everything fits together.
//! Units: all lengths millimetres, whatever the file's unit. Frame: Car.
//! Does not read files (`files::read_plan` does) and does not measure.

mod types;

pub use types::{
    FlushMethod, FlushSpec, GapMethod, GapSpec, Panel, PanelId, Plan, ScanTerms, Seam, SeamId, Side, Station,
    TaperSpec, Tolerance, Zone,
};
