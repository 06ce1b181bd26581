//! The corners of a mesh while its faces are being read.
//!
//! In: points in order. Out: a corner by its number. Units: the file's, or mm, as given.
//! Shape: 24 bytes a corner; 12 where the file itself spends no more than 12 on one, so that memory stays within the file's
//! size: so few bytes hold no more digits than a 32-bit float does.
//! Does not outlive the reading of the faces.

use crate::scan::{PointBlock, PointSink};

/// Corners by number.
#[derive(Debug)]
pub(super) enum VertexTable {
    Short(Vec<[f32; 3]>),
    Long(Vec<[f64; 3]>),
}

/// Bytes of a file's corner up to which it is kept short.
const SHORT_CORNER_BYTES: u64 = 12;

impl VertexTable {
    /// For `count` corners in `byte_count` bytes of file.
    pub const fn new(byte_count: u64, count: u64) -> Self {
        if count > (1 << 20) && byte_count / count <= SHORT_CORNER_BYTES {
            Self::Short(Vec::new())
        } else {
            Self::Long(Vec::new())
        }
    }

    pub fn push(&mut self, corner: [f64; 3]) {
        match self {
            Self::Short(corners) => corners.push(corner.map(|value| value as f32)),
            Self::Long(corners) => corners.push(corner),
        }
    }

    pub fn get(&self, index: usize) -> Option<[f64; 3]> {
        match self {
            Self::Short(corners) => corners.get(index).map(|corner| corner.map(f64::from)),
            Self::Long(corners) => corners.get(index).copied(),
        }
    }

    pub const fn len(&self) -> usize {
        match self {
            Self::Short(corners) => corners.len(),
            Self::Long(corners) => corners.len(),
        }
    }
}

impl PointSink for VertexTable {
    fn take(&mut self, block: &PointBlock<'_>) {
        for ((x, y), z) in block.x_mm.iter().zip(block.y_mm).zip(block.z_mm) {
            self.push([*x, *y, *z]);
        }
    }
}
