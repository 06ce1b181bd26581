//! Strings beads to chains: smooth runs along one gap.
//!
//! In: beads in any order (mm). Out: chains of points in order with outward normals, widths and bridged hops.
//! Method: marching with prediction and correction along the local tangent (polyline tracing of feature points after
//! Pauly et al. 2003 and Demarsin et al., Computer-Aided Design 39(4), 2007): step ahead, correct sideways to the beads'
//! mean there, hop over stretches without beads where the line goes on beyond them.
//! Does not know junctions: a chain stops where it runs into another one.

use nalgebra::{Point3, Vector3};

use super::cells::PointCells;
use super::facing::Bead;
use super::settings::TraceSettings;

/// Length of a step, mm: at a bend of 20 mm radius a turn of 7°.
const STEP_MM: f64 = 2.5;
/// Beads this near to the predicted place correct it.
const CATCH_MM: f64 = 3.5;
/// Least cosine between a bead's direction and the march.
const ALONG_COSINE: f64 = 0.7;
/// Beads this near to a chain belong to it.
const TAKEN_MM: f64 = 4.5;
/// How far the line beyond a hop may be off: a fixed part and a share of the hop.
const HOP_SLACK_MM: f64 = 1.5;
const HOP_SLACK_SHARE: f64 = 0.2;
/// Longest walk, in steps: 250 m.
const LONGEST_STEPS: usize = 100_000;

/// One point of a chain.
#[derive(Debug, Clone, Copy)]
pub struct ChainPoint {
    pub point: Point3<f64>,
    pub outward: Vector3<f64>,
    pub width_mm: f64,
    /// How many hem pairs stand behind it; 0 where nothing was seen.
    pub pair_count: u32,
}

/// Points in order along a gap.
#[derive(Debug, Clone, Default)]
pub struct Chain {
    pub points: Vec<ChainPoint>,
    /// Ends where it began.
    pub is_closed: bool,
}

impl Chain {
    /// Length of the polyline, mm.
    #[must_use]
    pub fn length_mm(&self) -> f64 {
        self.points.windows(2).map(|pair| (pair[1].point - pair[0].point).norm()).sum()
    }

    /// Unit direction in which the chain leaves its first (or last) point, from the points 2 to 18 mm inside.
    #[must_use]
    pub fn leaving(&self, at_end: bool) -> Option<Vector3<f64>> {
        let count = self.points.len();
        let place = |inside: usize| if at_end { count - 1 - inside } else { inside };
        let (near, far) = (1.min(count.checked_sub(2)?), 7.min(count - 1));
        let near = if near == far { 0 } else { near };
        (self.points[place(near)].point - self.points[place(far)].point).try_normalize(1e-9)
    }
}

/// Direction of travel at a chain point.
pub fn along_at(points: &[ChainPoint], index: usize) -> Option<Vector3<f64>> {
    let (low, high) = (index.saturating_sub(2), (index + 2).min(points.len() - 1));
    (points[high].point - points[low].point).try_normalize(1e-9)
}

struct March<'a> {
    beads: &'a [Bead],
    grid: PointCells,
    /// Number of the chain that took each bead.
    taken_by: Vec<Option<u32>>,
    bridge_mm: f64,
}

/// Strings beads to chains, the best-supported first.
#[must_use]
pub fn string_beads(beads: &[Bead], settings: &TraceSettings) -> Vec<Chain> {
    let places: Vec<Point3<f64>> = beads.iter().map(|bead| bead.point).collect();
    let mut march = March {
        beads,
        grid: PointCells::of(&places, TAKEN_MM),
        taken_by: vec![None; beads.len()],
        bridge_mm: settings.bridge_mm,
    };
    let mut order: Vec<usize> = (0..beads.len()).collect();
    order.sort_by_key(|index| (std::cmp::Reverse(beads[*index].pair_count), *index));
    let mut chains = Vec::new();
    for start in order {
        if march.taken_by[start].is_none() {
            let chain = march.chain_from(start, chains.len() as u32);
            if chain.points.len() > 2 {
                chains.push(chain);
            }
        }
    }
    chains
}

