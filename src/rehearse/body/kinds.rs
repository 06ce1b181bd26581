//! Six made-up front ends, each a body surface, a net of seam lines and the panels between them.
//!
//! In: [`BodyKind`], [`BodySettings`]. Out: [`BodyDesign`]: surface, panels, seams with their lines.
//! Frame: Car; x rearward from the nose, y to the right, z up; mm. None of them is a real car.
//! The net: nose, hood, cowl, two fenders, two doors; the hood meets nose, fenders and cowl, the fenders meet nose, hood,
//! cowl and doors, so there are four T-junctions; nose, cowl, fenders and doors have free outer borders.

use nalgebra::{Isometry3, Translation3, UnitQuaternion, Vector3};

use super::panel::{BodyPanel, Line, PanelSide};
use super::settings::{BodySettings, PanelMove};
use super::surface::{Bend, BodySurface, PlaneCurve, Relief};
use crate::rehearse::along::Along;

/// The made-up bodies.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum BodyKind {
    /// The Gannet coupe: low, crowned hood, hems of 1.5 to 2 mm.
    Coupe,
    /// A truck: flat hood, wide gaps, large hems.
    Truck,
    /// An old car whose fenders stand apart from a narrow hood; gaps of 6 mm, hems of 3 mm.
    OldCar,
    /// A modern body: tight gaps, hems of 1 mm, everything flush.
    Flush,
    /// A small van: steep nose, short hood.
    Van,
    /// A roadster: long hood with strong crown and a bow in its seams.
    Roadster,
}

impl BodyKind {
    pub const ALL: [Self; 6] =
        [Self::Coupe, Self::Truck, Self::OldCar, Self::Flush, Self::Van, Self::Roadster];

    fn form(self) -> Form {
        let form = |half_width_mm, hood_mm, nose_deg, crown_mm, gap_mm, hem_mm, taper| Form {
            half_width_mm,
            hood_mm,
            nose_deg,
            crown_mm,
            gap_mm,
            hem_mm,
            taper,
        };
        match self {
            Self::Coupe => form(520.0, 760.0, 40.0, 2400.0, 4.0, 2.0, 0.05),
            Self::Truck => form(680.0, 800.0, 55.0, 6000.0, 6.0, 3.0, 0.0),
            Self::OldCar => form(360.0, 900.0, 30.0, 900.0, 6.0, 3.0, 0.12),
            Self::Flush => form(560.0, 740.0, 45.0, 3000.0, 3.0, 1.0, 0.03),
            Self::Van => form(560.0, 420.0, 60.0, 3500.0, 5.0, 2.0, 0.04),
            Self::Roadster => form(460.0, 1100.0, 35.0, 1300.0, 3.5, 1.5, 0.08),
        }
    }
}

#[derive(Debug, Clone, Copy)]
struct Form {
    half_width_mm: f64,
    hood_mm: f64,
    nose_deg: f64,
    crown_mm: f64,
    gap_mm: f64,
    hem_mm: f64,
    taper: f64,
}

/// One seam of a body.
#[derive(Debug, Clone, PartialEq)]
pub struct BodySeam {
    pub id: String,
    /// Indices into the design's panels.
    pub datum: usize,
    pub other: usize,
    pub line: Line,
    /// Running coordinate at the seam's two ends, which are junctions or free borders.
    pub run_mm: [f64; 2],
}

/// Surface, panels and seams of a body.
#[derive(Debug, Clone, PartialEq)]
pub struct BodyDesign {
    pub surface: BodySurface,
    pub panels: Vec<BodyPanel>,
    pub seams: Vec<BodySeam>,
    /// Surface coordinates of places where three panels meet.
    pub junctions: Vec<[f64; 2]>,
}

/// Panel names, in the order of [`BodyDesign::panels`].
pub const PANEL_IDS: [&str; 7] =
    ["nose", "hood", "cowl", "fender-left", "fender-right", "door-left", "door-right"];

/// Distance along the spine from the front border to the middle of the hood's front seam.
const NOSE_MM: f64 = 220.0;
/// Run of the doors that is scanned.
const DOOR_MM: f64 = 260.0;
/// How far below the hood's seam the sides are scanned, along the surface.
const SIDE_MM: f64 = 420.0;

struct Lines {
    nose: Line,
    cowl: Line,
    sides: [Line; 2],
    door: Line,
    front: Line,
    cowl_end: Line,
    rear: Line,
    low: [Line; 2],
}

