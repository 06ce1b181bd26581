//! What to measure: panels, seams, stations, tolerances. Data and its checks; no disk.
//!
//! In: the text of a plan and the curves that it names. Out: a [`Plan`] in which everything fits together.
//! Units: all lengths millimetres, whatever the file's unit. Frame: Car.
//! Does not read files (`files::read_plan` does) and does not measure.
//!
//! # To add a table
//! 1. Write `table_NAME.rs`: the type it makes, `pub(super) const KEYS`, and `pub(super) fn read(&Fields) -> Result<…>`
//!    (`table_decision.rs` is a small one to follow). `Fields` gives checked values in mm and makes the errors; every
//!    default is a named constant with its reason.
//! 2. Add its name to `KEYS` in `plan_text.rs`, a field to `PlanText` and to [`Plan`], and one arm in `PlanText::parse`
//!    and in `into_plan`. What needs the curves is checked in `into_plan`.
//! 3. Write it out in `write_plan.rs`, and add a good and a bad example to the tests there and in `plan_text/tests.rs`.

mod curve_reference;
mod fields;
mod names;
mod plan_error;
mod plan_text;
mod side_check;
mod table_adjuster;
mod table_align;
mod table_car;
mod table_decision;
mod table_finish;
mod table_lineup;
mod table_measurand;
mod table_panels;
mod table_scan;
mod table_seam;
mod types;
mod write_adjusters;
mod write_plan;

pub use curve_reference::CurveReference;
use fields::{check_count, contradiction};
pub use plan_error::{PlanError, PlanProblem};
pub use plan_text::PlanText;
pub use side_check::DoubtfulSide;
pub use table_adjuster::{Adjuster, AdjusterKind, AdjusterSetting, AdjusterWay, AdviceTerms, WayStep};
pub use table_align::{AlignTerms, DatumTarget, PointPair};
pub use table_car::CarTerms;
pub use table_decision::{DEFAULT_CAPABILITY, DEFAULT_CONFORMANCE, DEFAULT_COVERAGE_FACTOR, DecisionRule};
pub use table_finish::{EDGE_SHARE, FILM_U_SHARE, Film, FinishTerms, JudgedState, PanelFinish, ScannedState};
pub use table_lineup::{BarRow, Lineup, LineupKind};
pub use types::{
    FlushMethod, FlushSpec, GapMethod, GapSpec, Panel, PanelId, Plan, ScanTerms, Seam, SeamId, Side, Station,
    TaperSpec, Tolerance, Zone,
};
pub use write_plan::{panel_text, seam_text, to_toml};
