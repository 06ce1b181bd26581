//! What to rehearse on a whole body.
//!
//! In: code or TOML. Out: plain structs. Units: mm, degrees with `_deg` in the name.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::surface::Relief;
use crate::rehearse::along::Along;
use crate::rehearse::settings::{Displacement, Scanner};

/// Everything that decides the scan of a body, besides its kind.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct BodySettings {
    pub seed: u64,
    /// Noise of the scanner; its views and its smoothing are not used here.
    pub scanner: Scanner,
    /// Distance between points from the hem inwards up to `fine_mm`, then up to `middle_mm`, then everywhere else.
    pub spacings_mm: [f64; 3],
    pub fine_mm: f64,
    pub middle_mm: f64,
    /// Side of the cells that decide the spacing near seams, mm; divides 10.
    pub fine_cell_mm: f64,
    /// How far points lie off their grid at most, as a share of the spacing: 0.5 leaves no rows.
    pub jitter: f64,
    /// Ids of the seams beside which points lie closer; empty: beside every seam and free border.
    pub dense_seams: Vec<String>,
    /// Gap by seam id, over the seam line's running coordinate (`a` for seams along the car, `b` for seams across).
    pub gaps_mm: BTreeMap<String, Along>,
    /// Rigid moves by panel id, about the panel's middle.
    pub moves: BTreeMap<String, PanelMove>,
    /// Shape errors by panel id.
    #[serde(skip)]
    pub reliefs: BTreeMap<String, Vec<Relief>>,
    /// A crease, a badge, a patch, vents, round holes, tape and a ragged border of the scan.
    pub has_distractors: bool,
    /// Rigid move of the whole scan.
    pub displacement: Displacement,
    pub station_spacing_mm: f64,
    /// Left out at both ends of each seam of the plan.
    pub skip_ends_mm: f64,
}

impl Default for BodySettings {
    fn default() -> Self {
        Self {
            seed: 0,
            scanner: Scanner::default(),
            spacings_mm: [0.6, 1.5, 4.0],
            fine_mm: 8.0,
            middle_mm: 46.0,
            fine_cell_mm: 10.0,
            jitter: 0.25,
            dense_seams: Vec::new(),
            gaps_mm: BTreeMap::new(),
            moves: BTreeMap::new(),
            reliefs: BTreeMap::new(),
            has_distractors: false,
            displacement: Displacement::default(),
            station_spacing_mm: 20.0,
            skip_ends_mm: 30.0,
        }
    }
}

/// A small rigid move: turned about the x, then y, then z axis through the panel's middle, then shifted.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct PanelMove {
    pub shift_mm: [f64; 3],
    pub turn_deg: [f64; 3],
}
