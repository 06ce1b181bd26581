//! The corners of a mesh while its faces are being read.
//!
//! In: points in order. Out: a corner by its number. Units: the file's, or mm, as given.
//! Shape: 24 bytes a corner; 12 where the file itself spends no more than 12 on one, so that memory stays within the file's
//! size: so few bytes hold no more digits than a 32-bit float does. In pieces, which need not be moved when the table grows.
//! Does not outlive the reading of the faces.

use crate::scan::{PointBlock, PointSink};

/// Corners by number.
#[derive(Debug)]
pub(super) enum VertexTable {
    Short(Pieces<[f32; 3]>),
    Long(Pieces<[f64; 3]>),
}

/// A list in pieces of one length.
#[derive(Debug)]
pub(super) struct Pieces<T>(Vec<Vec<T>>);

/// Corners of a piece.
const PIECE: usize = 1 << 15;

impl<T: Copy> Pieces<T> {
    fn push(&mut self, item: T) {
        match self.0.last_mut() {
            Some(piece) if piece.len() < PIECE => piece.push(item),
            _ => self.0.push(vec![item]),
        }
    }

    fn get(&self, index: usize) -> Option<T> {
        self.0.get(index / PIECE)?.get(index % PIECE).copied()
    }

    fn len(&self) -> usize {
        self.0.last().map_or(0, |last| (self.0.len() - 1) * PIECE + last.len())
    }
}

/// Bytes of a file's corner up to which it is kept short.
const SHORT_CORNER_BYTES: u64 = 12;

impl VertexTable {
    /// For `count` corners in `byte_count` bytes of file.
    pub fn new(byte_count: u64, count: u64) -> Self {
        if count > (1 << 20) && byte_count / count <= SHORT_CORNER_BYTES {
            Self::Short(Pieces(Vec::new()))
        } else {
            Self::Long(Pieces(Vec::new()))
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
            Self::Long(corners) => corners.get(index),
        }
    }

    pub fn len(&self) -> usize {
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
