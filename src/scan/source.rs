//! The trait behind which every scan format stands.
//!
//! In: a part number. Out: blocks of points (structure of arrays, f64 mm) or of triangles, in file order.
//! Parts may be read by several threads at once; which parts there are depends on the file alone, so that results
//! put together in part order do not depend on the number of threads.
//! Does not filter: non-finite points are passed on in blocks and dropped (and counted) by whoever collects.

use nalgebra::{Point3, Vector3};

use super::sieve::Sieve;

/// A triangle by its corners, mm.
pub type Triangle = [Point3<f64>; 3];

/// Some points in file order, coordinates apart so that a filter over them vectorises.
#[derive(Debug, Clone, Copy)]
pub struct PointBlock<'a> {
    pub x_mm: &'a [f64],
    pub y_mm: &'a [f64],
    pub z_mm: &'a [f64],
    /// Normals where the file has them: as many as points. Not normalised, may be zero.
    pub normals: Option<&'a [[f32; 3]]>,
    /// Place of the first point of this block in the whole scan, from 0.
    pub first_index: u64,
}

impl PointBlock<'_> {
    /// How many points the block holds.
    #[must_use]
    pub const fn len(&self) -> usize {
        self.x_mm.len()
    }

    /// True for a block without points.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.x_mm.is_empty()
    }

    /// The point at `index` of the block, mm.
    #[must_use]
    pub fn point(&self, index: usize) -> Point3<f64> {
        Point3::new(self.x_mm[index], self.y_mm[index], self.z_mm[index])
    }

    /// The normal at `index` of the block, if the file has normals and this one has a direction.
    #[must_use]
    pub fn normal(&self, index: usize) -> Option<Vector3<f64>> {
        let [x, y, z] = *self.normals?.get(index)?;
        Vector3::new(f64::from(x), f64::from(y), f64::from(z)).try_normalize(1e-6)
    }
}

/// Takes the points of one part.
pub trait PointSink {
    /// Called once for each block, in file order.
    fn take(&mut self, block: &PointBlock<'_>);

    /// Where points are wanted from, for a sink that has no use for others. A source may then leave out points in cells
    /// that are not marked, if it tells [`Self::pass_over`] of each run of them; it need not.
    /// `first_index` of a block says nothing then.
    fn sieve(&self) -> Option<&Sieve> {
        None
    }

    /// False where normals need not be decoded.
    fn wants_normals(&self) -> bool {
        true
    }

    /// Hears of points that the sieve kept back.
    fn pass_over(&mut self, _run: &PassedOver<'_>) {}
}

/// A run of points that a sink's own sieve kept back.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PassedOver<'a> {
    pub count: u64,
    /// Those among them with a coordinate that is infinite or not a number.
    pub not_finite: u64,
    /// Some points of the run at even steps, mm, kept back or not: at least the first, a few hundred thousand in a scan.
    pub examples: &'a [Point3<f64>],
}

/// Takes the triangles of one part.
pub trait TriangleSink {
    /// Called once for each run of triangles, in file order.
    fn take(&mut self, triangles: &[Triangle]);
}

/// What the head of a scan says before its points are read.
#[derive(Debug, Clone, PartialEq)]
pub struct SourceFacts {
    /// Format as a person would say it: "PLY, binary little endian".
    pub format: String,
    /// Points (or mesh vertices) as far as known beforehand.
    pub point_count: Option<u64>,
    pub triangle_count: Option<u64>,
    pub has_normals: bool,
    /// Bytes in the file, where it is one.
    pub byte_count: Option<u64>,
}

/// Why a part could not be delivered. The text is complete: what, where, and what to do.
#[derive(Debug, thiserror::Error, Clone, PartialEq, Eq)]
#[error("{0}")]
pub struct ScanFailure(pub String);

/// A scan that can be read part by part, any part any number of times.
///
/// Points of a mesh are its vertices. Sources that can only be read once (a pipe) keep what they decoded.
pub trait ScanSource: Sync {
    /// What is known before reading.
    fn facts(&self) -> &SourceFacts;

    /// How many parts the points come in.
    fn part_count(&self) -> usize;

    /// Delivers the points of one part.
    ///
    /// # Errors
    /// The file is cut off, unreadable, or not what its head says.
    fn read_points(&self, part: usize, sink: &mut dyn PointSink) -> Result<(), ScanFailure>;

