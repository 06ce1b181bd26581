//! Places where a seam must not be measured, or not as if it were whole: a third panel in the section, one surface that runs
//! on, panels that are narrow, scans that are too thin, flanges that lean out. Shapes by construction, no code shared with
//! the measuring.

use std::collections::BTreeSet;

use nalgebra::{Point3, Vector3};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use shutline::geometry::Curve;
use shutline::measure::{Reason, SeamReadings, Warning};
use shutline::plan::{Plan, Side};
use shutline::rehearse::{Along, Faults, Rehearsal, Scanner, rehearse};
use shutline::scan::VecSource;

use super::table::Errors;
use super::trial::{Pair, Wish, measure_all, pairs_of, plan_of, rehearsed_pairs, run, shaped, wishes};

const GAP_MM: f64 = 4.0;
const HEM_MM: f64 = 2.0;

/// A rectangular flat panel with a hem all round; `low..high` in x and y, its height.
struct Plate {
    x_mm: (f64, f64),
    y_mm: (f64, f64),
    z_mm: f64,
}

impl Plate {
    /// Points at random, evenly over the plate as seen from outside, and on a flange of 3 mm under its rim.
    fn points(&self, random: &mut ChaCha8Rng, points: &mut Vec<Point3<f64>>) {
        let (wide, long) = (self.x_mm.1 - self.x_mm.0, self.y_mm.1 - self.y_mm.0);
        for _ in 0..(wide * long / 0.16) as usize {
            let x = random.random_range(self.x_mm.0..self.x_mm.1);
            let y = random.random_range(self.y_mm.0..self.y_mm.1);
            let inside = (x - self.x_mm.0).min(self.x_mm.1 - x).min(y - self.y_mm.0).min(self.y_mm.1 - y);
            let short = (HEM_MM - inside).max(0.0);
            let noise: f64 = random.random_range(-0.02..0.02);
            points.push(Point3::new(
                x,
                y,
                self.z_mm + noise - HEM_MM + (HEM_MM * HEM_MM - short * short).sqrt(),
            ));
        }
        for _ in 0..(2.0 * (wide + long) * 3.0 / 0.16) as usize {
            let along = random.random_range(0.0..2.0 * (wide + long));
            let z = self.z_mm - HEM_MM - random.random_range(0.0..3.0);
            let (x, y) = if along < wide {
                (self.x_mm.0 + along, self.y_mm.0)
            } else if along < wide + long {
                (self.x_mm.1, self.y_mm.0 + along - wide)
            } else if along < 2.0 * wide + long {
                (self.x_mm.0 + along - wide - long, self.y_mm.1)
            } else {
                (self.x_mm.0, self.y_mm.0 + along - 2.0 * wide - long)
            };
            points.push(Point3::new(x, y, z));
        }
    }
}

/// A seam of plan along +y from `y_mm.0` to `y_mm.1`, stations every 2 mm from one end to the other.
fn plan_along_y(y_mm: (f64, f64)) -> Plan {
    let wish = Wish { gap_mm: GAP_MM, radii_mm: [HEM_MM; 2], flush_mm: 0.0, datum_side: Side::Left };
    let mut plan = plan_of(&[wish], 0.01, None);
    let points: Vec<Point3<f64>> = (0..=20)
        .map(|step| Point3::new(0.0, y_mm.0 + f64::from(step) / 20.0 * (y_mm.1 - y_mm.0), 0.0))
        .collect();
    plan.seams[0].curve = Curve::through(&points, Some(&vec![Vector3::z(); points.len()])).unwrap();
    plan.seams[0].station_spacing_mm = 2.0;
    plan.seams[0].skip_ends_mm = 0.0;
    plan
}

fn measured(plan: &Plan, plates: &[Plate]) -> SeamReadings {
    let mut random = ChaCha8Rng::seed_from_u64(5);
    let mut points = Vec::new();
    for plate in plates {
        plate.points(&mut random, &mut points);
    }
    measure_all(plan, &VecSource::from_points(&points, None)).remove(0)
}

