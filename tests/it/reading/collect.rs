//! Opens bytes as a scan and collects what it delivers.

use std::path::Path;

use shutline::files::{ReadError, open_scan};
use shutline::scan::{PointBlock, PointSink, ScanFailure, SourceFacts, Triangle, TriangleSink};
use shutline::units::LengthUnit;

#[derive(Debug)]
pub struct Collected {
    pub facts: SourceFacts,
    pub points: Vec<[f64; 3]>,
    pub normals: Vec<[f32; 3]>,
    pub triangles: Vec<Triangle>,
}

#[derive(Default)]
struct Points {
    points: Vec<[f64; 3]>,
    normals: Vec<[f32; 3]>,
}

impl PointSink for Points {
    fn take(&mut self, block: &PointBlock<'_>) {
        assert_eq!(block.first_index, self.points.len() as u64, "blocks come in order");
        assert!(block.len() <= 1024 && block.y_mm.len() == block.len() && block.z_mm.len() == block.len());
        for index in 0..block.len() {
            self.points.push([block.x_mm[index], block.y_mm[index], block.z_mm[index]]);
        }
        if let Some(normals) = block.normals {
            assert_eq!(normals.len(), block.len());
            self.normals.extend_from_slice(normals);
        }
    }
}

struct Triangles(Vec<Triangle>);

impl TriangleSink for Triangles {
    fn take(&mut self, triangles: &[Triangle]) {
        self.0.extend_from_slice(triangles);
    }
}

#[derive(Debug)]
pub enum Failure {
    Open(ReadError),
    Part(ScanFailure),
}

impl Failure {
    pub fn text(&self) -> String {
        match self {
            Self::Open(error) => error.to_string(),
            Self::Part(error) => error.to_string(),
        }
    }
}

pub fn collect_path(path: &Path, unit: LengthUnit) -> Result<Collected, Failure> {
    let scan = open_scan(path, unit).map_err(Failure::Open)?;
    let mut points = Points::default();
    for part in 0..scan.part_count() {
        scan.read_points(part, &mut points).map_err(Failure::Part)?;
    }
    let mut triangles = Triangles(Vec::new());
    for part in 0..scan.triangle_part_count() {
        scan.read_triangles(part, &mut triangles).map_err(Failure::Part)?;
    }
    Ok(Collected {
        facts: scan.facts().clone(),
        points: points.points,
        normals: points.normals,
        triangles: triangles.0,
    })
}

pub fn collect(bytes: &[u8]) -> Result<Collected, Failure> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("scan.dat");
    std::fs::write(&path, bytes).unwrap();
    collect_path(&path, LengthUnit::Millimetre)
}

/// Reads everything and keeps nothing, as far as the sums.
pub fn drain(path: &Path) -> Result<f64, Failure> {
    let scan = open_scan(path, LengthUnit::Millimetre).map_err(Failure::Open)?;
    let mut sum = Sum(0.0);
    for part in 0..scan.part_count() {
        scan.read_points(part, &mut sum).map_err(Failure::Part)?;
    }
    for part in 0..scan.triangle_part_count() {
        scan.read_triangles(part, &mut sum).map_err(Failure::Part)?;
    }
    Ok(sum.0)
}

struct Sum(f64);

impl PointSink for Sum {
    fn take(&mut self, block: &PointBlock<'_>) {
        self.0 += block.x_mm.iter().chain(block.y_mm).chain(block.z_mm).sum::<f64>();
    }
}

impl TriangleSink for Sum {
    fn take(&mut self, triangles: &[Triangle]) {
        self.0 += triangles.iter().flatten().map(|corner| corner.x).sum::<f64>();
    }
}
