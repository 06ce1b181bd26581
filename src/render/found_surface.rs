//! A found car's surface as tinted, shaded rows of boxes, with what is hidden left out.
//!
//! In: samples of the panels' surfaces (mm), a flat view and the scale. Out: boxes by ink, and whether a place is hidden.
//! Method: depth buffer over square buckets (Catmull 1974, "A subdivision algorithm for computer display of curved
//! surfaces"); every sample covers a small disc; single holes are closed from their neighbours; shade by Lambert's cosine in
//! four steps.
//! Does not project in perspective.

use nalgebra::{Point3, Vector3};
use rustc_hash::FxHashMap;

use super::car_axes::FlatView;
use super::ink::Ink;
use super::picture::{Area, Picture, Place};
use crate::trace::SurfaceSample;

/// Side of a bucket, picture units; whole pixels at two pixels a unit, so that boxes meet without a seam.
pub(super) const BUCKET: f64 = 1.5;
/// Radius that a sample covers, mm: neighbours lie up to some 5 mm apart.
pub(super) const COVER_MM: f64 = 3.6;
/// What lies this much deeper than the nearest surface is hidden, mm: more than a seam's flush.
const HIDDEN_MM: f64 = 14.0;
/// Least cosine towards the eye at which a sample is drawn.
const LEAST_FACING: f64 = 0.03;
/// Rounds of closing holes.
const CLOSING_ROUNDS: usize = 2;
/// Cosines towards the light at which the shade changes.
const SHADE_STEPS: [f64; 7] = [0.97, 0.91, 0.83, 0.73, 0.61, 0.47, 0.3];

/// From the view's mm to the picture.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sheet {
    pub origin: Place,
    pub per_mm: f64,
}

/// The first sample of every cube of space, for views that only have to tell what hides what.
pub(super) fn thinned(samples: &[SurfaceSample], cube_mm: f64) -> Vec<SurfaceSample> {
    let mut taken = TakenCubes::default();
    let cube = |sample: &SurfaceSample| sample.point.coords.map(|value| (value / cube_mm).floor() as i32);
    samples.iter().filter(|sample| taken.take(cube(sample).into())).copied().collect()
}

/// Cubes of space that are taken: a bit each in blocks of 8 × 8 × 8.
#[derive(Default)]
struct TakenCubes {
    blocks: FxHashMap<[i32; 3], usize>,
    bits: Vec<[u64; 8]>,
    /// The block of the last cube: the next one mostly lies in it, too.
    last: Option<([i32; 3], usize)>,
}

impl TakenCubes {
    /// Takes a cube; false where it was taken before.
    fn take(&mut self, cube: [i32; 3]) -> bool {
        let address = cube.map(|step| step >> 3);
        let block = self
            .last
            .filter(|(last, _)| *last == address)
            .map_or_else(|| *self.blocks.entry(address).or_insert(self.bits.len()), |(_, block)| block);
        if block == self.bits.len() {
            self.bits.push([0; 8]);
        }
        self.last = Some((address, block));
        let [x, y, z] = cube.map(|step| step & 7);
        let (row, bit) = (&mut self.bits[block][x as usize], 1 << (8 * y + z));
        let is_free = *row & bit == 0;
        *row |= bit;
        is_free
    }
}