    /// True where the scan has triangles, which then are the surface, and its points only their corners.
    fn is_mesh(&self) -> bool {
        self.facts().triangle_count.is_some_and(|count| count > 0)
    }

    /// How many parts the triangles come in; 0 for clouds.
    fn triangle_part_count(&self) -> usize {
        0
    }

    /// Delivers the triangles of one part.
    ///
    /// # Errors
    /// The file is cut off, unreadable, or names a vertex that it does not have.
    fn read_triangles(&self, _part: usize, _sink: &mut dyn TriangleSink) -> Result<(), ScanFailure> {
        Ok(())
    }
}

/// A sink for sources that must be asked for triangles but whose triangles nobody wants.
#[derive(Debug, Default)]
pub struct NoTriangles;

impl TriangleSink for NoTriangles {
    fn take(&mut self, _triangles: &[Triangle]) {}
}

/// A scan held in memory: for rehearsals, for tests and for callers of the library with points of their own.
#[derive(Debug, Clone)]
pub struct VecSource {
    facts: SourceFacts,
    x_mm: Vec<f64>,
    y_mm: Vec<f64>,
    z_mm: Vec<f64>,
    normals: Option<Vec<[f32; 3]>>,
    triangles: Vec<Triangle>,
}

/// Points in one part of a [`VecSource`].
const POINTS_PER_PART: usize = 1 << 18;
/// Points in one block of a [`VecSource`]: 24 kB of coordinates, which stay in the first-level cache.
const POINTS_PER_BLOCK: usize = 1024;

impl VecSource {
    /// A cloud. Shape: N points in mm, and no normals or N of them.
    #[must_use]
    pub fn from_points(points: &[Point3<f64>], normals: Option<Vec<[f32; 3]>>) -> Self {
        let normals = normals.filter(|given| given.len() == points.len());
        Self {
            facts: SourceFacts {
                format: "points in memory".to_owned(),
                point_count: Some(points.len() as u64),
                triangle_count: None,
                has_normals: normals.is_some(),
                byte_count: None,
            },
            x_mm: points.iter().map(|point| point.x).collect(),
            y_mm: points.iter().map(|point| point.y).collect(),
            z_mm: points.iter().map(|point| point.z).collect(),
            normals,
            triangles: Vec::new(),
        }
    }

    /// A mesh: the points are the triangles' corners.
    #[must_use]
    pub fn from_triangles(triangles: Vec<Triangle>) -> Self {
        let corners: Vec<Point3<f64>> = triangles.iter().flatten().copied().collect();
        let mut source = Self::from_points(&corners, None);
        source.facts.triangle_count = Some(triangles.len() as u64);
        source.facts.format = "triangles in memory".to_owned();
        source.triangles = triangles;
        source
    }

    /// The same scan with another description, for readers that decode into memory.
    #[must_use]
    pub fn with_format(mut self, format: impl Into<String>, byte_count: Option<u64>) -> Self {
        self.facts.format = format.into();
        self.facts.byte_count = byte_count;
        self
    }
}

impl ScanSource for VecSource {
    fn facts(&self) -> &SourceFacts {
        &self.facts
    }

    fn part_count(&self) -> usize {
        self.x_mm.len().div_ceil(POINTS_PER_PART)
    }

    fn read_points(&self, part: usize, sink: &mut dyn PointSink) -> Result<(), ScanFailure> {
        let end = self.x_mm.len().min((part + 1) * POINTS_PER_PART);
        let mut first = part * POINTS_PER_PART;
        while first < end {
            let next = end.min(first + POINTS_PER_BLOCK);
            sink.take(&PointBlock {
                x_mm: &self.x_mm[first..next],
                y_mm: &self.y_mm[first..next],
                z_mm: &self.z_mm[first..next],
                normals: self.normals.as_ref().map(|normals| &normals[first..next]),
                first_index: first as u64,
            });
            first = next;
        }
        Ok(())
    }

    fn triangle_part_count(&self) -> usize {
        self.triangles.len().div_ceil(POINTS_PER_PART)
    }

    fn read_triangles(&self, part: usize, sink: &mut dyn TriangleSink) -> Result<(), ScanFailure> {
        let end = self.triangles.len().min((part + 1) * POINTS_PER_PART);
        sink.take(&self.triangles[(part * POINTS_PER_PART).min(end)..end]);
        Ok(())
    }
}
