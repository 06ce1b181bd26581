//! Follows one seam between rough points.
//!
//! In: a scan (mm) and points within about 10 mm of the gap, in order. Out: the seam's curve in the middle of the gap
//! with outward normals, where it was bridged, and why it stopped. Units: mm.
//! Method: the points are snapped to the network of gap candidates and the network is walked from one to the next; a
//! junction of three panels ends the walk; a stretch without data is bridged with a cubic when the points lead over it.
//! Does not draw a curve where nothing was seen at its beginning.

use nalgebra::{Point3, Vector3};

use super::chains::{Chain, ChainPoint};
use super::evidence::{Evidence, gather_evidence};
use super::hands::Hands;
use super::network::Network;
use super::refine::even;
use super::settings::{TraceError, TraceSettings};
use crate::geometry::{Curve, CurveError};
use crate::scan::ScanSource;

/// Why a trace ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stop {
    /// At the last point given.
    Reached,
    /// At a junction of three or more panels before the last point.
    Junction,
    /// The scan shows no gap any further.
    EndOfData,
}

/// A stretch of the curve where the gap was not seen, in distances along the curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bridge {
    pub from_mm: f64,
    pub to_mm: f64,
}

/// One traced seam.
#[derive(Debug, Clone)]
pub struct TracedSeam {
    /// In order from the first point given; mid-gap at skin height, unit outward normals.
    pub points: Vec<ChainPoint>,
    pub bridges: Vec<Bridge>,
    pub stop: Stop,
}

impl TracedSeam {
    /// The seam's curve.
    ///
    /// # Errors
    /// Fewer than two different points.
    pub fn curve(&self) -> Result<Curve, CurveError> {
        curve_through(&self.points)
    }
}

/// Lays a curve through chain points.
pub(super) fn curve_through(points: &[ChainPoint]) -> Result<Curve, CurveError> {
    let places: Vec<Point3<f64>> = points.iter().map(|point| point.point).collect();
    let normals: Vec<Vector3<f64>> = points.iter().map(|point| point.outward).collect();
    Curve::through(&places, Some(&normals))
}

/// Follows the gap from `from` past the points of `via` to `to`.
///
/// # Errors
/// The scan cannot be used, no gap lies near `from`, or the points do not span a length.
pub fn trace_seam(
    source: &dyn ScanSource,
    from: &Point3<f64>,
    via: &[Point3<f64>],
    to: &Point3<f64>,
    settings: &TraceSettings,
) -> Result<TracedSeam, TraceError> {
    let evidence = gather_evidence(source, settings, &Hands::one())?;
    let goals: Vec<Point3<f64>> = via.iter().chain([to]).copied().collect();
    follow(&evidence, from, &goals, settings)
}

/// The same on evidence already gathered, for several seams in one scan.
///
/// # Errors
/// As [`trace_seam`].
pub fn follow(
    evidence: &Evidence,
    from: &Point3<f64>,
    goals: &[Point3<f64>],
    settings: &TraceSettings,
) -> Result<TracedSeam, TraceError> {
    let network = &evidence.network;
    let (arm, index) = start_of(network, from, goals, settings)?;
    let mut walk = Walk { network, arm, index, points: vec![network.arms[arm].chain.points[index]] };
    let mut stop = Stop::Reached;
    for (number, goal) in goals.iter().enumerate() {
        let is_last = number + 1 == goals.len();
        stop = walk.go_to(goal, settings, is_last);
        if stop == Stop::Junction || (is_last && stop != Stop::Reached) {
            break;
        }
    }
    let chain = even(&Chain { points: walk.points, is_closed: false });
    if chain.points.len() < 3 {
        return Err(TraceError::NoLength);
    }
    Ok(TracedSeam { bridges: bridges_of(&chain.points), points: thinned(&chain.points, settings), stop })
}

struct Walk<'a> {
    network: &'a Network,
    arm: usize,
    index: usize,
    points: Vec<ChainPoint>,
}