/// Designs a body.
#[must_use]
pub fn design(kind: BodyKind, settings: &BodySettings) -> BodyDesign {
    let form = kind.form();
    let lines = lines(&form);
    let seams = seams(&lines);
    let gap = |id: &str| {
        let wanted = settings.gaps_mm.get(id).cloned();
        Some(wanted.unwrap_or(Along::Constant(form.gap_mm)))
    };
    let side = |line: Line, sign: f64, gap_mm: Option<Along>| PanelSide { line, sign, gap_mm };
    let (nose_gap, cowl_gap) = (gap("hood-nose"), gap("hood-cowl"));
    let mut outlines = vec![
        vec![side(lines.front, 1.0, None), side(lines.nose, -1.0, nose_gap.clone())],
        vec![side(lines.nose, 1.0, nose_gap.clone()), side(lines.cowl, -1.0, cowl_gap.clone())],
        vec![side(lines.cowl, 1.0, cowl_gap), side(lines.cowl_end, -1.0, None)],
    ];
    outlines[0].extend([side(lines.low[0], 1.0, None), side(lines.low[1], -1.0, None)]);
    for (hand, name) in ["left", "right"].into_iter().enumerate() {
        let outer = if hand == 0 { -1.0 } else { 1.0 };
        let top = gap(&format!("hood-fender-{name}"));
        outlines[1].push(side(lines.sides[hand], -outer, top.clone()));
        outlines[2].push(side(lines.sides[hand], -outer, top.clone()));
        let door_gap = gap(&format!("fender-door-{name}"));
        outlines.insert(
            3 + hand,
            vec![
                side(lines.nose, 1.0, nose_gap.clone()),
                side(lines.sides[hand], outer, top.clone()),
                side(lines.door, -1.0, door_gap.clone()),
                side(lines.low[hand], -outer, None),
            ],
        );
        outlines.push(vec![
            side(lines.door, 1.0, door_gap),
            side(lines.sides[hand], outer, None),
            side(lines.rear, -1.0, None),
            side(lines.low[hand], -outer, None),
        ]);
    }
    let surface = surface(&form, settings.has_distractors);
    let panels = PANEL_IDS
        .iter()
        .zip(outlines)
        .map(|(id, sides)| panel(id, sides, &form, settings, &surface))
        .collect();
    let corners = [&lines.nose, &lines.cowl]
        .into_iter()
        .flat_map(|across| lines.sides.iter().map(move |along| along.crossing(across)));
    let junctions = corners.map(|place| [place.x, place.y]).collect();
    BodyDesign { surface, panels, seams, junctions }
}

fn panel(
    id: &str,
    sides: Vec<PanelSide>,
    form: &Form,
    settings: &BodySettings,
    surface: &BodySurface,
) -> BodyPanel {
    let middle = match id {
        "nose" => [0.5 * NOSE_MM, 0.0],
        "hood" => [NOSE_MM + 0.5 * form.hood_mm, 0.0],
        "cowl" => [NOSE_MM + form.hood_mm + 60.0, 0.0],
        _ => {
            let a_mm = NOSE_MM + form.hood_mm * if id.starts_with("door") { 1.1 } else { 0.5 };
            let b_mm = form.half_width_mm + 0.3 * SIDE_MM;
            [a_mm, if id.ends_with("left") { -b_mm } else { b_mm }]
        }
    };
    let pivot = surface.patch(middle[0], middle[1], &[]).point;
    BodyPanel {
        id: id.to_owned(),
        sides,
        corner_mm: 3.0 * form.hem_mm + 6.0,
        hem_radius_mm: form.hem_mm,
        hem_turn_rad: std::f64::consts::PI,
        flange_mm: 6.0,
        moved: settings.moves.get(id).map_or_else(Isometry3::identity, |moved| about(moved, &pivot.coords)),
        reliefs: settings.reliefs.get(id).cloned().unwrap_or_default(),
    }
}

/// A move as a person gives it, about the panel's own middle.
fn about(moved: &PanelMove, pivot: &Vector3<f64>) -> Isometry3<f64> {
    let [x, y, z] = moved.turn_deg.map(f64::to_radians);
    let turn = UnitQuaternion::from_euler_angles(x, y, z);
    let shift = Vector3::from(moved.shift_mm) + pivot - turn * pivot;
    Isometry3::from_parts(Translation3::from(shift), turn)
}

