//! A side's points as medians of small cells: few enough for a search over many places, and deaf to strays.
//!
//! In: points of one side. Out: cells in order. Units: mm.

use std::collections::BTreeMap;

use super::reading::LinePlace;
use crate::geometry::median_in_place;

const FEWEST_IN_CELL: usize = 3;

/// Medians of cells of a width across and a length along the seam.
pub(super) fn cells(points: &[LinePlace], across_mm: f64, along_mm: f64) -> Vec<LinePlace> {
    let mut gathered: BTreeMap<(i64, i64), Vec<LinePlace>> = BTreeMap::new();
    for point in points {
        let key = ((point.x_mm / across_mm).floor() as i64, (point.s_mm / along_mm).floor() as i64);
        gathered.entry(key).or_default().push(*point);
    }
    gathered
        .into_values()
        .filter(|cell| cell.len() >= FEWEST_IN_CELL)
        .filter_map(|cell| {
            let count = cell.len() as f64;
            let mut heights: Vec<f64> = cell.iter().map(|point| point.z_mm).collect();
            Some(LinePlace {
                x_mm: cell.iter().map(|point| point.x_mm).sum::<f64>() / count,
                s_mm: cell.iter().map(|point| point.s_mm).sum::<f64>() / count,
                z_mm: median_in_place(&mut heights)?,
            })
        })
        .collect()
}
