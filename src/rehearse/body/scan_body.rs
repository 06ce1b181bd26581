//! A whole body scanned: points, normals, which panel each came from, the plan, the truth.
//!
//! In: [`BodyKind`], [`BodySettings`]. Out: [`RehearsedBody`]. Frame: Car, points in Scanner where displaced; mm.
//! Method: each panel's blank is covered by cells of 10 mm (finer ones near seams if wanted); a cell's depth inside the outline decides its spacing; every
//! point is jittered by a share of it. Hems are seen from eight directions fixed to the car; the other panel's edge is
//! taken, for line of sight, as a hem of the same radius at the nominal gap (exact to the panels' moves).
//! Does not smooth, and has no structure under the gap.

use nalgebra::{Point3, Vector2, Vector3};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

use super::body_plan::{body_plan, body_truth};
use super::kinds::{BodyDesign, BodyKind, design};
use super::panel::{BodyPanel, PanelPoint};
use super::settings::BodySettings;
use super::surface::BodySurface;
use crate::geometry::Curve;
use crate::plan::Plan;
use crate::rehearse::noise::{NoiseField, mix};
use crate::rehearse::scan::{RehearseError, displacement};
use crate::rehearse::truth::TruthRow;

/// The scan of a body with everything that is true of it.
#[derive(Debug, Clone, PartialEq)]
pub struct RehearsedBody {
    pub points: Vec<Point3<f64>>,
    pub normals: Vec<[f32; 3]>,
    /// Index into `plan.panels`.
    pub panel_of_point: Vec<u16>,
    /// Nominal seams, stations and panels. Car frame.
    pub plan: Plan,
    /// The true middle of each seam's gap from end to end, and the panels (datum, other); as many as seams.
    pub true_seams: Vec<TrueSeam>,
    /// Where three panels meet. Car frame.
    pub junctions: Vec<Point3<f64>>,
    /// Every station of every seam, in plan order.
    pub truth: Vec<TruthRow>,
    pub design: BodyDesign,
}

/// A seam as it really runs.
#[derive(Debug, Clone, PartialEq)]
pub struct TrueSeam {
    pub id: String,
    pub panels: [String; 2],
    pub curve: Curve,
}

/// Side of a cell of the blank, mm.
const CELL_MM: f64 = 10.0;
/// Directions to the scanner, Car frame.
const VIEWS: [[f64; 3]; 8] = [
    [0.0, 0.65, 0.75],
    [0.0, -0.65, 0.75],
    [0.65, 0.0, 0.75],
    [-0.65, 0.0, 0.75],
    [0.55, 0.75, 0.35],
    [-0.55, 0.75, 0.35],
    [0.55, -0.75, 0.35],
    [-0.55, -0.75, 0.35],
];
/// Largest angle of view, as a cosine: 75°.
const LEAST_COSINE: f64 = 0.258_8;

/// Scans a body.
///
/// # Errors
/// A seam's points do not make a curve (settings that move panels by centimetres).
pub fn body(kind: BodyKind, settings: &BodySettings) -> Result<RehearsedBody, RehearseError> {
    let design = design(kind, settings);
    let plan = body_plan(kind, &design, settings)?;
    let (truth, true_seams) = body_truth(&plan, &design)?;
    let junctions = design.junctions.iter().map(|[a, b]| design.surface.patch(*a, *b, &[]).point).collect();
    let mut scan = RehearsedBody {
        points: Vec::new(),
        normals: Vec::new(),
        panel_of_point: Vec::new(),
        plan,
        true_seams,
        junctions,
        truth,
        design,
    };
    for index in 0..scan.design.panels.len() {
        scan_panel(index, settings, &mut scan);
    }
    Ok(scan)
}