impl Walk<'_> {
    fn go_to(&mut self, goal: &Point3<f64>, settings: &TraceSettings, is_last: bool) -> Stop {
        // Each round leaves one arm behind; no walk needs more rounds than there are arms.
        for _round in 0..=self.network.arms.len() {
            let (index, distance_mm) = nearest_on(&self.network.arms[self.arm].chain, goal);
            if distance_mm < settings.rough_mm {
                self.advance(index);
                let is_beyond =
                    is_last && self.ends_at_junction(index) && distance_mm > 0.6 * settings.rough_mm;
                return if is_beyond { Stop::Junction } else { Stop::Reached };
            }
            let last = self.network.arms[self.arm].chain.points.len() - 1;
            let points = &self.network.arms[self.arm].chain.points;
            let to_end = (points[last].point - goal).norm() < (points[0].point - goal).norm();
            self.advance(if to_end { last } else { 0 });
            let node = self.network.arms[self.arm].nodes[usize::from(to_end)];
            if let Some(node) = node {
                if self.network.nodes[node].arm_count > 2 {
                    return Stop::Junction;
                }
                let Some(next) = self.arm_beyond(node) else { return Stop::EndOfData };
                self.enter(next.0, next.1);
            } else if !self.bridge(goal, settings) {
                return Stop::EndOfData;
            }
        }
        Stop::EndOfData
    }

    fn ends_at_junction(&self, index: usize) -> bool {
        let arm = &self.network.arms[self.arm];
        let last = arm.chain.points.len() - 1;
        let node = if index == 0 {
            arm.nodes[0]
        } else if index == last {
            arm.nodes[1]
        } else {
            None
        };
        node.is_some_and(|node| self.network.nodes[node].arm_count > 2)
    }

    fn advance(&mut self, index: usize) {
        let points = &self.network.arms[self.arm].chain.points;
        if index > self.index {
            self.points.extend(&points[self.index + 1..=index]);
        } else {
            self.points.extend(points[index..self.index].iter().rev());
        }
        self.index = index;
    }

    fn enter(&mut self, arm: usize, at_end: bool) {
        let last = self.network.arms[arm].chain.points.len() - 1;
        (self.arm, self.index) = (arm, if at_end { last } else { 0 });
        self.points.push(self.network.arms[arm].chain.points[self.index]);
    }

    /// The other arm at a corner, and by which end it is entered.
    fn arm_beyond(&self, node: usize) -> Option<(usize, bool)> {
        self.network.arms.iter().enumerate().filter(|(number, _)| *number != self.arm).find_map(
            |(number, arm)| {
                let end = arm.nodes.iter().position(|other| *other == Some(node))?;
                Some((number, end == 1))
            },
        )
    }

    /// Jumps to the free end that lies ahead towards the goal.
    fn bridge(&mut self, goal: &Point3<f64>, settings: &TraceSettings) -> bool {
        let Some(tip) = self.points.last().copied() else { return false };
        let span_mm = (goal - tip.point).norm();
        let Some(towards) = (goal - tip.point).try_normalize(1e-9) else { return false };
        let mut best: Option<(f64, usize, bool)> = None;
        for (number, arm) in self.network.arms.iter().enumerate().filter(|(number, _)| *number != self.arm) {
            for at_end in [false, true] {
                let points = &arm.chain.points;
                let offset = points[if at_end { points.len() - 1 } else { 0 }].point - tip.point;
                let ahead_mm = offset.dot(&towards);
                let aside_mm = (offset - towards * ahead_mm).norm();
                let fits = ahead_mm > 0.0
                    && ahead_mm < settings.guided_bridge_mm.min(span_mm + settings.rough_mm)
                    && aside_mm < settings.rough_mm + 0.2 * ahead_mm;
                if fits && best.is_none_or(|(least, _, _)| ahead_mm < least) {
                    best = Some((ahead_mm, number, at_end));
                }
            }
        }
        let Some((_, arm, at_end)) = best else { return false };
        self.enter(arm, at_end);
        true
    }
}

/// Nearest point of a chain: index and distance.
fn nearest_on(chain: &Chain, place: &Point3<f64>) -> (usize, f64) {
    let distances = chain.points.iter().map(|point| (point.point - place).norm()).enumerate();
    distances.min_by(|left, right| left.1.total_cmp(&right.1)).unwrap_or((0, f64::INFINITY))
}

/// The arm near the first point that also leads nearest to the next one.
fn start_of(
    network: &Network,
    from: &Point3<f64>,
    goals: &[Point3<f64>],
    settings: &TraceSettings,
) -> Result<(usize, usize), TraceError> {
    let near: Vec<(usize, usize, f64)> = network
        .arms
        .iter()
        .enumerate()
        .map(|(number, arm)| {
            let (index, distance_mm) = nearest_on(&arm.chain, from);
            (number, index, distance_mm)
        })
        .collect();
    let goal = goals.first().unwrap_or(from);
    let cost = |arm: usize, distance_mm: f64| distance_mm + nearest_on(&network.arms[arm].chain, goal).1;
    let best = near
        .iter()
        .filter(|(_, _, distance_mm)| *distance_mm < settings.rough_mm)
        .min_by(|left, right| cost(left.0, left.2).total_cmp(&cost(right.0, right.2)));
    best.map(|(arm, index, _)| (*arm, *index)).ok_or_else(|| {
        let nearest = near.iter().map(|(_, _, distance_mm)| *distance_mm).min_by(f64::total_cmp);
        TraceError::NoGapAt {
            which: "first".to_owned(),
            x_mm: from.x,
            y_mm: from.y,
            z_mm: from.z,
            rough_mm: settings.rough_mm,
            nearest: nearest.map_or_else(
                || "nowhere in this scan".to_owned(),
                |distance_mm| format!("{distance_mm:.0} mm away"),
            ),
        }
    })
}

