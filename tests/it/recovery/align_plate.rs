//! A real scan registers onto itself after a known move: see `real_plate` for where the scan comes from. Two plates nearly
//! parallel to each other, 160 mm long, with noise of 0.10 and 0.13 mm: what holds them in their own plane is the edges of the
//! scan's steps and the bent rim alone.

use nalgebra::{Isometry3, Point3};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use shutline::align::{AlignSettings, AlignWarning, align};
use shutline::plan::AlignTerms;
use shutline::scan::{PointBlock, PointSink, ScanSource, VecSource};

use super::front_end::direction;
use super::real_plate::{both_edges, scan};

#[derive(Default)]
struct Collected(Vec<Point3<f64>>);

impl PointSink for Collected {
    fn take(&mut self, block: &PointBlock<'_>) {
        self.0.extend((0..block.len()).map(|index| block.point(index)));
    }
}

fn points_of(source: &dyn ScanSource) -> Vec<Point3<f64>> {
    let mut sink = Collected::default();
    for part in 0..source.part_count() {
        source.read_points(part, &mut sink).unwrap();
    }
    sink.0
}

/// Two fifths of the points along the plates, and every fifth of those.
fn cut_and_thinned(points: &[Point3<f64>], first: usize) -> Vec<Point3<f64>> {
    let mut along: Vec<f64> = points.iter().map(|point| point.y).collect();
    along.sort_by(f64::total_cmp);
    let (low, high) = (along[0], along[along.len() * 2 / 5]);
    let cut = points.iter().filter(|point| (low..=high).contains(&point.y));
    cut.skip(first).step_by(5).copied().collect()
}

/// Largest displacement over the cut.
fn error_mm(found: &Isometry3<f64>, truth: &Isometry3<f64>, cut: &[Point3<f64>]) -> f64 {
    let apart = found * truth.inverse();
    cut.iter().map(|point| (apart * point - point).norm()).fold(0.0, f64::max)
}

/// The scan's own noise is 0.10 to 0.13 mm: the pose is held to one standard deviation of a single point, everywhere.
const BUDGET_MM: f64 = 0.1;

#[test]
fn a_real_plate_registers_onto_itself_after_a_known_move() {
    let whole = points_of(scan().as_ref());
    let mut plan = both_edges();
    let mut random = ChaCha8Rng::seed_from_u64(3);
    for (turn_rad, shift_mm, has_start) in [(0.1, 10.0, true), (2.0, 300.0, false)] {
        let cut = cut_and_thinned(&whole, 2);
        let middle = Point3::from(
            cut.iter().map(|point| point.coords).sum::<nalgebra::Vector3<f64>>() / cut.len() as f64,
        );
        let turn = nalgebra::UnitQuaternion::from_scaled_axis(direction(&mut random) * turn_rad);
        let shift = middle.coords - turn * middle.coords + direction(&mut random) * shift_mm;
        let truth = Isometry3::from_parts(shift.into(), turn);
        let moved: Vec<Point3<f64>> = cut.iter().map(|point| truth.inverse() * point).collect();
        plan.align = if has_start {
            AlignTerms::BestFit { reference: String::new(), start: Isometry3::identity(), limit_mm: 1.0 }
        } else {
            AlignTerms::Coarse { reference: String::new(), limit_mm: 1.0 }
        };
        let (scan, reference) = (VecSource::from_points(&moved, None), VecSource::from_points(&whole, None));
        let found = align(&scan, &plan, Some(&reference), &AlignSettings::default()).unwrap();
        let off_mm = error_mm(found.car_from_scanner.isometry(), &truth, &cut);
        println!(
            "{}: off {off_mm:.4} mm, condition {:.1}, rms {:.3} mm, {} points, {:?}",
            found.way, found.condition, found.rms_residual_mm, found.points_used, found.warnings
        );
        assert!(off_mm < BUDGET_MM, "{off_mm}");
        assert!((0.01..0.15).contains(&found.rms_residual_mm), "{}", found.rms_residual_mm);
        let lost = found.warnings.iter().any(|warning| matches!(warning, AlignWarning::StartPoseUseless));
        assert!(!(has_start && lost), "{:?}", found.warnings);
    }
}
