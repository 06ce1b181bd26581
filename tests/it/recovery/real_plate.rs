//! A real scan where there is a step and no gap: the upper plate's edge is not seen turning and the lower plate runs on
//! under it. No gap may be claimed there; the same surface, bent into two edges, must be measured.
//!
//! Scan: openlmd/proper, commit 992b195, `proper_cloud/data`, BSD licence (its `package.xml`); laser line, metres, spacing
//! 0.37 mm, noise 0.10 mm (lower plate) and 0.13 mm (upper plate). The edges' places and the step were taken from the
//! points by hand.

use std::f64::consts::FRAC_PI_2;
use std::path::Path;

use nalgebra::{Point3, Vector3};
use shutline::files::open_scan;
use shutline::geometry::Curve;
use shutline::measure::{Reason, SeamReadings, Warning};
use shutline::plan::{
    AlignTerms, DecisionRule, FlushMethod, FlushSpec, GapMethod, GapSpec, Panel, PanelId, Plan, ScanTerms,
    Seam, SeamId, Side, Tolerance,
};
use shutline::scan::{PointBlock, PointSink, ScanSource, VecSource};
use shutline::units::LengthUnit;

use super::trial::measure_all;

/// The scanner's noise stands in for its accuracy, which is not published.
const ACCURACY_MM: f64 = 0.1;
/// Step at the left edge, 17 sections by hand: 10.43 to 11.02 mm; 0.3 mm more for where along the slope it is read.
const STEP_MM: std::ops::RangeInclusive<f64> = 10.1..=11.3;

/// The scan, mm.
pub fn scan() -> Box<dyn ScanSource> {
    let path =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/it/check_values/data/real_plate_on_plate.xyz.gz");
    open_scan(&path, LengthUnit::Metre).unwrap()
}

