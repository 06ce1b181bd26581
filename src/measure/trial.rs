//! A small seam with known gap and flush, for unit tests; the real practice scans come from `rehearse`.

use nalgebra::{Isometry3, Point3, Vector3};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};

use super::{MeasureSettings, SeamReadings, measure_seam};
use crate::frames::{Car, Scanner};
use crate::geometry::{Curve, RigidTransform};
use crate::plan::{
    AlignTerms, DecisionRule, FlushMethod, FlushSpec, GapMethod, GapSpec, PanelId, Plan, ScanTerms, Seam,
    SeamId, Side, Tolerance,
};
use crate::scan::{ScanSource, VecSource};
use crate::seam::{Corridors, SeamBand};
use crate::units::LengthUnit;

/// Two flat or crowned panels along x; the datum panel on the left (+y), outward is +z.
#[derive(Debug, Clone, Copy)]
struct Trial {
    gap_mm: f64,
    flush_mm: f64,
    radii_mm: [f64; 2],
    crown_mm: f64,
    spacing_mm: f64,
    noise_mm: f64,
    length_mm: f64,
    turn_rad: f64,
}

impl Default for Trial {
    fn default() -> Self {
        Self {
            gap_mm: 4.0,
            flush_mm: 0.3,
            radii_mm: [2.0, 1.5],
            crown_mm: 900.0,
            spacing_mm: 0.3,
            noise_mm: 0.0,
            length_mm: 200.0,
            turn_rad: 2.2,
        }
    }
}

impl Trial {
    /// Place and normal on a panel's profile at an arc length from the hem's tangent point (negative on the surface).
    fn profile(&self, side: usize, length_mm: f64) -> (f64, f64) {
        let radius_mm = self.radii_mm[side];
        let tangent_q_mm = self.gap_mm / 2.0 + radius_mm;
        let crown = |q: f64| -(self.crown_mm - (self.crown_mm * self.crown_mm - q * q).sqrt());
        let lift_mm = if side == 1 { self.flush_mm } else { 0.0 };
        if length_mm < 0.0 {
            let q = tangent_q_mm - length_mm;
            return (q, crown(q) + lift_mm);
        }
        let slope = -tangent_q_mm / self.crown_mm;
        let stretch = slope.hypot(1.0);
        let centre_z_mm = crown(tangent_q_mm) - radius_mm * stretch;
        let tilt = slope.atan();
        let angle = (length_mm / radius_mm).min(self.turn_rad);
        let beyond_mm = (length_mm - radius_mm * angle).max(0.0);
        // Directions from the centre, turned with the surface so that the arc leaves it smoothly.
        let from_up = angle + tilt;
        let start_q = tangent_q_mm - 0.0;
        let q = start_q - radius_mm * from_up.sin() + beyond_mm * -(from_up.cos());
        let z = centre_z_mm + radius_mm * from_up.cos() - beyond_mm * from_up.sin();
        (q, z + lift_mm)
    }

    fn scan(&self, seed: u64) -> Vec<Point3<f64>> {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let noise = Normal::new(0.0, self.noise_mm.max(1e-12)).unwrap();
        let mut points = Vec::new();
        for side in 0..2 {
            let sign = if side == 0 { 1.0 } else { -1.0 };
            let end_mm = self.radii_mm[side] * self.turn_rad + 2.0;
            let area_mm2 = (self.length_mm + 20.0) * (42.0 + end_mm);
            for _ in 0..(area_mm2 / self.spacing_mm.powi(2)) as usize {
                let along = random.random_range(-10.0..self.length_mm + 10.0);
                let (q, z) = self.profile(side, random.random_range(-42.0..end_mm));
                let jitter = Vector3::new(0.0, noise.sample(&mut random), noise.sample(&mut random));
                points.push(Point3::new(along, sign * q, z) + jitter);
            }
        }
        points
    }

