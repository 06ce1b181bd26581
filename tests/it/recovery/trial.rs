//! A rehearsed scan measured as the program would: gather in parts, every seam, and the errors against the truth.

use nalgebra::{Isometry3, Point3, Vector3};
use shutline::frames::{Car, Scanner as ScannerFrame};
use shutline::geometry::{Curve, RigidTransform};
use shutline::measure::{
    MeasureSettings, SeamReadings, StartedSeam, StationReading, smoothing_of, start_seam,
};
use shutline::plan::{
    AlignTerms, DecisionRule, FlushMethod, FlushSpec, GapMethod, GapSpec, PanelId, Plan, ScanTerms, Seam,
    SeamId, Side, Tolerance,
};
use shutline::rehearse::{Along, Rehearsal, RehearsedScan, SeamShape, TruthRow, rehearse};
use shutline::scan::{InOrder, ScanSource, VecSource};
use shutline::seam::{Corridors, Gathered};
use shutline::units::LengthUnit;

/// Length of a trial seam, mm: 28 stations.
pub const LENGTH_MM: f64 = 300.0;

/// What one trial seam is like.
#[derive(Debug, Clone, Copy)]
pub struct Wish {
    pub gap_mm: f64,
    pub radii_mm: [f64; 2],
    pub flush_mm: f64,
    pub datum_side: Side,
}

/// A station's truth with what was measured there.
pub struct Pair {
    pub truth: TruthRow,
    pub reading: StationReading,
}

impl Pair {
    pub fn gap_error_mm(&self) -> Option<f64> {
        Some(self.reading.gap.as_ref().ok()?.value_mm - self.truth.gap_mm?)
    }

    pub fn flush_error_mm(&self) -> Option<f64> {
        Some(self.reading.flush.as_ref().ok()?.value_mm - self.truth.flush_mm)
    }
}

/// Radii by gaps: every gap with every radius on the datum panel, the other panel's radius shifted by one.
pub fn wishes(gaps_mm: &[f64], radii_mm: &[f64]) -> Vec<Wish> {
    let mut wishes = Vec::new();
    for (place, gap_mm) in gaps_mm.iter().enumerate() {
        for (index, radius_mm) in radii_mm.iter().enumerate() {
            wishes.push(Wish {
                gap_mm: *gap_mm,
                radii_mm: [*radius_mm; 2],
                flush_mm: 0.6 * (index as f64 - 1.0),
                datum_side: if (place + index) % 2 == 0 { Side::Left } else { Side::Right },
            });
        }
    }
    wishes
}

/// A plan with one bent seam per wish, far enough apart not to meet.
pub fn plan_of(wishes: &[Wish], accuracy_mm: f64, smoothing_mm: Option<f64>) -> Plan {
    let seams = wishes.iter().enumerate().map(|(index, wish)| seam_of(index, wish)).collect();
    Plan {
        title: "trial".into(),
        units: LengthUnit::Millimetre,
        scan: ScanTerms { units: LengthUnit::Millimetre, accuracy_mm, smoothing_mm },
        panels: Vec::new(),
        seams,
        decision: DecisionRule::default(),
        advice: shutline::plan::AdviceTerms::default(),
        align: AlignTerms::default(),
        car: None,
        finish: shutline::plan::FinishTerms::default(),
        lineups: Vec::new(),
    }
}

fn seam_of(index: usize, wish: &Wish) -> Seam {
    let tolerance = Tolerance { nominal_mm: wish.gap_mm, minus_mm: 0.5, plus_mm: 0.5 };
    let flush = Tolerance { nominal_mm: wish.flush_mm, minus_mm: 0.5, plus_mm: 0.5 };
    let bend_mm = 1400.0;
    let (points, normals): (Vec<Point3<f64>>, Vec<Vector3<f64>>) = (0..=30)
        .map(|step| {
            let angle = f64::from(step) / 30.0 * LENGTH_MM / bend_mm;
            let (sine, cosine) = angle.sin_cos();
            let across = 40.0 * (angle * 2.0).sin();
            let point = Point3::new(bend_mm * sine, across + 300.0 * index as f64, bend_mm * (cosine - 1.0));
            (point, Vector3::new(sine, 0.0, cosine))
        })
        .unzip();
    Seam {
        id: SeamId(format!("trial-{index}")),
        title: String::new(),
        datum_panel: PanelId("datum".into()),
        other_panel: PanelId("other".into()),
        datum_side: wish.datum_side,
        curve: Curve::through(&points, Some(&normals)).unwrap(),
        station_spacing_mm: 10.0,
        skip_ends_mm: 15.0,
        gap: GapSpec { tolerance, method: GapMethod::Edge },
        flush: FlushSpec { tolerance: flush, method: FlushMethod::MidGap },
        taper: None,
        hem_radius_mm: [None, None],
        zones: Vec::new(),
    }
}