impl Sheet {
    pub fn place(&self, view: &FlatView, point: &Point3<f64>) -> Place {
        let [x, y] = view.flat(point);
        [self.origin[0] + x * self.per_mm, self.origin[1] + y * self.per_mm]
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Paint {
    panel: usize,
    shade: u8,
}

/// The nearest surface in every bucket.
pub(super) struct DepthBuffer {
    corner: Place,
    columns: usize,
    rows: usize,
    depth_mm: Vec<f64>,
    paint: Vec<Option<Paint>>,
}

impl DepthBuffer {
    /// Fills the buffer for an area of the picture; every sample covers a disc of a radius in mm.
    pub fn of(samples: &[SurfaceSample], cover_mm: f64, view: &FlatView, sheet: &Sheet, area: &Area) -> Self {
        let corner = [(area.x / BUCKET).floor() * BUCKET, (area.y / BUCKET).floor() * BUCKET];
        let count = |length: f64| (length / BUCKET).ceil().clamp(1.0, 4000.0) as usize + 2;
        let (columns, rows) = (count(area.width), count(area.height));
        let mut buffer = Self {
            corner,
            columns,
            rows,
            depth_mm: vec![f64::NEG_INFINITY; columns * rows],
            paint: vec![None; columns * rows],
        };
        let radius = (cover_mm * sheet.per_mm).max(0.6 * BUCKET);
        let light = (view.towards_eye - view.down * 0.45 - view.right * 0.3).normalize();
        for sample in samples {
            if sample.outward.dot(&view.towards_eye) > LEAST_FACING {
                buffer.cover(sample, view, radius, sheet.place(view, &sample.point), &light);
            }
        }
        for _ in 0..CLOSING_ROUNDS {
            buffer.close();
        }
        buffer
    }

    fn cover(
        &mut self,
        sample: &SurfaceSample,
        view: &FlatView,
        radius: f64,
        [x, y]: Place,
        light: &Vector3<f64>,
    ) {
        let depth_mm = sample.point.coords.dot(&view.towards_eye);
        let cosine = sample.outward.dot(light);
        let shade = SHADE_STEPS.iter().filter(|step| cosine < **step).count() as u8;
        let paint = Paint { panel: sample.panel, shade };
        let steps = |from: f64, to: f64, corner: f64, count: usize| {
            // What lies before the corner becomes 0.
            let bucket = |at: f64| (((at - corner) / BUCKET) as usize).min(count - 1);
            bucket(from)..=bucket(to)
        };
        for row in steps(y - radius, y + radius, self.corner[1], self.rows) {
            for column in steps(x - radius, x + radius, self.corner[0], self.columns) {
                let centre =
                    [0, 1].map(|axis| self.corner[axis] + ([column, row][axis] as f64 + 0.5) * BUCKET);
                let bucket = row * self.columns + column;
                let is_inside = (centre[0] - x).powi(2) + (centre[1] - y).powi(2) <= radius * radius;
                if depth_mm > self.depth_mm[bucket] && is_inside {
                    self.depth_mm[bucket] = depth_mm;
                    self.paint[bucket] = Some(paint);
                }
            }
        }
    }

    /// Buckets with five filled neighbours or more take the paint of the deepest of them.
    fn close(&mut self) {
        let before = self.paint.clone();
        for row in 1..self.rows - 1 {
            for column in 1..self.columns - 1 {
                let bucket = row * self.columns + column;
                if before[bucket].is_some() {
                    continue;
                }
                let around =
                    [-1_isize, 0, 1].into_iter().flat_map(|dy| [-1_isize, 0, 1].map(move |dx| (dx, dy)));
                let filled: Vec<usize> = around
                    .filter_map(|(dx, dy)| bucket.checked_add_signed(dy * self.columns as isize + dx))
                    .filter(|near| before[*near].is_some())
                    .collect();
                let deepest =
                    filled.iter().min_by(|one, two| self.depth_mm[**one].total_cmp(&self.depth_mm[**two]));
                if let Some(deepest) = deepest.filter(|_| filled.len() >= 5) {
                    self.paint[bucket] = before[*deepest];
                    self.depth_mm[bucket] = self.depth_mm[*deepest];
                }
            }
        }
    }

    /// True where something nearer to the eye lies over a point.
    pub fn hides(&self, point: &Point3<f64>, view: &FlatView, sheet: &Sheet) -> bool {
        let [x, y] = sheet.place(view, point);
        let step = |at: f64, corner: f64| ((at - corner) / BUCKET).floor();
        let (column, row) = (step(x, self.corner[0]), step(y, self.corner[1]));
        let is_inside = column >= 0.0 && row >= 0.0 && column < self.columns as f64 && row < self.rows as f64;
        is_inside && {
            let bucket = row as usize * self.columns + column as usize;
            self.depth_mm[bucket] > point.coords.dot(&view.towards_eye) + HIDDEN_MM
        }
    }

    /// For each panel the place that is furthest from its rim, and how far that is, picture units.
    pub fn middles(&self, panel_count: usize) -> Vec<Option<(Place, f64)>> {
        let mut best: Vec<Option<(usize, u32)>> = vec![None; panel_count];
        for (bucket, inset) in self.insets().into_iter().enumerate() {
            let Some(place) = self.paint[bucket].and_then(|paint| best.get_mut(paint.panel)) else {
                continue;
            };
            if place.is_none_or(|(_, deepest)| inset > deepest) {
                *place = Some((bucket, inset));
            }
        }
        let place = |bucket: usize| {
            let steps = [(bucket % self.columns) as f64, (bucket / self.columns) as f64];
            [0, 1].map(|axis| self.corner[axis] + (steps[axis] + 0.5) * BUCKET)
        };
        best.into_iter()
            .map(|best| best.map(|(bucket, inset)| (place(bucket), f64::from(inset) * BUCKET)))
            .collect()
    }

    /// Steps from each bucket to the nearest one of another panel, by two sweeps (Rosenfeld and Pfaltz, JACM 13(4), 1966).
    fn insets(&self) -> Vec<u32> {
        let panel = |bucket: usize| self.paint[bucket].map(|paint| paint.panel);
        let mut insets = vec![0_u32; self.paint.len()];
        let inner = |bucket: usize| {
            let (row, column) = (bucket / self.columns, bucket % self.columns);
            row > 0 && column > 0 && row + 1 < self.rows && column + 1 < self.columns
        };
        let relax = |insets: &mut Vec<u32>, bucket: usize, near: [usize; 2], far: u32| {
            if panel(bucket).is_some() && inner(bucket) {
                let step = |other: usize| if panel(other) == panel(bucket) { insets[other] + 1 } else { 1 };
                insets[bucket] = near.into_iter().map(step).min().unwrap_or(1).min(far);
            }
        };
        for bucket in 0..insets.len() {
            relax(&mut insets, bucket, [bucket.wrapping_sub(1), bucket.wrapping_sub(self.columns)], u32::MAX);
        }
        for bucket in (0..insets.len()).rev() {
            let far = insets[bucket];
            relax(&mut insets, bucket, [bucket + 1, bucket + self.columns], far);
        }
        insets
    }

    /// Draws the buckets, row by row, `tints` by panel.
    pub fn draw(&self, picture: &mut Picture, tints: &[u8]) {
        let mut boxes: std::collections::BTreeMap<(u8, u8), Vec<Area>> = std::collections::BTreeMap::new();
        for row in 0..self.rows {
            let mut column = 0;
            while column < self.columns {
                let start = column;
                let paint = self.paint[row * self.columns + column];
                while column < self.columns && self.paint[row * self.columns + column] == paint {
                    column += 1;
                }
                let Some(Paint { panel, shade }) = paint else { continue };
                let tint = tints.get(panel).copied().unwrap_or(0);
                boxes.entry((tint, shade)).or_default().push(Area::new(
                    self.corner[0] + start as f64 * BUCKET,
                    self.corner[1] + row as f64 * BUCKET,
                    (column - start) as f64 * BUCKET,
                    BUCKET,
                ));
            }
        }
        for ((tint, shade), areas) in boxes {
            picture.shapes.push(super::picture::Shape::Boxes { areas, fill: Ink::Panel(tint, shade) });
        }
    }
}
