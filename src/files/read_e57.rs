//! E57: every scan of the file, moved by its pose.
//!
//! In: a source. Out: a decoded [`ScanSource`]. Units: as told by the caller; the standard says metres (ASTM E2807), and not
//! every program keeps to it.
//! Method: the crate `e57` checks pages and decodes; points marked invalid, and those with a direction only, are dropped.
//! Does not read images or colours.

use std::panic::{AssertUnwindSafe, catch_unwind};

use e57::{CartesianCoordinate, E57Reader};

use super::byte_source::ByteSource;
use super::read_error::ReadError;
use super::spool::{Spool, most_points, spool_error};
use crate::scan::ScanSource;

const FORMAT: &str = "E57";

/// Reads an E57 file.
pub(super) fn open(source: &ByteSource, unit_mm: f64) -> Result<Box<dyn ScanSource>, ReadError> {
    // The decoder is another project's: should it give up on a broken file, that is an error of the file.
    let decoded = catch_unwind(AssertUnwindSafe(|| decode(source)));
    let (spool, scans) = decoded.unwrap_or_else(|_| Err(broken(source, "its decoder gave up")))?;
    let format = format!("E57, scans: {scans}");
    Ok(Box::new(spool.finish(source.path(), format, source.len(), unit_mm)?))
}

fn broken(source: &ByteSource, problem: impl Into<String>) -> ReadError {
    ReadError::malformed(source.path(), FORMAT, "its content", problem)
}

fn decode(source: &ByteSource) -> Result<(Spool, usize), ReadError> {
    let fault = |error: e57::Error| broken(source, error.to_string());
    let mut reader = E57Reader::new(source.reader(0)).map_err(fault)?;
    let clouds = reader.pointclouds();
    // Numbers that are the same in all points take no bytes, so points could be decoded from nothing for ever.
    let promised = clouds.iter().fold(0_u64, |sum, cloud| sum.saturating_add(cloud.records));
    if promised > most_points(source.len()) {
        return Err(broken(source, format!("{promised} points are promised, far more than it can hold")));
    }
    let mut spool = Spool::new(false);
    for cloud in &clouds {
        let mut points = reader.pointcloud_simple(cloud).map_err(fault)?;
        // What else a point has is not looked at, so nothing need be made of it.
        points.intensity_to_color(false);
        points.normalize_intensity(false);
        points.normalize_color(false);
        for point in points {
            if let CartesianCoordinate::Valid { x, y, z } = point.map_err(fault)?.cartesian {
                spool.push_point([x, y, z], [0.0; 3]).map_err(|error| spool_error(source.path(), error))?;
            }
        }
    }
    Ok((spool, clouds.len()))
}