/// The rehearsal's settings with each seam's own shape: gap and flush drift a little along the seam.
pub fn shaped(plan: &Plan, wishes: &[Wish], mut rehearsal: Rehearsal) -> Rehearsal {
    for (seam, wish) in plan.seams.iter().zip(wishes) {
        let mut shape = SeamShape {
            gap_mm: Some(Along::smooth(&[(0.0, wish.gap_mm - 0.15), (LENGTH_MM, wish.gap_mm + 0.15)])),
            flush_mm: Some(Along::smooth(&[(0.0, wish.flush_mm), (LENGTH_MM, wish.flush_mm + 0.2)])),
            tilt_deg: Along::Constant(0.3),
            width_mm: 52.0,
            ..SeamShape::default()
        };
        shape.datum.hem_radius_mm = wish.radii_mm[0];
        shape.other.hem_radius_mm = wish.radii_mm[1];
        shape.other.crown_radius_mm = Some(900.0);
        rehearsal.seams.insert(seam.id.0.clone(), shape);
    }
    rehearsal
}

/// Gathers as the pipeline does: one collector a part, put together in order.
pub fn gather(plan: &Plan, source: &dyn ScanSource) -> Gathered {
    let corridors = Corridors::new(plan, RigidTransform::<ScannerFrame, Car>::new(Isometry3::identity()));
    let mut collectors = Vec::new();
    if source.is_mesh() {
        for part in 0..source.triangle_part_count() {
            let mut collector = corridors.collector();
            source.read_triangles(part, &mut collector).unwrap();
            collectors.push(collector);
        }
    } else {
        for part in 0..source.part_count() {
            let mut collector = corridors.collector();
            source.read_points(part, &mut collector).unwrap();
            collectors.push(collector);
        }
    }
    corridors.bands(collectors)
}

/// All seams of a scan, looked at once.
pub fn start_all<'a>(
    plan: &'a Plan,
    gathered: &Gathered,
    settings: &'a MeasureSettings,
) -> Vec<StartedSeam<'a>> {
    let seams = plan.seams.iter().zip(&gathered.bands);
    seams.map(|(seam, band)| start_seam(seam, band, settings, &InOrder)).collect()
}

pub fn measure_all(plan: &Plan, source: &dyn ScanSource) -> Vec<SeamReadings> {
    let gathered = gather(plan, source);
    let settings = MeasureSettings::for_plan(plan);
    let started = start_all(plan, &gathered, &settings);
    let smoothing = smoothing_of(&started, &settings, &InOrder);
    started.into_iter().map(|seam| seam.finish(smoothing)).collect()
}

pub fn pairs_of(scan: RehearsedScan, readings: Vec<SeamReadings>) -> Vec<Pair> {
    let readings = readings.into_iter().flat_map(|seam| seam.stations);
    scan.truth.into_iter().zip(readings).map(|(truth, reading)| Pair { truth, reading }).collect()
}

/// Rehearses, measures and pairs.
pub fn run(wishes: &[Wish], rehearsal: Rehearsal, accuracy_mm: f64, smoothing_mm: Option<f64>) -> Vec<Pair> {
    let plan = plan_of(wishes, accuracy_mm, smoothing_mm);
    rehearsed_pairs(&plan, &shaped(&plan, wishes, rehearsal))
}

/// Measures a rehearsal that is already shaped, and pairs.
pub fn rehearsed_pairs(plan: &Plan, rehearsal: &Rehearsal) -> Vec<Pair> {
    let scan = rehearse(plan, rehearsal).unwrap();
    let source = match &scan.triangles {
        Some(triangles) => VecSource::from_triangles(triangles.clone()),
        None => VecSource::from_points(&scan.points, scan.normals.clone()),
    };
    let readings = measure_all(plan, &source);
    pairs_of(scan, readings)
}