/// A seam along +y from 3 to 98 mm; `x` at a given y, height at a given y.
struct Edge {
    x_mm: fn(f64) -> f64,
    z_mm: fn(f64) -> f64,
    normal: Vector3<f64>,
    /// From the left-hand panel to the right-hand one.
    panels: [&'static str; 2],
}

const LEFT: Edge = Edge {
    x_mm: |y_mm| 92.64 + 0.0449 * y_mm,
    z_mm: |y_mm| 67.42 + 0.0073 * y_mm,
    normal: Vector3::new(-0.03, 0.0, 1.0),
    panels: ["base plate", "upper plate"],
};
const RIGHT: Edge = Edge {
    x_mm: |y_mm| 144.44 + 0.0444 * y_mm,
    z_mm: |y_mm| 69.0 + 0.0065 * y_mm,
    normal: Vector3::new(-0.03, 0.0, 1.0),
    panels: ["upper plate", "base plate"],
};

fn plan_of(edge: &Edge, datum_side: Side, (shift_mm, lift_mm): (f64, f64), has_normals: bool) -> Plan {
    let points: Vec<Point3<f64>> = (0..20)
        .map(|step| 3.0 + 5.0 * f64::from(step))
        .map(|y_mm| Point3::new((edge.x_mm)(y_mm) + shift_mm, y_mm, (edge.z_mm)(y_mm) + lift_mm))
        .collect();
    let normals = vec![edge.normal; points.len()];
    let datum = usize::from(datum_side == Side::Right);
    let tolerance = |nominal_mm| Tolerance { nominal_mm, minus_mm: 0.5, plus_mm: 0.5 };
    let seam = Seam {
        id: SeamId("edge".into()),
        title: "Upper plate to base plate".into(),
        datum_panel: PanelId(edge.panels[datum].into()),
        other_panel: PanelId(edge.panels[1 - datum].into()),
        datum_side,
        curve: Curve::through(&points, has_normals.then_some(normals.as_slice())).unwrap(),
        station_spacing_mm: 5.0,
        skip_ends_mm: 5.0,
        gap: GapSpec { tolerance: tolerance(1.0), method: GapMethod::Edge },
        flush: FlushSpec { tolerance: tolerance(10.7), method: FlushMethod::MidGap },
        taper: None,
        hem_radius_mm: [None, None],
        zones: Vec::new(),
    };
    Plan {
        title: "plate on a plate".into(),
        units: LengthUnit::Millimetre,
        scan: ScanTerms { units: LengthUnit::Metre, accuracy_mm: ACCURACY_MM, smoothing_mm: None },
        panels: Vec::new(),
        seams: vec![seam],
        decision: DecisionRule::default(),
        advice: shutline::plan::AdviceTerms::default(),
        align: AlignTerms::default(),
        car: None,
        finish: shutline::plan::FinishTerms::default(),
        lineups: Vec::new(),
    }
}

/// Both edges of the upper plate as seams of one plan with two panels.
pub fn both_edges() -> Plan {
    let mut plan = plan_of(&LEFT, Side::Left, (0.0, 5.4), true);
    let right = plan_of(&RIGHT, Side::Right, (0.0, 5.4), true);
    plan.seams.extend(right.seams);
    plan.seams[1].id = SeamId("right-edge".into());
    let panel = |id: &str| Panel { id: PanelId(id.into()), title: id.into(), is_fixed: true };
    plan.panels = LEFT.panels.map(panel).into();
    plan
}

/// No gap at any station, at all but one of them for a reason that says so; the step at two stations in three, and no other
/// flush.
fn hold_no_gap(readings: &SeamReadings, datum_side: Side, case: &str) {
    let up_from_datum = if datum_side == Side::Left { 1.0 } else { -1.0 };
    assert!(readings.stations.len() >= 17 && readings.points_used > 10_000, "{case}: too little to judge by");
    let says_so = [Reason::EdgeNotSeen, Reason::NotASeam, Reason::OnePanelMissing];
    let mut other_reasons = Vec::new();
    let mut steps = 0;
    for reading in &readings.stations {
        let at_mm = reading.station.along_mm;
        let reason = reading.gap.as_ref().expect_err(&format!("{case}: a gap is claimed at {at_mm} mm"));
        if !says_so.contains(reason) {
            other_reasons.push((at_mm, *reason));
        }
        if let Ok(flush) = &reading.flush {
            assert!(STEP_MM.contains(&(up_from_datum * flush.value_mm)), "{case}: {flush:?} at {at_mm} mm");
            assert!(
                reading.warnings.contains(&Warning::MiddleAssumed),
                "{case}: no word of it at {at_mm} mm"
            );
            steps += 1;
        }
    }
    assert!(other_reasons.len() <= 1, "{case}: {other_reasons:?}");
    assert!(3 * steps >= 2 * readings.stations.len(), "{case}: the step is given at {steps} stations");
}

#[test]
fn no_gap_is_claimed_along_the_left_edge_wherever_the_curve_runs() {
    let source = scan();
    for datum_side in [Side::Left, Side::Right] {
        // Beside, on and over the edge; at the lower plate's height, half-way and at the upper plate's.
        for place in [(-2.0, 0.0), (0.0, 0.0), (0.0, 5.4), (0.0, 10.8), (2.0, 5.4)] {
            let plan = plan_of(&LEFT, datum_side, place, true);
            let readings = measure_all(&plan, source.as_ref());
            hold_no_gap(&readings[0], datum_side, &format!("{datum_side:?} {place:?}"));
        }
    }
    let without_normals = plan_of(&LEFT, Side::Left, (0.0, 5.4), false);
    hold_no_gap(&measure_all(&without_normals, source.as_ref())[0], Side::Left, "without normals");
}

#[test]
fn no_gap_is_claimed_in_the_shadow_at_the_right_edge() {
    let source = scan();
    for lift_mm in [0.0, 5.4, 10.8] {
        let plan = plan_of(&RIGHT, Side::Left, (1.0, lift_mm), true);
        for reading in &measure_all(&plan, source.as_ref())[0].stations {
            assert!(reading.gap.is_err(), "lift {lift_mm}: {:?}", reading.gap);
        }
    }
}

#[derive(Default)]
struct Points(Vec<Point3<f64>>);

impl PointSink for Points {
    fn take(&mut self, block: &PointBlock<'_>) {
        self.0.extend((0..block.len()).map(|index| block.point(index)));
    }
}

/// The lower plate's strip beside the left edge: (distance from a line 5 mm short of the edge, y, height over a plane).
fn base_strip() -> Vec<[f64; 3]> {
    let source = scan();
    let mut points = Points::default();
    for part in 0..source.part_count() {
        source.read_points(part, &mut points).unwrap();
    }
    // Least-squares plane of the strip, from the points by a general-purpose library (numpy.linalg.lstsq).
    let plane_mm = |x_mm: f64, y_mm: f64| 64.276_94 + 0.034_896_4 * x_mm + 0.004_606_15 * y_mm;
    let place = |point: &Point3<f64>| {
        [(LEFT.x_mm)(point.y) - 5.0 - point.x, point.y, point.z - plane_mm(point.x, point.y)]
    };
    let is_strip = |[inward, along, up]: &[f64; 3]| {
        (-4.0..26.0).contains(inward) && (1.0..100.0).contains(along) && up.abs() < 3.0
    };
    points.0.iter().map(place).filter(is_strip).collect()
}

/// Bends the strip down over a hem and sets its mirror image opposite: a gap of known width, flush zero.
fn bent_twice(strip: &[[f64; 3]], gap_mm: f64, radius_mm: f64) -> Vec<Point3<f64>> {
    let hem_mm = FRAC_PI_2 * radius_mm;
    let bend = |&[inward, along, up]: &[f64; 3]| {
        let angle = ((hem_mm - inward) / radius_mm).clamp(0.0, FRAC_PI_2);
        let reach = radius_mm + up;
        let across = gap_mm / 2.0 + radius_mm - reach * angle.sin() + (inward - hem_mm).max(0.0);
        let height = reach * angle.cos() - radius_mm - (-inward).max(0.0);
        [Point3::new(-across, along, height), Point3::new(across, along, height)]
    };
    strip.iter().flat_map(bend).collect()
}

/// It is the edges that are missing, not the scan that is too poor: with edges, its own points give gap and flush.
#[test]
fn the_same_surface_bent_into_two_edges_is_measured() {
    let strip = base_strip();
    let straight = Edge { x_mm: |_| 0.5, z_mm: |_| 0.0, normal: Vector3::z(), panels: ["left", "right"] };
    for (gap_mm, radius_mm) in [(3.0, 1.5), (4.0, 2.0)] {
        let source = VecSource::from_points(&bent_twice(&strip, gap_mm, radius_mm), None);
        let plan = plan_of(&straight, Side::Left, (0.0, 0.0), true);
        for reading in &measure_all(&plan, &source)[0].stations {
            let (gap, flush) = (reading.gap.as_ref().unwrap(), reading.flush.as_ref().unwrap());
            // The plate is not plane: its waviness of ±0.1 mm where it is bent moves both edges and stays in the gap.
            assert!((gap.value_mm - gap_mm).abs() < 0.25, "{gap:?}");
            // Both sides are one surface, seen once and mirrored: only stations off the middle differ.
            assert!(flush.value_mm.abs() < 0.1, "{flush:?}");
        }
    }
}
