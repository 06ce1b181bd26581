//! Which side of a chain the cells beside it lie on.
//!
//! In: the survey and chains (mm). Out: for the cells of a ribbon along each chain their [`Mark`]: nearest point and side. Units: mm.
//! Does not decide what belongs together.

use nalgebra::Point3;

use super::cells::Window;
use super::chains::{Chain, ChainPoint, along_at};
use super::survey::{CELL_MM, Survey};

/// Cells this near to a chain know on which side of it they are.
const RIBBON_MM: f64 = 15.0;
/// How far a chain bars the way beyond its own ends: the corner's rounding at a junction, the last cells at a border.
const BEYOND_MM: f64 = 10.0;
/// How far a chain that ends freely bars the way beyond its end, and in which steps.
const BEYOND_FREE_MM: f64 = 25.0;
const BEYOND_STEP_MM: f64 = 2.5;
/// Depths below the skin down to which a chain bars the way, each with the ribbon round it: what shows through a gap, flanges and
/// the structure under them, is no way from panel to panel.
const DEPTHS_MM: [f64; 3] = [0.0, 14.0, 28.0];
/// Below the skin every so many points of a chain are enough.
const DEEP_STEPS: usize = 3;

/// Where a cell lies beside a chain.
#[derive(Debug, Clone, Copy)]
pub(super) struct Mark {
    pub chain: u32,
    /// Nearest point of the chain.
    pub index: u32,
    pub distance_mm: f64,
    /// Positive on the right, walking along the chain on the outside.
    pub aside_mm: f64,
    /// How far below the skin at the chain.
    pub depth_mm: f64,
}

/// Sideways offset of a place from a chain at a point of it, and the offset along, mm.
pub(super) fn aside(points: &[ChainPoint], index: usize, place: &Point3<f64>) -> Option<(f64, f64)> {
    let along = along_at(points, index)?;
    let across = along.cross(&points[index].outward).try_normalize(1e-9)?;
    let offset = place - points[index].point;
    Some((offset.dot(&across), offset.dot(&along)))
}

/// True where a chain's end lies on another chain's.
pub(super) fn meets_another(chains: &[&Chain], number: usize, at_end: bool) -> bool {
    let tip =
        |chain: &Chain, at_end| if at_end { chain.points.last() } else { chain.points.first() }.copied();
    let Some(mine) = tip(chains[number], at_end) else { return false };
    let is_there = |other: Option<ChainPoint>| other.is_some_and(|tip| (tip.point - mine.point).norm() < 1.0);
    let mut others = chains.iter().enumerate().filter(|(other, _)| *other != number);
    others.any(|(_, chain)| is_there(tip(chain, false)) || is_there(tip(chain, true)))
}

/// The chain's points with their numbers, and beyond each free end places in line with it: a seam is seen up to some
/// millimetres before the scan's border, and panels must not hang together there.
fn barrier(chains: &[&Chain], number: usize) -> Vec<(usize, Point3<f64>)> {
    let chain = chains[number];
    let mut places: Vec<(usize, Point3<f64>)> =
        chain.points.iter().enumerate().map(|(index, point)| (index, point.point)).collect();
    let last = chain.points.len().saturating_sub(1);
    for (at_end, index) in [(false, 0), (true, last)] {
        let (Some(tip), Some(leaving)) = (chain.points.get(index), chain.leaving(at_end)) else { continue };
        if !chain.is_closed && !meets_another(chains, number, at_end) {
            let steps = 1..=(BEYOND_FREE_MM / BEYOND_STEP_MM) as usize;
            places.extend(steps.map(|step| (index, tip.point + leaving * (step as f64 * BEYOND_STEP_MM))));
        }
    }
    places
}

/// Adds a chain's marks to the cells beside and below it.
pub(super) fn mark_chain(survey: &Survey, chains: &[&Chain], number: usize, marks: &mut [Vec<Mark>]) {
    let reach = (RIBBON_MM / CELL_MM).ceil() as i64;
    let chain = chains[number];
    let mut window = Window::default();
    for (step, (index, top)) in barrier(chains, number).into_iter().enumerate() {
        let Some(along) = along_at(&chain.points, index) else { continue };
        let is_tip = !chain.is_closed && (index == 0 || index + 1 == chain.points.len());
        let outward = chain.points[index].outward;
        let mut mark_cell = |cell: usize, place: &Point3<f64>| {
            let centre = &survey.data[cell].centre;
            if (centre - place).norm() > RIBBON_MM || is_tip && (centre - top).dot(&along).abs() > BEYOND_MM {
                return;
            }
            let Some((aside_mm, _)) = aside(&chain.points, index, centre) else { return };
            let distance_mm = (centre - top).norm();
            let depth_mm = (chain.points[index].point - centre).dot(&outward);
            let mark = Mark { chain: number as u32, index: index as u32, distance_mm, aside_mm, depth_mm };
            match marks[cell].last_mut() {
                Some(last) if last.chain == number as u32 => {
                    if distance_mm < last.distance_mm {
                        *last = mark;
                    }
                }
                _ => marks[cell].push(mark),
            }
        };
        let depths = if step % DEEP_STEPS == 0 { &DEPTHS_MM[..] } else { &DEPTHS_MM[..1] };
        for depth_mm in depths {
            let place = top - outward * *depth_mm;
            if let Some(address) = survey.cells.address_of(&place) {
                survey.cells.visit_around(&mut window, address, reach, |cell| mark_cell(cell, &place));
            }
        }
    }
}
