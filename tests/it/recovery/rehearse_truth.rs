//! The rehearsal's truth against brute force: dense noise-free points, measured with polynomials fitted in space.
//!
//! The fits know nothing of profiles or sweeps: they see points, the plane through the station across the true curve,
//! and nothing else.

use nalgebra::{DMatrix, DVector, Point3, Vector3};
use shutline::geometry::{Curve, CurveFrame};
use shutline::plan::{
    AlignTerms, DecisionRule, FlushMethod, FlushSpec, GapMethod, GapSpec, Panel, PanelId, Plan, ScanTerms,
    Seam, SeamId, Side, Tolerance,
};
use shutline::rehearse::{
    Along, CurveErrorShape, Output, PanelShape, Rehearsal, Scanner, SeamShape, rehearse, true_curves,
};
use shutline::units::LengthUnit;

/// A plan with one seam along an arc of a circle of `bend_mm` radius that lies in a crowned body.
pub fn bent_plan(length_mm: f64, bend_mm: f64, datum_side: Side) -> Plan {
    let tolerance = Tolerance { nominal_mm: 4.0, minus_mm: 0.5, plus_mm: 0.5 };
    let count = (length_mm / 5.0).ceil() as i32;
    let (mut points, mut normals) = (Vec::new(), Vec::new());
    for index in 0..=count {
        let angle = (length_mm * f64::from(index) / f64::from(count)) / bend_mm;
        points.push(Point3::new(bend_mm * angle.sin(), bend_mm * (1.0 - angle.cos()), 0.0));
        normals.push(Vector3::new(0.0, 0.1 * angle, 1.0));
    }
    let flush = Tolerance { nominal_mm: 0.0, ..tolerance };
    let panel = |id: &str| Panel { id: PanelId(id.to_owned()), title: id.to_owned(), is_fixed: false };
    Plan {
        title: "Gannet coupe, one seam".to_owned(),
        units: LengthUnit::Millimetre,
        scan: ScanTerms { units: LengthUnit::Millimetre, accuracy_mm: 0.03, smoothing_mm: None },
        panels: vec![panel("fender"), panel("hood")],
        decision: DecisionRule::default(),
        advice: shutline::plan::AdviceTerms::default(),
        align: AlignTerms::default(),
        car: None,
        finish: shutline::plan::FinishTerms::default(),
        lineups: Vec::new(),
        seams: vec![Seam {
            id: SeamId("hood-fender".to_owned()),
            title: "Hood to fender".to_owned(),
            datum_panel: PanelId("fender".to_owned()),
            other_panel: PanelId("hood".to_owned()),
            datum_side,
            curve: Curve::through(&points, Some(&normals)).unwrap(),
            station_spacing_mm: 10.0,
            skip_ends_mm: 4.0,
            gap: GapSpec { tolerance, method: GapMethod::Edge },
            flush: FlushSpec { tolerance: flush, method: FlushMethod::MidGap },
            taper: None,
            hem_radius_mm: [None, None],
            zones: Vec::new(),
        }],
    }
}

/// Least squares for `value = Σ c_k basis_k`.
fn fit<const N: usize>(rows: &[([f64; N], f64)]) -> Vec<f64> {
    let matrix = DMatrix::from_fn(rows.len(), N, |row, column| rows[row].0[column]);
    let values = DVector::from_iterator(rows.len(), rows.iter().map(|row| row.1));
    matrix.svd(true, true).solve(&values, 1e-14).unwrap().iter().copied().collect()
}

/// Furthest reach towards +u of the hem's points in the station's plane: a patch in (height, along) about its top.
pub fn brute_edge(points: &[Vector3<f64>]) -> (f64, f64) {
    let near: Vec<&Vector3<f64>> = points.iter().filter(|point| point.y.abs() < 0.6).collect();
    let top = near.iter().max_by(|one, two| one.x.total_cmp(&two.x)).unwrap();
    let rows: Vec<([f64; 9], f64)> = near
        .iter()
        .filter(|point| (point.z - top.z).abs() < 0.25 && point.x > top.x - 1.0)
        .map(|point| {
            let (w, s) = (point.z - top.z, point.y);
            ([1.0, w, w * w, w.powi(3), w.powi(4), s, s * s, s * w, s * w * w], point.x)
        })
        .collect();
    let c = fit(&rows);
    let mut w = 0.0;
    for _ in 0..20 {
        let slope = c[1] + 2.0 * c[2] * w + 3.0 * c[3] * w * w + 4.0 * c[4] * w.powi(3);
        w -= slope / (2.0 * c[2] + 6.0 * c[3] * w + 12.0 * c[4] * w * w);
    }
    (c[0] + c[1] * w + c[2] * w * w + c[3] * w.powi(3) + c[4] * w.powi(4), top.z + w)
}