/// Left one long panel; right two, one behind the other, the second 0.8 mm lower. The plan's seam runs past the corner.
#[test]
fn a_third_panel_in_the_section_is_a_junction_and_never_a_wrong_number() {
    let plates = [
        Plate { x_mm: (-60.0, -2.0), y_mm: (-250.0, 200.0), z_mm: 0.0 },
        Plate { x_mm: (2.0, 60.0), y_mm: (-250.0, -2.0), z_mm: 0.0 },
        Plate { x_mm: (2.0, 60.0), y_mm: (2.0, 200.0), z_mm: -0.8 },
    ];
    let readings = measured(&plan_along_y((-200.0, 20.0)), &plates);
    let mut junctions = 0;
    for reading in &readings.stations {
        let y_mm = reading.point.y;
        let flush_mm = if y_mm < 0.0 { 0.0 } else { -0.8 };
        if y_mm < -25.0 {
            assert!(reading.gap.is_ok() && reading.flush.is_ok(), "{y_mm}: {:?}", reading.gap);
        }
        if let Ok(flush) = &reading.flush {
            // Six of the noise's standard deviations of 0.012 mm.
            assert!((flush.value_mm - flush_mm).abs() < 0.07, "flush {} at y = {y_mm}", flush.value_mm);
        }
        if let Ok(gap) = &reading.gap {
            assert!((gap.value_mm - GAP_MM).abs() < 0.1, "gap {} at y = {y_mm}", gap.value_mm);
        }
        junctions += usize::from(reading.gap.as_ref().err() == Some(&Reason::Junction));
    }
    assert!(junctions >= 2, "{junctions} stations say that there is a junction");
}

#[test]
fn a_surface_that_runs_on_is_not_a_seam() {
    let plates = [Plate { x_mm: (-60.0, 60.0), y_mm: (-250.0, 200.0), z_mm: 0.0 }];
    for reading in measured(&plan_along_y((-150.0, 150.0)), &plates).stations {
        assert_eq!(reading.gap.as_ref().err(), Some(&Reason::NotASeam), "at {}", reading.point);
        assert_eq!(reading.flush.as_ref().err(), Some(&Reason::NotASeam), "at {}", reading.point);
    }
}

/// Gaps that are too narrow to see edges in: what a fitter must hear is that the panels nearly touch, not that there is no seam.
#[test]
fn a_gap_that_is_nearly_shut_is_said_to_be() {
    for (seed, scanner) in [(71, Scanner::good()), (72, Scanner::ordinary())] {
        for (gap_mm, radius_mm) in [(0.3, 1.0), (0.5, 1.0), (0.4, 2.0), (0.8, 2.0)] {
            let wish = Wish { gap_mm, radii_mm: [radius_mm; 2], flush_mm: 0.3, datum_side: Side::Left };
            let plan = plan_of(&[wish], 0.02, None);
            let settings = Rehearsal { seed, scanner: scanner.clone(), ..Rehearsal::default() };
            let mut settings = shaped(&plan, &[wish], settings);
            for shape in settings.seams.values_mut() {
                shape.gap_mm = Some(Along::Constant(gap_mm));
            }
            let pairs = rehearsed_pairs(&plan, &settings);
            let said =
                pairs.iter().filter(|pair| pair.reading.gap.as_ref().err() == Some(&Reason::NearlyShut));
            let said = said.count();
            // What the fitter needs to see for himself.
            assert!(pairs.iter().all(|pair| pair.reading.profile.points.len() > 50));
            assert!(
                said == pairs.len(),
                "{gap_mm} mm, hems of {radius_mm}: {said} of {}: {:?}",
                pairs.len(),
                reasons(&pairs)
            );
        }
    }
}

#[test]
fn a_gap_as_wide_as_a_hand_is_measured_over_what_lies_beneath_it() {
    let faults = Faults { structure_depth_mm: Some(22.0), ..Faults::default() };
    for (seed, gap_mm) in [(81, 15.0), (82, 25.0), (83, 40.0)] {
        let wish = Wish { gap_mm, radii_mm: [1.5, 3.0], flush_mm: 0.3, datum_side: Side::Right };
        let plan = plan_of(&[wish], 0.02, None);
        let settings =
            Rehearsal { seed, scanner: Scanner::good(), faults: faults.clone(), ..Rehearsal::default() };
        let pairs = rehearsed_pairs(&plan, &shaped(&plan, &[wish], settings));
        assert!(worst_gap_error_mm(&pairs) < 0.06, "{gap_mm} mm: {}", worst_gap_error_mm(&pairs));
        let seen = pairs.iter().filter(|pair| pair.reading.gap.is_ok()).count();
        assert!(seen == pairs.len() && seen > 20, "{gap_mm} mm: {:?}", reasons(&pairs));
    }
}