fn scan_panel(index: usize, settings: &BodySettings, scan: &mut RehearsedBody) {
    let panel = scan.design.panels[index].clone();
    let surface = scan.design.surface.clone();
    let seed = mix(settings.seed ^ mix(index as u64 + 101));
    let scanner = &settings.scanner;
    let fields = [
        NoiseField::new(mix(seed ^ 1), scanner.correlated_noise_mm, scanner.correlated_length_mm),
        NoiseField::new(mix(seed ^ 2), scanner.long_noise_mm, scanner.long_length_mm),
    ];
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let scanner_from_car = displacement(&settings.displacement);
    let jitter = settings.jitter.clamp(0.01, 0.5);
    for cell in cells(&scan.design, index, settings) {
        for place in 0..cell.steps * cell.steps {
            let jitter = Vector2::from_fn(|_, _| random.random_range(0.5 - jitter..0.5 + jitter));
            let corner = Vector2::new((place % cell.steps) as f64, (place / cell.steps) as f64);
            let place = cell.corner + (corner + jitter) * (cell.side_mm / cell.steps as f64);
            if settings.has_distractors && is_masked(&panel.id, &place) {
                continue;
            }
            let Some(point) = panel.point(&surface, &place).filter(|point| is_seen(&panel, &place, point))
            else {
                continue;
            };
            let white_mm = scanner.white_noise_mm * random.sample::<f64, _>(StandardNormal);
            let noise_mm: f64 = fields.iter().map(|field| field.at(&point.position)).sum();
            let position = point.position + point.normal * (noise_mm + white_mm);
            let normal = scanner_from_car.vector(&point.normal);
            scan.points.push(scanner_from_car.point(&position));
            scan.normals.push([normal.x as f32, normal.y as f32, normal.z as f32]);
            scan.panel_of_point.push(index as u16);
        }
    }
}

/// A square of the blank with its points in a grid.
struct Cell {
    corner: Vector2<f64>,
    side_mm: f64,
    /// Points along a side.
    steps: usize,
}

/// All cells that a panel may touch, those near a dense seam divided.
fn cells(design: &BodyDesign, index: usize, settings: &BodySettings) -> Vec<Cell> {
    let panel = &design.panels[index];
    let parts = (CELL_MM / settings.fine_cell_mm.clamp(0.5, CELL_MM)).round() as usize;
    let mut cells = Vec::new();
    for corner in corners(&design.surface) {
        let depth_mm = least_depth_mm(panel, &corner, CELL_MM);
        if depth_mm < -panel.wrap_mm() - 2.0 * CELL_MM {
            continue;
        }
        if !is_near_dense(design, index, settings, &corner) {
            cells.push(Cell { corner, side_mm: CELL_MM, steps: steps(CELL_MM, settings.spacings_mm[2]) });
            continue;
        }
        let parts = if depth_mm > settings.middle_mm { 1 } else { parts };
        let side_mm = CELL_MM / parts as f64;
        let stride = (settings.spacings_mm[2] / side_mm).round().max(1.0) as usize;
        for part in 0..parts * parts {
            let is_kept_coarse = (part % parts) % stride == 0 && (part / parts) % stride == 0;
            let corner = corner + Vector2::new((part % parts) as f64, (part / parts) as f64) * side_mm;
            let depth_mm = least_depth_mm(panel, &corner, side_mm);
            let tier = usize::from(depth_mm > settings.fine_mm) + usize::from(depth_mm > settings.middle_mm);
            if tier < 2 || is_kept_coarse {
                cells.push(Cell { corner, side_mm, steps: steps(side_mm, settings.spacings_mm[tier]) });
            }
        }
    }
    cells
}

/// A bound from below on the depth inside the outline in a cell.
fn least_depth_mm(panel: &BodyPanel, corner: &Vector2<f64>, side_mm: f64) -> f64 {
    panel.depth_mm(&(corner + Vector2::repeat(0.5 * side_mm))) - side_mm
}

fn steps(side_mm: f64, spacing_mm: f64) -> usize {
    (side_mm / spacing_mm.max(0.05)).round().max(1.0) as usize
}