/// Height and slope at mid-gap of a panel's outer surface in the station's plane.
pub fn brute_skin(points: &[Vector3<f64>]) -> (f64, f64) {
    let rows: Vec<([f64; 9], f64)> = points
        .iter()
        .filter(|point| (-26.0..-8.0).contains(&point.x) && point.z > -4.0)
        .map(|point| {
            let (x, s) = (point.x / 20.0, point.y);
            ([1.0, x, x * x, x.powi(3), x.powi(4), s, s * s, s * x, s * x * x], point.z)
        })
        .collect();
    let c = fit(&rows);
    (c[0], c[1] / 20.0)
}

fn check(bend_mm: f64, datum_side: Side, datum: PanelShape, other: PanelShape, tilt_deg: f64) {
    let plan = bent_plan(28.0, bend_mm, datum_side);
    let settings = Rehearsal {
        shape: SeamShape {
            gap_mm: Some(Along::lines(&[(0.0, 5.0), (28.0, 5.3)])),
            flush_mm: Some(Along::smooth(&[(0.0, -0.4), (28.0, 0.9)])),
            datum,
            other,
            tilt_deg: Along::Constant(tilt_deg),
            width_mm: 30.0,
            features: Vec::new(),
        },
        scanner: Scanner { spacing_mm: 0.06, incidence_limit_deg: 89.0, ..Scanner::default() },
        curve_error: CurveErrorShape { shift_mm: 3.0, tilt_deg: 1.0 },
        output: Output::default(),
        ..Rehearsal::default()
    };
    let scan = rehearse(&plan, &settings).unwrap();
    let curve = &true_curves(&plan, &settings).unwrap()[0];
    for row in &scan.truth[1..2] {
        let frame: CurveFrame = curve.frame_at(row.true_along_mm);
        let local: Vec<Vector3<f64>> =
            scan.points.iter().map(|point| frame.local(point)).filter(|point| point.y.abs() < 1.5).collect();
        // Both sides seen with their edge towards +x.
        let datum_sign = if datum_side == Side::Left { 1.0 } else { -1.0 };
        let side = |sign: f64| -> Vec<Vector3<f64>> {
            local
                .iter()
                .map(|point| Vector3::new(point.x * sign, point.y, point.z))
                .filter(|point| point.x < 0.0)
                .collect()
        };
        let (datum, other) = (side(datum_sign), side(-datum_sign));
        let (datum_edge, other_edge) = (brute_edge(&datum), brute_edge(&other));
        let (datum_skin, other_skin) = (brute_skin(&datum), brute_skin(&other));
        let gap_mm = -(datum_edge.0 + other_edge.0);
        let flush_mm = other_skin.0 - datum_skin.0;
        // Sub-micrometre: what is left is the patches' own truncation (a hem of 1 mm over ±0.25 mm).
        assert!((gap_mm - row.gap_mm.unwrap()).abs() < 0.001, "gap {gap_mm} {:?}", row.gap_mm);
        assert!((flush_mm - row.flush_mm).abs() < 0.001, "flush {flush_mm} {}", row.flush_mm);
        assert!(datum_skin.1.abs() < 2e-4, "the datum is not level at mid-gap: {}", datum_skin.1);
        assert!((datum_edge.0 - other_edge.0).abs() < 0.001, "mid-gap is not in the middle");
    }
}

#[test]
fn truth_agrees_with_brute_force_on_bent_tapering_crowned_tilted_seams() {
    let panel = |hem_radius_mm: f64, hem_turn_deg: f64, crown_mm: f64| PanelShape {
        hem_radius_mm,
        hem_turn_deg,
        crown_radius_mm: Some(crown_mm),
        ..PanelShape::default()
    };
    check(900.0, Side::Left, panel(2.0, 180.0, 1200.0), panel(1.0, 180.0, 800.0), 1.0);
    check(400.0, Side::Right, panel(1.0, 120.0, 500.0), panel(3.0, 180.0, -900.0), -1.5);
    check(2000.0, Side::Left, panel(4.0, 150.0, 1500.0), panel(1.5, 135.0, 300.0), 0.0);
}