    fn plan(&self, curve: Curve) -> Plan {
        let tolerance = Tolerance { nominal_mm: 4.0, minus_mm: 0.5, plus_mm: 0.5 };
        let seam = Seam {
            id: SeamId("trial".into()),
            title: String::new(),
            datum_panel: PanelId("a".into()),
            other_panel: PanelId("b".into()),
            datum_side: Side::Left,
            curve,
            station_spacing_mm: 10.0,
            skip_ends_mm: 15.0,
            gap: GapSpec { tolerance, method: GapMethod::Edge },
            flush: FlushSpec { tolerance, method: FlushMethod::MidGap },
            taper: None,
            hem_radius_mm: [None, None],
            zones: Vec::new(),
        };
        plan_of(seam)
    }

    fn curve(&self, off_mm: f64) -> Curve {
        let points: Vec<Point3<f64>> = (0..=20)
            .map(|index| Point3::new(f64::from(index) * self.length_mm / 20.0, off_mm, -off_mm))
            .collect();
        Curve::through(&points, Some(&vec![Vector3::z(); points.len()])).unwrap()
    }
}

fn plan_of(seam: Seam) -> Plan {
    Plan {
        title: String::new(),
        units: LengthUnit::Millimetre,
        scan: ScanTerms { units: LengthUnit::Millimetre, accuracy_mm: 0.01, smoothing_mm: None },
        panels: Vec::new(),
        seams: vec![seam],
        decision: DecisionRule::default(),
        advice: crate::plan::AdviceTerms::default(),
        align: AlignTerms::default(),
        car: None,
        finish: crate::plan::FinishTerms::default(),
        lineups: Vec::new(),
    }
}

fn gather(plan: &Plan, points: &[Point3<f64>]) -> SeamBand {
    let source = VecSource::from_points(points, None);
    let corridors = Corridors::new(plan, RigidTransform::<Scanner, Car>::new(Isometry3::identity()));
    let collectors = (0..source.part_count())
        .map(|part| {
            let mut collector = corridors.collector();
            source.read_points(part, &mut collector).unwrap();
            collector
        })
        .collect();
    corridors.bands(collectors).bands.remove(0)
}

fn measure(trial: &Trial, off_mm: f64, seed: u64) -> SeamReadings {
    let plan = trial.plan(trial.curve(off_mm));
    let band = gather(&plan, &trial.scan(seed));
    measure_seam(&plan.seams[0], &band, &MeasureSettings::for_plan(&plan))
}

fn worst_errors_mm(readings: &SeamReadings, trial: &Trial) -> (f64, f64) {
    let mut worst = (0.0_f64, 0.0_f64);
    for reading in &readings.stations {
        let (gap, flush) = (reading.gap.as_ref().unwrap(), reading.flush.as_ref().unwrap());
        worst.0 = worst.0.max((gap.value_mm - trial.gap_mm).abs());
        worst.1 = worst.1.max((flush.value_mm - trial.flush_mm).abs());
    }
    worst
}

#[test]
fn without_noise_gap_and_flush_come_out_to_a_micrometre() {
    let trial = Trial::default();
    let readings = measure(&trial, 0.0, 1);
    assert_eq!(readings.stations.len(), 18);
    let (gap_mm, flush_mm) = worst_errors_mm(&readings, &trial);
    assert!(gap_mm < 1e-3, "{gap_mm}");
    assert!(flush_mm < 1e-3, "{flush_mm}");
}

#[test]
fn a_curve_three_millimetres_off_changes_nothing() {
    let trial = Trial::default();
    let (gap_mm, flush_mm) = worst_errors_mm(&measure(&trial, 3.0, 1), &trial);
    assert!(gap_mm < 1e-3, "{gap_mm}");
    assert!(flush_mm < 1e-3, "{flush_mm}");
}

#[test]
fn white_noise_of_30_micrometres_leaves_less_than_25_in_gap() {
    let trial = Trial { noise_mm: 0.03, ..Trial::default() };
    let (gap_mm, flush_mm) = worst_errors_mm(&measure(&trial, 1.0, 1), &trial);
    // Four times the scatter of 6 µm (gap) and 3.5 µm (flush) that this noise leaves.
    assert!(gap_mm < 0.025, "{gap_mm}");
    assert!(flush_mm < 0.014, "{flush_mm}");
}
