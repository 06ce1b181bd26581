//! Means of the points of a flat seam in cells of 1 mm across and 2 mm along.
//!
//! In: flat points sorted along. Out: for each cell with points, their mean place and height, and how many. Units: mm.
//! Method: points more than five robust deviations from the cell's median height are strays and left out. The outer surface
//! is smooth over a cell, and noise is correlated over more than a cell, so that fits to cells lose nothing against fits to
//! points, at a twentieth of the work.
//! Does not know where the edges are: cells on a hem are means over a bend, and must not be used.

use super::flat::FlatPoint;
use crate::geometry::median_in_place;

/// Size of a cell along the seam, mm.
pub const CELL_ALONG_MM: f64 = 2.0;
/// Size of a cell across the seam, mm.
pub const CELL_ACROSS_MM: f64 = 1.0;
/// Reach of the grid to both sides, mm.
const REACH_MM: f64 = 45.0;
/// Overhang of the grid beyond both ends, mm.
const OVERHANG_MM: f64 = 26.0;
/// Cells with fewer points are too uncertain to tell strays.
const FEWEST_POINTS: usize = 3;
/// Below this mean number of points a full cell, the scan is so sparse that even single points are needed.
const SPARSE_BELOW: f64 = 4.0;
/// Half the thickness of a layer, mm: more than a cell's own slope and bend.
const LAYER_MM: f64 = 1.0;
/// Least half-width of the stray test, mm: cells on a slope spread by themselves.
const LEAST_LIMIT_MM: f64 = 0.1;

/// The mean of a cell's points.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cell {
    pub s_mm: f64,
    pub x_mm: f64,
    pub z_mm: f64,
    pub count: u32,
}

/// The cells in rows along the seam.
#[derive(Debug, Clone)]
pub struct CellGrid {
    /// Cells with points, row by row.
    cells: Vec<Cell>,
    /// First cell of each row, and the end.
    row_starts: Vec<usize>,
    /// Robust standard deviation of a point about its cell's mean, mm: white noise and fine texture.
    pub point_sigma_mm: f64,
}

impl CellGrid {
    pub(super) fn of(points: &[FlatPoint], length_mm: f64) -> Self {
        let rows = ((length_mm + 2.0 * OVERHANG_MM) / CELL_ALONG_MM).ceil() as usize + 1;
        let columns = (2.0 * REACH_MM / CELL_ACROSS_MM) as usize;
        let row_of =
            |point: &FlatPoint| ((f64::from(point.s_mm) + OVERHANG_MM) / CELL_ALONG_MM).max(0.0) as usize;
        let mut grid = Self { cells: Vec::new(), row_starts: vec![0], point_sigma_mm: 0.0 };
        let mut buckets: Vec<Vec<FlatPoint>> = vec![Vec::new(); columns];
        let (mut deviations, mut heights) = (Vec::new(), Vec::new());
        let fewest = fewest_points(points);
        let mut rest = points;
        for row in 0..rows {
            let end = rest.partition_point(|point| row_of(point) <= row);
            for point in &rest[..end] {
                let column = (f64::from(point.x_mm) + REACH_MM) / CELL_ACROSS_MM;
                if column >= 0.0 && (column as usize) < columns {
                    buckets[column as usize].push(*point);
                }
            }
            rest = &rest[end..];
            for bucket in &mut buckets {
                grid.cells.extend(mean_of(bucket, fewest, &mut heights, &mut deviations));
                bucket.clear();
            }
            grid.row_starts.push(grid.cells.len());
        }
        grid.point_sigma_mm = median_in_place(&mut deviations).unwrap_or(0.0);
        grid
    }

    /// All cells whose rows lie within a distance of a station, mm.
    #[must_use]
    pub fn near(&self, s_mm: f64, half_mm: f64) -> &[Cell] {
        let last = self.row_starts.len() - 1;
        let row = |place_mm: f64| (((place_mm + OVERHANG_MM) / CELL_ALONG_MM).max(0.0) as usize).min(last);
        let first = row(s_mm - half_mm);
        let end = (row(s_mm + half_mm) + 1).min(last).max(first);
        &self.cells[self.row_starts[first]..self.row_starts[end]]
    }

    /// All cells.
    #[must_use]
    pub fn all(&self) -> &[Cell] {
        &self.cells
    }
}

/// Keeps the heights of the outermost layer: what shows through the gap lies under the panels and is scanned too.
///
/// The layer is what lies within a millimetre of the upper quartile, which a second layer of as many points cannot pull
/// down and a few strays cannot pull up.
pub fn keep_upper_layer(heights_mm: &mut Vec<f64>) {
    if heights_mm.is_empty() {
        return;
    }
    let place = (heights_mm.len() * 3 / 4).min(heights_mm.len() - 1);
    let (_, quartile, _) = heights_mm.select_nth_unstable_by(place, f64::total_cmp);
    let quartile_mm = *quartile;
    heights_mm.retain(|height| (height - quartile_mm).abs() <= LAYER_MM);
}

/// How many points a cell needs, from the mean number in those that have any.
fn fewest_points(points: &[FlatPoint]) -> usize {
    let columns = (2.0 * REACH_MM / CELL_ACROSS_MM) as usize;
    let mut last_row_with = vec![i32::MIN; columns];
    let (mut inside, mut full) = (0_usize, 0_usize);
    for point in points {
        let row = (f64::from(point.s_mm) / CELL_ALONG_MM).floor() as i32;
        let column = ((f64::from(point.x_mm) + REACH_MM) / CELL_ACROSS_MM).max(0.0) as usize;
        if let Some(last) = last_row_with.get_mut(column) {
            inside += 1;
            full += usize::from(*last != row);
            *last = row;
        }
    }
    if inside as f64 / (full.max(1) as f64) < SPARSE_BELOW { 1 } else { FEWEST_POINTS }
}

/// `heights` is only room to work in; the cell's robust deviation goes to `deviations`.
fn mean_of(
    points: &[FlatPoint],
    fewest: usize,
    heights: &mut Vec<f64>,
    deviations: &mut Vec<f64>,
) -> Option<Cell> {
    if points.len() < fewest {
        return None;
    }
    heights.clear();
    heights.extend(points.iter().map(|point| f64::from(point.z_mm)));
    keep_upper_layer(heights);
    let median_mm = median_in_place(heights)?;
    heights.iter_mut().for_each(|height| *height = (*height - median_mm).abs());
    let deviation_mm = 1.4826 * median_in_place(heights)?;
    if points.len() >= FEWEST_POINTS {
        deviations.push(deviation_mm);
    }
    let limit_mm = (5.0 * deviation_mm).max(LEAST_LIMIT_MM);
    let mut cell = Cell { s_mm: 0.0, x_mm: 0.0, z_mm: 0.0, count: 0 };
    for point in points {
        if (f64::from(point.z_mm) - median_mm).abs() <= limit_mm {
            cell.s_mm += f64::from(point.s_mm);
            cell.x_mm += f64::from(point.x_mm);
            cell.z_mm += f64::from(point.z_mm);
            cell.count += 1;
        }
    }
    let count = f64::from(cell.count);
    Some(Cell { s_mm: cell.s_mm / count, x_mm: cell.x_mm / count, z_mm: cell.z_mm / count, ..cell })
}