fn surface(form: &Form, has_distractors: bool) -> BodySurface {
    let nose = Bend { at_mm: 150.0, width_mm: 140.0, turn_deg: -form.nose_deg };
    let end_mm = NOSE_MM + form.hood_mm + DOOR_MM + 400.0;
    let spine = PlaneCurve::new(form.nose_deg + 4.0, 1e5, &[nose], [-200.0, end_mm]);
    let shoulder =
        |sign: f64| Bend { at_mm: sign * (form.half_width_mm + 130.0), width_mm: 90.0, turn_deg: 62.0 };
    let wide_mm = form.half_width_mm + SIDE_MM + 300.0;
    // The left shoulder has turned by 62° before the middle is reached: start so that the middle is level.
    let cross = PlaneCurve::new(-62.0, form.crown_mm, &[shoulder(-1.0), shoulder(1.0)], [-wide_mm, wide_mm]);
    let mut reliefs = Vec::new();
    if has_distractors {
        let middle_mm = NOSE_MM + 0.5 * form.hood_mm;
        reliefs.push(Relief::Crease { at_mm: 0.55 * form.half_width_mm, slope: 0.07, width_mm: 6.0 });
        reliefs.push(Relief::Badge {
            a_mm: NOSE_MM + 90.0,
            b_mm: 0.0,
            radius_mm: 35.0,
            height_mm: 1.5,
            edge_mm: 0.4,
        });
        // A strip of tape across the hood would hide a seam; this one is a short thick patch.
        reliefs.push(Relief::Badge {
            a_mm: middle_mm,
            b_mm: 120.0,
            radius_mm: 25.0,
            height_mm: 0.15,
            edge_mm: 0.2,
        });
    }
    BodySurface { spine, cross, reliefs }
}

fn lines(form: &Form) -> Lines {
    let cowl_mm = NOSE_MM + form.hood_mm;
    let across = |a0_mm: f64, bow: f64| Line::Across { a0_mm, bow_per_mm: bow };
    let side = |sign: f64, extra_mm: f64| Line::Along {
        b0_mm: sign * (form.half_width_mm - form.taper * form.hood_mm + extra_mm),
        slope: sign * form.taper,
        bow_per_mm: -sign * 2e-5,
    };
    let low =
        |sign: f64| Line::Along { b0_mm: sign * (form.half_width_mm + SIDE_MM), slope: 0.0, bow_per_mm: 0.0 };
    Lines {
        nose: across(NOSE_MM, 1.5e-4),
        cowl: across(cowl_mm, 1e-4),
        sides: [side(-1.0, 0.0), side(1.0, 0.0)],
        door: across(cowl_mm + 200.0, 0.0),
        front: across(0.0, 1.5e-4),
        cowl_end: across(cowl_mm + 120.0, 1e-4),
        rear: across(cowl_mm + 200.0 + DOOR_MM, 0.0),
        low: [low(-1.0), low(1.0)],
    }
}

fn seams(lines: &Lines) -> Vec<BodySeam> {
    let [nose, hood, cowl] = [0, 1, 2];
    let seam = |id: &str, datum, other, line: Line, ends: [&Line; 2]| BodySeam {
        id: id.to_owned(),
        datum,
        other,
        line,
        run_mm: ends.map(|end| line.run_mm(&line.crossing(end))),
    };
    let [left, right] = &lines.sides;
    let mut seams = vec![
        seam("hood-fender-left", 3, hood, *left, [&lines.nose, &lines.cowl]),
        seam("hood-fender-right", 4, hood, *right, [&lines.nose, &lines.cowl]),
        seam("hood-cowl", cowl, hood, lines.cowl, [left, right]),
        seam("hood-nose", nose, hood, lines.nose, [left, right]),
        seam("fender-door-left", 5, 3, lines.door, [&lines.low[0], left]),
        seam("fender-door-right", 6, 4, lines.door, [right, &lines.low[1]]),
        seam("cowl-fender-left", 3, cowl, *left, [&lines.cowl, &lines.cowl_end]),
        seam("cowl-fender-right", 4, cowl, *right, [&lines.cowl, &lines.cowl_end]),
    ];
    seams.push(seam("nose-fender-left", 3, nose, lines.nose, [&lines.low[0], left]));
    seams.push(seam("nose-fender-right", 4, nose, lines.nose, [right, &lines.low[1]]));
    seams
}