/// Stretches of points without hem pairs.
pub(super) fn bridges_of(points: &[ChainPoint]) -> Vec<Bridge> {
    let mut bridges = Vec::new();
    let mut along_mm = 0.0;
    let mut began_mm = None;
    for (index, point) in points.iter().enumerate() {
        if index > 0 {
            along_mm += (point.point - points[index - 1].point).norm();
        }
        if point.pair_count == 0 {
            began_mm = began_mm.or(Some(along_mm));
        } else if let Some(from_mm) = began_mm.take() {
            bridges.push(Bridge { from_mm, to_mm: along_mm });
        }
    }
    bridges.extend(began_mm.map(|from_mm| Bridge { from_mm, to_mm: along_mm }));
    bridges
}

/// Every so many millimetres a point, both ends kept.
pub(super) fn thinned(points: &[ChainPoint], settings: &TraceSettings) -> Vec<ChainPoint> {
    let mut kept: Vec<ChainPoint> = Vec::new();
    let mut since_mm = f64::INFINITY;
    for (index, point) in points.iter().enumerate() {
        if index > 0 {
            since_mm += (point.point - points[index - 1].point).norm();
        }
        if since_mm >= settings.curve_step_mm - 0.01 {
            kept.push(*point);
            since_mm = 0.0;
        }
    }
    if let (Some(last), true) = (points.last(), since_mm > 1.0) {
        if since_mm < 0.4 * settings.curve_step_mm && kept.len() > 1 {
            kept.pop();
        }
        kept.push(*last);
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scan::VecSource;
    use crate::trace::test_scene::Sheet;

    fn sheet() -> Sheet {
        let mut sheet = Sheet::with_t_junction(500.0, 320.0);
        sheet.strays = 200;
        sheet
    }

    fn place(sheet: &Sheet, x: f64, y: f64) -> Point3<f64> {
        Point3::new(x, y, sheet.skin(x, y))
    }

    fn rms_mm(sheet: &Sheet, seam: &TracedSeam) -> f64 {
        let sum: f64 = seam.points.iter().map(|point| sheet.off_groove_mm(&point.point).powi(2)).sum();
        (sum / seam.points.len() as f64).sqrt()
    }

    #[test]
    fn a_trace_stops_at_the_junction() {
        let sheet = sheet();
        let source = VecSource::from_points(&sheet.points(), None);
        let from = place(&sheet, 30.0, 120.0 + 8.0);
        let to = place(&sheet, 480.0, 128.0);
        let seam = trace_seam(&source, &from, &[], &to, &TraceSettings::default()).unwrap();
        assert_eq!(seam.stop, Stop::Junction);
        let end = seam.points.last().unwrap().point;
        let truth = sheet.grooves[1][0];
        assert!((end - place(&sheet, truth[0], truth[1])).norm() < 3.0, "junction at {end}, truth {truth:?}");
        // The promise for curves.
        assert!(rms_mm(&sheet, &seam) < 0.5, "rms {}", rms_mm(&sheet, &seam));
        assert!(seam.points.iter().all(|point| point.outward.z > 0.9));
    }

    #[test]
    fn a_trace_crosses_a_sticker_and_says_so_and_follows_a_bend_of_20_mm() {
        let mut sheet = sheet();
        sheet.stickers = vec![[250.0, 175.0, 9.0]];
        let source = VecSource::from_points(&sheet.points(), None);
        let from = place(&sheet, 256.0, 150.0);
        let to = place(&sheet, 470.0, 250.0);
        let seam = trace_seam(&source, &from, &[], &to, &TraceSettings::default()).unwrap();
        assert_eq!(seam.stop, Stop::Reached);
        let length_mm = seam.curve().unwrap().length_mm();
        // 74 mm up, a quarter circle of 20 mm, 200 mm across.
        assert!((length_mm - 305.0).abs() < 15.0, "length {length_mm}");
        assert!(rms_mm(&sheet, &seam) < 0.5, "rms {}", rms_mm(&sheet, &seam));
        let bridge = seam.bridges.iter().find(|bridge| bridge.from_mm < 40.0 && bridge.to_mm > 15.0);
        assert!(bridge.is_some(), "bridges {:?}", seam.bridges);
    }

    #[test]
    fn a_point_far_from_any_gap_is_refused_with_the_distance_to_the_nearest() {
        let sheet = sheet();
        let source = VecSource::from_points(&sheet.points(), None);
        let from = place(&sheet, 100.0, 40.0);
        let error = trace_seam(&source, &from, &[], &from, &TraceSettings::default()).unwrap_err();
        assert!(error.to_string().contains("mm away"), "{error}");
    }

    #[test]
    fn wrong_units_and_sparse_scans_are_refused() {
        let mut sheet = sheet();
        let metres: Vec<Point3<f64>> = sheet.points().iter().map(|point| point / 1000.0).collect();
        let check = |points: &[Point3<f64>]| {
            let origin = Point3::origin();
            trace_seam(
                &VecSource::from_points(points, None),
                &origin,
                &[],
                &origin,
                &TraceSettings::default(),
            )
            .unwrap_err()
        };
        assert!(matches!(check(&metres), TraceError::WrongUnit { .. }));
        sheet.spacing_mm = 2.0;
        assert!(matches!(check(&sheet.points()), TraceError::TooSparse { .. }));
        assert_eq!(check(&[]), TraceError::Empty);
    }
}