/// True beside a seam that wants points closer together.
fn is_near_dense(design: &BodyDesign, index: usize, settings: &BodySettings, corner: &Vector2<f64>) -> bool {
    let place = corner + Vector2::repeat(0.5 * CELL_MM);
    let reach_mm = settings.middle_mm + 2.0 * CELL_MM;
    settings.dense_seams.is_empty()
        || design.seams.iter().any(|seam| {
            let run_mm = seam.line.run_mm(&place);
            settings.dense_seams.contains(&seam.id)
                && [seam.datum, seam.other].contains(&index)
                && seam.line.distance_mm(&place).abs() < reach_mm
                && run_mm > seam.run_mm[0].min(seam.run_mm[1])
                && run_mm < seam.run_mm[0].max(seam.run_mm[1])
        })
}

/// Lower corners of all cells of the surface.
fn corners(surface: &BodySurface) -> impl Iterator<Item = Vector2<f64>> {
    let [a_mm, b_mm] = surface.extent_mm();
    let count = |[low_mm, high_mm]: [f64; 2]| ((high_mm - low_mm) / CELL_MM).ceil() as usize;
    let (a_count, b_count) = (count(a_mm), count(b_mm));
    (0..a_count * b_count).map(move |cell| {
        Vector2::new(a_mm[0] + (cell % a_count) as f64 * CELL_MM, b_mm[0] + (cell / a_count) as f64 * CELL_MM)
    })
}

/// Vents, round holes, missing tape and a ragged border of the scan.
fn is_masked(panel: &str, place: &Vector2<f64>) -> bool {
    let (a_mm, b_mm) = (place.x, place.y);
    match panel {
        // Slots of 60 × 9 mm, a hole of 14 mm and a strip of tape 25 mm wide that ends before the seams.
        "hood" => {
            let in_slot =
                (a_mm - 420.0).abs() < 30.0 && (40.0..140.0).contains(&b_mm) && b_mm.rem_euclid(30.0) < 9.0;
            let in_hole = (a_mm - 330.0).hypot(b_mm + 90.0) < 7.0;
            let under_tape = (a_mm - 500.0).abs() < 12.5 && (-160.0..-40.0).contains(&b_mm);
            in_slot || in_hole || under_tape
        }
        "nose" => b_mm.abs() > 120.0 && (60.0..90.0).contains(&a_mm) && b_mm.abs() < 260.0,
        "fender-left" | "fender-right" => (a_mm - 400.0).hypot(b_mm.abs() - 760.0) < 15.0,
        "door-left" | "door-right" => a_mm > 1380.0 + 15.0 * (b_mm / 40.0).sin() + 6.0 * (b_mm / 11.0).sin(),
        _ => false,
    }
}

fn is_seen(panel: &BodyPanel, place: &Vector2<f64>, point: &PanelPoint) -> bool {
    if point.hem_rad == 0.0 {
        return true;
    }
    let gap_mm = panel.nearest_gap_mm(place);
    sees_hem(panel, point, gap_mm)
}

/// True where one of the views looks past the other panel's hem at this place of a hem or flange.
#[must_use]
pub fn sees_hem(panel: &BodyPanel, point: &PanelPoint, gap_mm: f64) -> bool {
    let radius_mm = panel.hem_radius_mm;
    let (sine, cosine) = point.hem_rad.sin_cos();
    // From the edge point, towards the other panel and outward.
    let own = Vector2::new(radius_mm * (sine - 1.0), -radius_mm * (1.0 - cosine));
    let other_centre = Vector2::new(gap_mm + radius_mm, -radius_mm);
    VIEWS.iter().any(|view| {
        let view = Vector3::from(*view).normalize();
        if view.dot(&point.normal) < LEAST_COSINE {
            return false;
        }
        let ray = Vector2::new(view.dot(&point.towards_edge), view.dot(&point.skin_normal));
        if ray.y <= 0.0 || gap_mm.is_infinite() {
            return ray.y > 0.0;
        }
        let ray = ray.normalize();
        let to_centre = other_centre - own;
        ray.x <= 0.0 || ray.perp(&to_centre) < -radius_mm
    })
}
