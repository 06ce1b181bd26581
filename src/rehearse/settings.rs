//! What to rehearse: the true shape of every seam, the scanner, and what goes wrong.
//!
//! In: code, or a small TOML file (every key may be left out; unknown keys are errors). Out: plain structs.
//! Units: mm; angles in degrees, as a person writes them, with `_deg` in the name.
//! A seam's own table replaces the general shape as a whole; keys left out of it take the built-in defaults.
//! Does not say where stations are: the plan does.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::along::Along;
use super::relief::CrossFeature;

/// Everything that decides a rehearsal, besides the plan.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Rehearsal {
    /// The same seed, plan and settings give the same scan, to the bit.
    pub seed: u64,
    /// True shape of seams that are not named in `seams`.
    pub shape: SeamShape,
    /// True shape of single seams, by their id in the plan.
    pub seams: BTreeMap<String, SeamShape>,
    pub scanner: Scanner,
    pub faults: Faults,
    pub curve_error: CurveErrorShape,
    pub displacement: Displacement,
    pub output: Output,
}

impl Rehearsal {
    /// The true shape of a seam.
    #[must_use]
    pub fn shape_of(&self, seam_id: &str) -> &SeamShape {
        self.seams.get(seam_id).unwrap_or(&self.shape)
    }
}

/// True shape of one seam's section along the seam.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct SeamShape {
    /// Edge gap; the plan's nominal where left out.
    pub gap_mm: Option<Along>,
    /// Mid-gap flush; the plan's nominal where left out.
    pub flush_mm: Option<Along>,
    pub datum: PanelShape,
    pub other: PanelShape,
    /// Angle by which the other panel rises towards the datum panel at mid-gap, along the seam.
    pub tilt_deg: Along,
    /// How far each panel reaches from its edge.
    pub width_mm: f64,
    /// Creases, bars and grooves that run across the seam.
    pub features: Vec<CrossFeature>,
}

impl SeamShape {
    /// How far the features lift a panel (0 datum, 1 other) at a place, mm.
    #[must_use]
    pub fn lift_mm(&self, panel: usize, x_mm: f64, s_mm: f64) -> f64 {
        self.features.iter().map(|feature| feature.lift_mm(panel, x_mm, s_mm)).sum()
    }
}

impl Default for SeamShape {
    fn default() -> Self {
        Self {
            gap_mm: None,
            flush_mm: None,
            datum: PanelShape::default(),
            other: PanelShape::default(),
            tilt_deg: Along::Constant(0.0),
            width_mm: 60.0,
            features: Vec::new(),
        }
    }
}

/// One panel's section: crowned outer surface, hem, flange.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct PanelShape {
    pub hem_radius_mm: f64,
    /// How far the hem turns, from the panel's own direction at mid-gap: 90 is a flange that points inwards.
    pub hem_turn_deg: f64,
    /// Straight run after the hem.
    pub flange_mm: f64,
    /// Radius of the outer surface across the seam, positive for a crown, negative for a hollow; flat where left out.
    pub crown_radius_mm: Option<f64>,
    pub crease: Option<Crease>,
}

impl Default for PanelShape {
    fn default() -> Self {
        Self {
            hem_radius_mm: 2.0,
            hem_turn_deg: 180.0,
            flange_mm: 8.0,
            crown_radius_mm: Some(1200.0),
            crease: None,
        }
    }
}

/// A feature line along the seam: the outer surface beyond it is bent away.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Crease {
    /// Distance from the hem's tangent point along the surface to where the crease begins.
    pub from_hem_mm: f64,
    /// Positive: the surface beyond falls away (a ridge); negative: it rises (a groove).
    pub turn_deg: f64,
    /// Radius of the crease itself.
    pub radius_mm: f64,
}

/// The scanner and its software.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Scanner {
    pub spacing_mm: f64,
    /// Standard deviation of noise that is independent from point to point, along the surface normal.
    pub white_noise_mm: f64,
    /// Standard deviation of noise with correlation `exp(−d²/2L²)` over `correlated_length_mm`.
    pub correlated_noise_mm: f64,
    pub correlated_length_mm: f64,
    /// The same over a long length: warp within a view, sag of the surface.
    pub long_noise_mm: f64,
    pub long_length_mm: f64,
    /// Standard deviation, in each axis, of the shift of a whole view.
    pub view_offset_mm: f64,
    /// Standard deviation of the Gaussian with which the scanner's software smooths the section.
    pub smoothing_mm: f64,
    /// Directions from the surface to the scanner.
    pub views: Vec<View>,
    /// Largest angle between surface normal and view at which the scanner still sees.
    pub incidence_limit_deg: f64,
}