/// A panel that stands far from where it was planned, so that the curve lies nearer to the other one and structure shows between them.
fn misplaced(seed: u64, (gap_mm, off_mm): (f64, f64), structure_mm: f64) -> Vec<Pair> {
    let wish = Wish { gap_mm, radii_mm: [1.5, 2.5], flush_mm: 0.3, datum_side: Side::Left };
    let actual = plan_of(&[wish], 0.02, None);
    let faults = Faults { structure_depth_mm: Some(structure_mm), ..Faults::default() };
    let settings = Rehearsal { seed, scanner: Scanner::good(), faults, ..Rehearsal::default() };
    let scan = rehearse(&actual, &shaped(&actual, &[wish], settings)).unwrap();
    let mut wanted = actual;
    let seam = &mut wanted.seams[0];
    seam.gap.tolerance.nominal_mm = GAP_MM;
    let frames = seam.curve.distances_mm().iter().map(|along_mm| seam.curve.frame_at(*along_mm));
    let (moved, normals): (Vec<Point3<f64>>, Vec<Vector3<f64>>) =
        frames.map(|frame| (frame.origin + Vector3::y() * off_mm, frame.outward)).unzip();
    seam.curve = Curve::through(&moved, Some(&normals)).unwrap();
    let readings = measure_all(&wanted, &VecSource::from_points(&scan.points, scan.normals.clone()));
    pairs_of(scan, readings)
}

#[test]
fn a_gap_far_wider_than_planned_is_measured_too() {
    for (seed, gap_mm, off_mm, structure_mm) in
        [(91, 20.0, 0.0, 22.0), (92, 20.0, 8.0, 22.0), (93, 20.0, -8.0, 22.0)]
    {
        let pairs = misplaced(seed, (gap_mm, off_mm), structure_mm);
        let worst_mm = worst_gap_error_mm(&pairs);
        assert!(worst_mm < 0.06, "{gap_mm} mm, {off_mm} mm off: {worst_mm}");
        let flush_mm = pairs.iter().filter_map(Pair::flush_error_mm).map(f64::abs).fold(0.0, f64::max);
        assert!(flush_mm < 0.08, "{gap_mm} mm, {off_mm} mm off: flush {flush_mm}");
        let seen = pairs.iter().filter(|pair| pair.reading.gap.is_ok() && pair.reading.flush.is_ok());
        assert!(seen.count() == pairs.len() && pairs.len() > 20, "{gap_mm} mm: {:?}", reasons(&pairs));
    }
}

fn reasons(pairs: &[Pair]) -> BTreeSet<&'static str> {
    pairs.iter().filter_map(|pair| Some(pair.reading.gap.as_ref().err()?.token())).collect()
}

fn worst_gap_error_mm(pairs: &[Pair]) -> f64 {
    pairs.iter().filter_map(Pair::gap_error_mm).map(f64::abs).fold(0.0, f64::max)
}

/// Spacing against a hem of 2 mm: 1.25 mm still shows it, 3 mm does not, and the reading says that it is the spacing.
#[test]
fn a_thin_scan_is_measured_as_far_as_it_shows_the_hem_and_then_called_too_sparse() {
    let at = |spacing_mm: f64| {
        let scanner = Scanner { spacing_mm, ..Scanner::ordinary() };
        let rehearsal = Rehearsal { scanner, seed: 7, ..Rehearsal::default() };
        run(&wishes(&[GAP_MM], &[HEM_MM]), rehearsal, 0.02, None)
    };
    let seen = at(1.25);
    assert!(reasons(&seen).is_empty(), "{:?}", reasons(&seen));
    // Three times the scatter of an ordinary scan with a spacing of 0.4 mm.
    assert!(worst_gap_error_mm(&seen) < 0.1, "{}", worst_gap_error_mm(&seen));
    assert_eq!(reasons(&at(3.0)), BTreeSet::from(["too-sparse"]));
}

#[test]
fn a_panel_that_ends_behind_its_hem_has_too_short_a_surface() {
    let wishes = wishes(&[GAP_MM], &[HEM_MM]);
    let at = |width_mm: f64| {
        let plan = plan_of(&wishes, 0.02, None);
        let rehearsal = Rehearsal { scanner: Scanner::ordinary(), seed: 7, ..Rehearsal::default() };
        let mut rehearsal = shaped(&plan, &wishes, rehearsal);
        rehearsal.seams.values_mut().for_each(|shape| shape.width_mm = width_mm);
        super::trial::rehearsed_pairs(&plan, &rehearsal)
    };
    assert_eq!(reasons(&at(8.0)), BTreeSet::from(["surface-too-short"]));
    let narrow = at(15.0);
    assert!(reasons(&narrow).is_empty(), "{:?}", reasons(&narrow));
    assert!(worst_gap_error_mm(&narrow) < 0.1, "{}", worst_gap_error_mm(&narrow));
}

