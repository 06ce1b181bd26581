//! Finds the pose of a scan on a surface with no start: any turn, parts missing on both sides.
//!
//! In: two surfaces of nodes, the scan's and the reference's. Out: candidate poses, best first. Units: mm.
//! Method: pairs of oriented points with equal distance and angles (point pair features: B. Drost et al., CVPR 2010) give
//! a pose each; every pose is scored by the share of the scan's nodes that come to lie on the reference with matching
//! normals, looked up in a grid; the best, apart from each other, are returned. Drawn with a fixed seed.
//! Does not refine and does not judge: see `search`.

use nalgebra::{Isometry3, Point3, Rotation3, Translation3, UnitQuaternion, Vector3};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::surface::Surface;
use super::surface_grid::SurfaceGrid;
use super::thin::spread_out;

/// Nodes of the reference that pairs are made of.
const REFERENCE_SEATS: usize = 500;
/// Pairs drawn in the scan.
const SCAN_PAIRS: usize = 600;
/// Pairs after which a good pose ends the drawing: its rivals have had as many chances.
const ENOUGH_PAIRS: usize = 150;
/// A pose this good is good: all of the scan but strays and what the reference lacks.
const GOOD_SHARE: f64 = 0.75;
/// Most poses tried for one pair of the scan.
const MOST_PER_PAIR: usize = 1500;
/// Nodes of the scan in the first look and in the full score.
const GLANCE_NODES: usize = 24;
const SCORE_NODES: usize = 250;
/// Share of the first look that a pose must reach to be scored in full.
const GLANCE_SHARE: f64 = 0.35;
/// Bins of the features: distances of pairs, and each of three angles.
const ANGLE_BIN_RAD: f64 = 0.14;
/// Poses nearer to each other than this are one candidate.
const APART_RAD: f64 = 0.12;
/// Candidates returned.
const CANDIDATES: usize = 24;

/// A pose with the share of the scan's nodes that fit.
#[derive(Debug, Clone, Copy)]
pub(super) struct Candidate {
    pub pose: Isometry3<f64>,
    pub share: f64,
}

#[derive(Clone, Copy)]
struct Seat {
    point: Point3<f64>,
    normal: Vector3<f64>,
}

/// Distance (in bins of the reference) and the angles of a pair; see the module head.
type Feature = [f64; 4];

fn seats_of(surface: &Surface, wanted: usize) -> Vec<Seat> {
    let points: Vec<Point3<f64>> = surface.nodes.iter().map(|node| node.origin).collect();
    spread_out(&points, wanted)
        .into_iter()
        .map(|index| Seat { point: points[index], normal: surface.nodes[index].normal() })
        .collect()
}

/// Candidate poses, best first, apart from each other.
pub(super) fn candidates(scan: &Surface, reference: &Surface, sign: f64, seed: u64) -> Vec<Candidate> {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let grid = SurfaceGrid::over(reference);
    let reference_seats = seats_of(reference, REFERENCE_SEATS);
    let mut scan_seats = seats_of(scan, 2 * SCORE_NODES);
    scan_seats.iter_mut().for_each(|seat| seat.normal *= sign);
    shuffle(&mut scan_seats, &mut random);
    let size_mm =
        super::thin::typical_extent_mm(&scan_seats.iter().map(|seat| seat.point).collect::<Vec<_>>());
    let table = PairTable::of(&reference_seats, size_mm);
    let mut best: Vec<Candidate> = Vec::new();
    for drawn in 0..SCAN_PAIRS {
        if drawn >= ENOUGH_PAIRS && best.first().is_some_and(|found| found.share > GOOD_SHARE) {
            break;
        }
        let Some((first, second)) = draw_pair(&scan_seats, size_mm, &mut random) else { continue };
        for (a, b) in table.like(&first, &second, &mut random) {
            let Some(pose) = pose_of_pairs((&first, &second), (&reference_seats[a], &reference_seats[b]))
            else {
                continue;
            };
            let glance = grid.share(&pose, scan_seats.iter().take(GLANCE_NODES).map(pair_of));
            if glance < GLANCE_SHARE {
                continue;
            }
            let share = grid.share(&pose, scan_seats.iter().take(SCORE_NODES).map(pair_of));
            keep(&mut best, Candidate { pose, share }, &scan_seats, size_mm);
        }
    }
    best
}

const fn pair_of(seat: &Seat) -> (Point3<f64>, Vector3<f64>) {
    (seat.point, seat.normal)
}

fn shuffle(seats: &mut [Seat], random: &mut ChaCha8Rng) {
    for index in (1..seats.len()).rev() {
        seats.swap(index, random.random_range(0..=index));
    }
}

/// Two nodes of the scan, far apart and not parallel: they fix the turn well.
fn draw_pair(seats: &[Seat], size_mm: f64, random: &mut ChaCha8Rng) -> Option<(Seat, Seat)> {
    if seats.len() < 2 {
        return None;
    }
    (0..50).find_map(|_| {
        let first = seats[random.random_range(0..seats.len())];
        let second = seats[random.random_range(0..seats.len())];
        let distance_mm = (second.point - first.point).norm();
        (distance_mm > 0.25 * size_mm && distance_mm < 0.7 * size_mm).then_some((first, second))
    })
}