impl Default for Scanner {
    fn default() -> Self {
        Self {
            spacing_mm: 0.4,
            white_noise_mm: 0.0,
            correlated_noise_mm: 0.0,
            correlated_length_mm: 3.0,
            long_noise_mm: 0.0,
            long_length_mm: 120.0,
            view_offset_mm: 0.0,
            smoothing_mm: 0.0,
            views: vec![
                View { across_deg: 0.0, along_deg: 5.0 },
                View { across_deg: 40.0, along_deg: 10.0 },
                View { across_deg: -40.0, along_deg: -10.0 },
            ],
            incidence_limit_deg: 75.0,
        }
    }
}

/// A direction to the scanner, seen from the seam: leaning from the outward normal to the right and forwards.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct View {
    pub across_deg: f64,
    pub along_deg: f64,
}

/// What spoils a scan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Faults {
    /// Share of points that are replaced by a random one in the space around the seam.
    pub stray_share: f64,
    /// Share of hem points that fly off along the line of sight.
    pub flyer_share: f64,
    /// Round holes in the outer surface (marker stickers), for each metre of seam.
    pub stickers_per_m: f64,
    pub sticker_diameter_mm: f64,
    /// Holes over an edge, for each metre of seam.
    pub dropouts_per_m: f64,
    pub dropout_length_mm: f64,
    /// How far a drop-out reaches from the edge over the surface.
    pub dropout_width_mm: f64,
    /// Depth below the datum surface of the structure that shows through the gap; none where left out.
    pub structure_depth_mm: Option<f64>,
}

impl Default for Faults {
    fn default() -> Self {
        Self {
            stray_share: 0.0,
            flyer_share: 0.0,
            stickers_per_m: 0.0,
            sticker_diameter_mm: 6.0,
            dropouts_per_m: 0.0,
            dropout_length_mm: 12.0,
            dropout_width_mm: 8.0,
            structure_depth_mm: None,
        }
    }
}

/// How far the plan's curves lie off the true middle of the gap.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct CurveErrorShape {
    /// Largest distance, in a random direction across the curve that changes slowly along it.
    pub shift_mm: f64,
    /// Largest turn of the outward normal about the curve, in a random sense.
    pub tilt_deg: f64,
}

/// Rigid move of the whole scan after everything else: turned about the x, then y, then z axis, then shifted.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Displacement {
    pub shift_mm: [f64; 3],
    pub turn_deg: [f64; 3],
}

/// What the scan is made of.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Output {
    pub normals: bool,
    /// Triangles besides the points.
    pub mesh: bool,
    /// Triangles across the gap, as careless meshing makes them.
    pub mesh_bridges_gap: bool,
}

impl Scanner {
    /// The "good" scanner of the accuracy budgets.
    #[must_use]
    pub fn good() -> Self {
        Self {
            white_noise_mm: 0.015,
            correlated_noise_mm: 0.005,
            long_noise_mm: 0.005,
            view_offset_mm: 0.003,
            ..Self::default()
        }
    }

    /// The "ordinary" scanner of the accuracy budgets.
    #[must_use]
    pub fn ordinary() -> Self {
        Self {
            white_noise_mm: 0.02,
            correlated_noise_mm: 0.015,
            long_noise_mm: 0.01,
            view_offset_mm: 0.008,
            smoothing_mm: 0.25,
            ..Self::default()
        }
    }

    /// The "poor" scanner of the accuracy budgets.
    #[must_use]
    pub fn poor() -> Self {
        Self { spacing_mm: 0.6, white_noise_mm: 0.05, correlated_noise_mm: 0.04, ..Self::default() }
    }
}

impl Faults {
    /// Everything that an ordinary shop scan has: stickers, strays, flyers, drop-outs and structure under the gap.
    #[must_use]
    pub fn ordinary() -> Self {
        Self {
            stray_share: 0.002,
            flyer_share: 0.02,
            stickers_per_m: 8.0,
            dropouts_per_m: 1.0,
            structure_depth_mm: Some(22.0),
            ..Self::default()
        }
    }
}