impl March<'_> {
    fn chain_from(&mut self, start: usize, number: u32) -> Chain {
        let bead = self.beads[start];
        let first = ChainPoint {
            point: bead.point,
            outward: bead.outward,
            width_mm: bead.width_mm,
            pair_count: bead.pair_count,
        };
        self.take_near(&first, number);
        let (ahead, is_closed) = self.walk(&first, bead.along, number);
        let mut points = Vec::new();
        if !is_closed {
            points = self.walk(&first, -bead.along, number).0;
            points.reverse();
        }
        points.push(first);
        points.extend(ahead);
        Chain { points, is_closed }
    }

    fn walk(&mut self, first: &ChainPoint, direction: Vector3<f64>, number: u32) -> (Vec<ChainPoint>, bool) {
        let mut here = *first;
        let mut direction = direction;
        let mut points: Vec<ChainPoint> = Vec::new();
        while points.len() < LONGEST_STEPS {
            let Some((next, heading)) = self.step(&here, &direction).or_else(|| self.hop(&here, &direction))
            else {
                break;
            };
            if points.len() > 8 && (next.point - first.point).norm() < STEP_MM * 1.2 {
                return (points, true);
            }
            if self.is_occupied(&next, number, &points, first) {
                break;
            }
            self.take_near(&next, number);
            points.push(next);
            (here, direction) = (next, heading);
        }
        if let Some(tip) = points.last_mut() {
            tip.point -= direction * self.overshoot_mm(tip, &direction);
        }
        (points, false)
    }

    /// One step with the beads ahead.
    fn step(&self, here: &ChainPoint, direction: &Vector3<f64>) -> Option<(ChainPoint, Vector3<f64>)> {
        let ahead = here.point + direction * STEP_MM;
        let mut sum = Sum::default();
        self.grid.near(&ahead, CATCH_MM, |index| {
            let bead = &self.beads[index];
            let offset = bead.point - ahead;
            let fits = offset.norm() < CATCH_MM
                && (bead.point - here.point).dot(direction) > 0.3
                && bead.along.dot(direction).abs() > ALONG_COSINE
                && bead.outward.dot(&here.outward) > 0.5;
            if fits {
                sum.add(bead, &offset, direction);
            }
        });
        let (offset, along, width_mm) = sum.mean()?;
        let point = ahead + offset - direction * offset.dot(direction);
        let chord = (point - here.point).try_normalize(1e-9)?;
        let heading = (chord + along).try_normalize(1e-9)?;
        let outward = (here.outward + sum.outward / f64::from(sum.weight)).try_normalize(1e-9)?;
        Some((ChainPoint { point, outward, width_mm, pair_count: sum.weight }, heading))
    }

    /// How far a chain's last point lies beyond the last bead that led to it.
    fn overshoot_mm(&self, tip: &ChainPoint, direction: &Vector3<f64>) -> f64 {
        let mut least_mm = STEP_MM;
        self.grid.near(&tip.point, CATCH_MM, |index| {
            let bead = &self.beads[index];
            let offset = tip.point - bead.point;
            if offset.norm() < CATCH_MM && bead.outward.dot(&tip.outward) > 0.5 {
                least_mm = least_mm.min(offset.dot(direction));
            }
        });
        least_mm.clamp(0.0, 0.8 * STEP_MM)
    }

    /// The nearest bead beyond a stretch without any, in line with the march.
    fn hop(&self, here: &ChainPoint, direction: &Vector3<f64>) -> Option<(ChainPoint, Vector3<f64>)> {
        let mut best: Option<(f64, usize)> = None;
        let middle = here.point + direction * (self.bridge_mm / 2.0);
        self.grid.near(&middle, self.bridge_mm / 2.0 + 8.0, |index| {
            let bead = &self.beads[index];
            let offset = bead.point - here.point;
            let ahead_mm = offset.dot(direction);
            let aside_mm = (offset - direction * ahead_mm).norm();
            let in_line = ahead_mm > STEP_MM
                && ahead_mm < self.bridge_mm
                && aside_mm < HOP_SLACK_MM + HOP_SLACK_SHARE * ahead_mm
                && bead.along.dot(direction).abs() > ALONG_COSINE
                && bead.along.dot(&offset).abs() > 0.9 * offset.norm()
                && bead.outward.dot(&here.outward) > 0.5
                && (bead.width_mm - here.width_mm).abs() < 0.5 * here.width_mm.max(bead.width_mm);
            let cost = ahead_mm + 2.0 * aside_mm;
            if in_line && best.is_none_or(|(least, _)| cost < least) {
                best = Some((cost, index));
            }
        });
        let bead = &self.beads[best?.1];
        let sign = bead.along.dot(direction).signum();
        let point = ChainPoint {
            point: bead.point,
            outward: bead.outward,
            width_mm: bead.width_mm,
            pair_count: bead.pair_count,
        };
        Some((point, bead.along * sign))
    }

    /// True where the march has run into another chain, or back into itself.
    fn is_occupied(&self, next: &ChainPoint, number: u32, walked: &[ChainPoint], first: &ChainPoint) -> bool {
        let mut foreign = 0;
        let mut free = 0;
        self.grid.near(&next.point, 3.0, |index| {
            if (self.beads[index].point - next.point).norm() < 3.0 {
                match self.taken_by[index] {
                    Some(other) if other != number => foreign += 1,
                    _ => free += 1,
                }
            }
        });
        let old = walked.len().saturating_sub(6);
        let crosses_itself = walked[..old].iter().any(|point| (point.point - next.point).norm() < 1.5)
            || (walked.len() > 8 && (first.point - next.point).norm() < 1.5);
        crosses_itself || foreign > free
    }

    fn take_near(&mut self, point: &ChainPoint, number: u32) {
        let Self { beads, grid, taken_by, .. } = self;
        grid.near(&point.point, TAKEN_MM, |index| {
            let is_mine = (beads[index].point - point.point).norm() < TAKEN_MM
                && beads[index].outward.dot(&point.outward) > 0.0;
            if is_mine && taken_by[index].is_none() {
                taken_by[index] = Some(number);
            }
        });
    }
}

#[derive(Default)]
struct Sum {
    weight: u32,
    offset: Vector3<f64>,
    along: Vector3<f64>,
    outward: Vector3<f64>,
    width_mm: f64,
}

impl Sum {
    fn add(&mut self, bead: &Bead, offset: &Vector3<f64>, direction: &Vector3<f64>) {
        let weight = f64::from(bead.pair_count);
        self.weight += bead.pair_count;
        self.offset += offset * weight;
        self.along += bead.along * (weight * bead.along.dot(direction).signum());
        self.outward += bead.outward * weight;
        self.width_mm += bead.width_mm * weight;
    }

    fn mean(&self) -> Option<(Vector3<f64>, Vector3<f64>, f64)> {
        let weight = f64::from(self.weight);
        let along = self.along.try_normalize(1e-9)?;
        (self.weight > 0).then(|| (self.offset / weight, along, self.width_mm / weight))
    }
}