/// The edge is the furthest point of the profile: on a flange that leans out, its lower end. Where that is seen, the gap is as
/// good as any other; where it lies deeper than the scanner sees, the reading says so.
/// Rolled edges: beyond 4.5 mm the points of the hem would be taken for surface, unless the plan says how large it is.
#[test]
fn a_large_hem_is_measured_where_the_plan_gives_its_radius() {
    let wish = Wish { gap_mm: GAP_MM, radii_mm: [6.0, 8.0], flush_mm: 0.3, datum_side: Side::Right };
    let mut plan = plan_of(&[wish], 0.02, None);
    plan.seams[0].hem_radius_mm = wish.radii_mm.map(Some);
    for (seed, scanner) in [(101, Scanner::good()), (102, Scanner::ordinary())] {
        let rehearsal = Rehearsal { scanner, seed, ..Rehearsal::default() };
        let pairs = rehearsed_pairs(&plan, &shaped(&plan, &[wish], rehearsal));
        let (gap, flush) = (Errors::of_gap(pairs.iter()), Errors::of_flush(pairs.iter()));
        let text = format!("{}\n{}\n{:?}", gap.line("gap"), flush.line("flush"), reasons(&pairs));
        assert!(gap.count() == pairs.len() && flush.count() == pairs.len(), "{text}");
        assert!(gap.worst_u() < 3.0 && flush.worst_u() < 3.0 && gap.rms_mm() < 0.05, "{text}");
    }
}

/// Both flanges at 75°: their last half millimetres hide behind one another.
#[test]
fn two_flanges_that_lean_towards_each_other_are_uncertain_by_what_they_hide() {
    let wish = Wish { gap_mm: GAP_MM, radii_mm: [HEM_MM; 2], flush_mm: 0.0, datum_side: Side::Left };
    let plan = plan_of(&[wish], 0.01, None);
    for (seed, scanner) in [(91, Scanner::good()), (92, Scanner::ordinary())] {
        let rehearsal = Rehearsal { scanner, seed, ..Rehearsal::default() };
        let mut rehearsal = shaped(&plan, &[wish], rehearsal);
        for shape in rehearsal.seams.values_mut() {
            (shape.datum.hem_turn_deg, shape.other.hem_turn_deg) = (75.0, 75.0);
        }
        let pairs = rehearsed_pairs(&plan, &rehearsal);
        let gap = Errors::of_gap(pairs.iter());
        assert!(gap.count() > 20 && gap.worst_u() < 2.0, "{}", gap.line("gap"));
        assert!(gap.mean_u_mm() < 0.4, "{}", gap.line("gap"));
    }
}

#[test]
fn a_flange_that_leans_out_is_followed_to_its_end() {
    let wishes = wishes(&[GAP_MM], &[1.0, HEM_MM]);
    // Turn of the hem, whether the flange leans out or may, and the largest error: 0.3° of tilt and the crown make 90° lean out
    // by 0.1 mm over its 8 mm, of which 3 to 4 mm are seen.
    for (turn_deg, is_open, limit_mm) in
        [(75.0, true, 0.1), (85.0, true, 0.45), (90.0, true, 0.15), (180.0, false, 0.1)]
    {
        let plan = plan_of(&wishes, 0.02, None);
        let rehearsal = Rehearsal { scanner: Scanner::ordinary(), seed: 7, ..Rehearsal::default() };
        let mut rehearsal = shaped(&plan, &wishes, rehearsal);
        rehearsal.seams.values_mut().for_each(|shape| shape.other.hem_turn_deg = turn_deg);
        let pairs = super::trial::rehearsed_pairs(&plan, &rehearsal);
        let is_said = |pair: &&Pair| pair.reading.warnings.contains(&Warning::OpenFlange);
        let said = pairs.iter().filter(is_said).count();
        assert_eq!(said, if is_open { pairs.len() } else { 0 }, "{turn_deg}°");
        assert!(worst_gap_error_mm(&pairs) < limit_mm, "{turn_deg}°: {}", worst_gap_error_mm(&pairs));
        let seen: Vec<&Pair> = pairs.iter().filter(|pair| pair.truth.edge_is_visible == [true; 2]).collect();
        let is_covered = |pair: &&&Pair| {
            let (Some(error_mm), Ok(gap)) = (pair.gap_error_mm(), &pair.reading.gap) else { return false };
            error_mm.abs() <= 2.0 * gap.u_mm
        };
        let covered = seen.iter().filter(is_covered).count();
        assert!(10 * covered >= 9 * seen.len(), "{turn_deg}°: {covered} of {} covered", seen.len());
    }
}