fn feature(first: &Seat, second: &Seat) -> Option<Feature> {
    let line = second.point - first.point;
    let distance_mm = line.norm();
    let unit = line.try_normalize(1e-9)?;
    let angle = |cosine: f64| cosine.clamp(-1.0, 1.0).acos();
    Some([
        distance_mm,
        angle(first.normal.dot(&unit)),
        angle(second.normal.dot(&unit)),
        angle(first.normal.dot(&second.normal)),
    ])
}

/// Ordered pairs of the reference by feature, sorted for lookup by distance bin.
struct PairTable {
    bin_mm: f64,
    bins: std::collections::BTreeMap<[i32; 4], Vec<(u32, u32)>>,
}

impl PairTable {
    fn of(seats: &[Seat], size_mm: f64) -> Self {
        let bin_mm = (size_mm * 0.03).max(1e-6);
        let mut bins: std::collections::BTreeMap<[i32; 4], Vec<(u32, u32)>> =
            std::collections::BTreeMap::new();
        for (first_index, first) in seats.iter().enumerate() {
            for (second_index, second) in seats.iter().enumerate() {
                let Some(found) = feature(first, second).filter(|found| found[0] < 0.75 * size_mm) else {
                    continue;
                };
                let pair = (first_index as u32, second_index as u32);
                bins.entry(bin_of(&found, bin_mm)).or_default().push(pair);
            }
        }
        Self { bin_mm, bins }
    }

    /// Pairs with about the same feature: the bins within half a bin of it.
    fn like(&self, first: &Seat, second: &Seat, random: &mut ChaCha8Rng) -> Vec<(usize, usize)> {
        let Some(found) = feature(first, second) else { return Vec::new() };
        let mut pairs: Vec<(usize, usize)> = Vec::new();
        for corner in 0..16_u32 {
            let mut shifted = found;
            for (axis, value) in shifted.iter_mut().enumerate() {
                let step = if axis == 0 { self.bin_mm } else { ANGLE_BIN_RAD };
                *value += if corner >> axis & 1 == 0 { -0.5 * step } else { 0.5 * step };
            }
            let entry = self.bins.get(&bin_of(&shifted, self.bin_mm));
            pairs.extend(entry.into_iter().flatten().map(|(a, b)| (*a as usize, *b as usize)));
        }
        if pairs.len() > MOST_PER_PAIR {
            let start = random.random_range(0..pairs.len());
            let step = pairs.len().div_ceil(MOST_PER_PAIR);
            pairs.rotate_left(start);
            pairs = pairs.into_iter().step_by(step).collect();
        }
        pairs
    }
}

fn bin_of(found: &Feature, bin_mm: f64) -> [i32; 4] {
    [
        (found[0] / bin_mm).floor() as i32,
        (found[1] / ANGLE_BIN_RAD).floor() as i32,
        (found[2] / ANGLE_BIN_RAD).floor() as i32,
        (found[3] / ANGLE_BIN_RAD).floor() as i32,
    ]
}

/// The pose that takes one oriented pair to another: lines on each other, the sum of normals turned together.
fn pose_of_pairs(from: (&Seat, &Seat), to: (&Seat, &Seat)) -> Option<Isometry3<f64>> {
    let basis = |pair: (&Seat, &Seat)| {
        let line = (pair.1.point - pair.0.point).try_normalize(1e-9)?;
        let normals = pair.0.normal + pair.1.normal;
        let up = (normals - line * normals.dot(&line)).try_normalize(0.2)?;
        Some(nalgebra::Matrix3::from_columns(&[line, up, line.cross(&up)]))
    };
    let turn = Rotation3::from_matrix_unchecked(basis(to)? * basis(from)?.transpose());
    let turn = UnitQuaternion::from_rotation_matrix(&turn);
    let middle = |pair: (&Seat, &Seat)| (pair.0.point.coords + pair.1.point.coords) / 2.0;
    Some(Isometry3::from_parts(Translation3::from(middle(to) - turn * middle(from)), turn))
}

/// Keeps the best candidates that are apart from each other.
fn keep(best: &mut Vec<Candidate>, candidate: Candidate, seats: &[Seat], size_mm: f64) {
    if best.len() == CANDIDATES && best[CANDIDATES - 1].share >= candidate.share {
        return;
    }
    let near = |other: &Candidate| is_same_pose(&other.pose, &candidate.pose, &seats[0].point, size_mm);
    if let Some(index) = best.iter().position(near) {
        if best[index].share >= candidate.share {
            return;
        }
        best.remove(index);
    }
    let place = best.partition_point(|other| other.share >= candidate.share);
    best.insert(place, candidate);
    best.truncate(CANDIDATES);
}

fn is_same_pose(a: &Isometry3<f64>, b: &Isometry3<f64>, at: &Point3<f64>, size_mm: f64) -> bool {
    a.rotation.angle_to(&b.rotation) < APART_RAD && (a * at - b * at).norm() < APART_RAD * size_mm / 2.0
}
