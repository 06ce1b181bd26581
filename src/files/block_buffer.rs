//! Gathers single points into the blocks that sinks take.
//!
//! In: points one by one. Out: blocks of at most [`POINTS_PER_BLOCK`]. Units: mm.
//! Does not filter.

use crate::scan::{PointBlock, PointSink};

/// Points in one block: 24 kB of coordinates, which stay in the first-level cache.
pub(super) const POINTS_PER_BLOCK: usize = 1024;

/// Points that wait to be handed on.
pub(super) struct BlockBuffer<'a> {
    sink: &'a mut dyn PointSink,
    axes_mm: [Vec<f64>; 3],
    normals: Option<Vec<[f32; 3]>>,
    first_index: u64,
}

impl<'a> BlockBuffer<'a> {
    pub fn new(sink: &'a mut dyn PointSink, has_normals: bool, first_index: u64) -> Self {
        Self {
            sink,
            axes_mm: std::array::from_fn(|_| Vec::with_capacity(POINTS_PER_BLOCK)),
            normals: has_normals.then(|| Vec::with_capacity(POINTS_PER_BLOCK)),
            first_index,
        }
    }

    pub fn push(&mut self, point_mm: [f64; 3], normal: [f32; 3]) {
        for (axis, value) in self.axes_mm.iter_mut().zip(point_mm) {
            axis.push(value);
        }
        if let Some(normals) = &mut self.normals {
            normals.push(normal);
        }
        let [x_mm, ..] = &self.axes_mm;
        if x_mm.len() == POINTS_PER_BLOCK {
            self.flush();
        }
    }

    /// Hands on what waits; call it at the end.
    pub fn flush(&mut self) {
        let [x_mm, y_mm, z_mm] = &self.axes_mm;
        let count = x_mm.len() as u64;
        if count > 0 {
            let normals = self.normals.as_deref();
            self.sink.take(&PointBlock { x_mm, y_mm, z_mm, normals, first_index: self.first_index });
        }
        self.first_index += count;
        self.axes_mm.iter_mut().for_each(Vec::clear);
        if let Some(normals) = &mut self.normals {
            normals.clear();
        }
    }
}
