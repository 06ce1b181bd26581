//! Points in rows of one file, binary or text, and a cloud made of them.
//!
//! In: rows and facts. Out: a [`ScanSource`]. Units: mm. Does not decode: the rows do.

use super::byte_source::ByteSource;
use super::fixed_rows::FixedRows;
use super::read_error::ReadError;
use super::spool::failure;
use super::text_rows::TextRows;
use crate::scan::{PointSink, ScanFailure, ScanSource, SourceFacts};

/// Rows of either kind.
#[derive(Debug)]
pub(super) enum PointRows {
    Binary(FixedRows),
    Text(TextRows),
    /// Decoded into a place of their own.
    Spooled(ByteSource, FixedRows),
}

impl PointRows {
    pub fn part_count(&self) -> usize {
        match self {
            Self::Binary(rows) => rows.part_count(),
            Self::Text(rows) => rows.part_count(),
            Self::Spooled(_, rows) => rows.part_count(),
        }
    }

    pub fn read(&self, source: &ByteSource, part: usize, sink: &mut dyn PointSink) -> Result<(), ReadError> {
        match self {
            Self::Binary(rows) => rows.read_points(source, part, sink),
            Self::Text(rows) => rows.read_points(source, part, sink),
            Self::Spooled(source, rows) => rows.read_points(source, part, sink),
        }
    }
}

/// A cloud that stays in its file.
#[derive(Debug)]
pub(super) struct CloudScan {
    pub source: ByteSource,
    pub facts: SourceFacts,
    pub points: PointRows,
}

impl ScanSource for CloudScan {
    fn facts(&self) -> &SourceFacts {
        &self.facts
    }

    fn part_count(&self) -> usize {
        self.points.part_count()
    }

    fn read_points(&self, part: usize, sink: &mut dyn PointSink) -> Result<(), ScanFailure> {
        self.points.read(&self.source, part, sink).map_err(|error| failure(&error))
    }
}
