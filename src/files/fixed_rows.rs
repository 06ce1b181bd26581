//! Points in binary rows of one length: PLY, PCD, LAS, and everything that was decoded into a temporary file.
//!
//! In: where the rows are and which bytes of a row are x, y, z and the normal. Out: blocks of points, mm.
//! Shape: parts of a fixed number of rows, so that what a part holds depends on the file alone.
//! Method: positioned reads of 256 kB, decoded 1024 rows at a time; three floats or whole numbers in a row's order have their own loops.
//! Where the sink has a sieve, only the rows that pass it are decoded (`row_sieve`).
//! Does not check the layout against the file's size: the readers do.

use super::block_buffer::POINTS_PER_BLOCK;
use super::byte_source::ByteSource;
use super::read_error::ReadError;
use super::row_sieve::{RowSieve, Sifted};
use super::scalar::Scalar;
use crate::scan::{PassedOver, PointBlock, PointSink, Sieve};
use nalgebra::Point3;

/// Bytes of one part: some milliseconds of work.
const BYTES_PER_PART: u64 = 16 << 20;
/// Bytes of one read: long enough to hide the call, short enough for the second-level cache.
const BYTES_PER_READ: usize = 256 << 10;
/// Points of a whole scan that are named as examples of what a sieve kept back, about: enough for a picture of it.
const EXAMPLES: u64 = 400_000;
/// Longest row that is taken for one, bytes.
pub(super) const LONGEST_ROW: usize = 64 << 10;

/// One number of a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Field {
    pub offset: usize,
    pub scalar: Scalar,
}

/// What a row holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct RowLayout {
    pub stride: usize,
    pub is_big_endian: bool,
    pub position: [Field; 3],
    pub normal: Option<[Field; 3]>,
}

/// Rows in a source.
#[derive(Debug, Clone)]
pub(super) struct FixedRows {
    pub start: u64,
    pub count: u64,
    pub layout: RowLayout,
    /// Where positions are counted in steps; none where they are lengths.
    pub steps: Option<[Steps; 3]>,
    /// From the file's lengths to mm.
    pub unit_mm: f64,
}

/// An axis on which positions are counted in whole steps, in the file's unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Steps {
    pub length: f64,
    pub origin: f64,
}

impl RowLayout {
    /// Three numbers of one type beside each other.
    pub fn triple(offset: usize, scalar: Scalar) -> [Field; 3] {
        std::array::from_fn(|axis| Field { offset: offset + axis * scalar.size(), scalar })
    }

    fn vector(&self, row: &[u8], fields: &[Field; 3]) -> [f64; 3] {
        fields.map(|field| {
            let bytes = row.get(field.offset..).unwrap_or_default();
            field.scalar.decode(bytes, self.is_big_endian).unwrap_or(f64::NAN)
        })
    }

    /// The position of a row, in the file's unit.
    pub fn position_of(&self, row: &[u8]) -> [f64; 3] {
        self.vector(row, &self.position)
    }
}

/// How three numbers stand in a row, where it is one of the usual ways: little end first, beside each other, from an offset on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Packed {
    Floats(usize),
    Doubles(usize),
    Wholes(usize),
}

impl Packed {
    fn of(layout: &RowLayout, fields: &[Field; 3]) -> Option<Self> {
        let [Field { offset, scalar }, ..] = *fields;
        if layout.is_big_endian || *fields != RowLayout::triple(offset, scalar) {
            return None;
        }
        match scalar {
            Scalar::F32 => Some(Self::Floats(offset)),
            Scalar::F64 => Some(Self::Doubles(offset)),
            Scalar::I32 => Some(Self::Wholes(offset)),
            _ => None,
        }
    }
}

/// Three numbers of `N` bytes each at an offset of a row.
#[inline]
fn three<const N: usize, T>(row: &[u8], offset: usize, number: impl Fn([u8; N]) -> T, none: T) -> [T; 3]
where
    T: Copy,
{
    let at = |place: usize| row.get(offset + place * N..).and_then(|rest| rest.first_chunk::<N>());
    match (at(0), at(1), at(2)) {
        (Some(first), Some(second), Some(third)) => [number(*first), number(*second), number(*third)],
        _ => [none; 3],
    }
}

fn floats(row: &[u8], offset: usize) -> [f32; 3] {
    three(row, offset, f32::from_le_bytes, f32::NAN)
}

fn doubles(row: &[u8], offset: usize) -> [f64; 3] {
    three(row, offset, f64::from_le_bytes, f64::NAN)
}

fn wholes(row: &[u8], offset: usize) -> [f64; 3] {
    three(row, offset, |bytes| f64::from(i32::from_le_bytes(bytes)), f64::NAN)
}

impl FixedRows {
    const fn rows_per_part(&self) -> u64 {
        let rows = BYTES_PER_PART / self.layout.stride as u64;
        if rows == 0 { 1 } else { rows }
    }

    pub fn part_count(&self) -> usize {
        usize::try_from(self.count.div_ceil(self.rows_per_part())).unwrap_or(usize::MAX)
    }

    /// The numbers of the rows of a part: first and one past the last.
    fn part_range(&self, part: usize) -> (u64, u64) {
        let first = (part as u64).saturating_mul(self.rows_per_part()).min(self.count);
        (first, self.count.min(first + self.rows_per_part()))
    }

    /// Calls `each` with the bytes of whole rows and the number of the first, through one part.
    pub fn for_each_run(
        &self,
        source: &ByteSource,
        part: usize,
        mut each: impl FnMut(&[u8], u64),
    ) -> Result<(), ReadError> {
        let (mut first, end) = self.part_range(part);
        // Whoever reads this part most often reads the next one after it.
        let next_end = self.part_range(part.saturating_add(1)).1;
        let stride = self.layout.stride as u64;
        if next_end > end {
            source.will_want(self.start + end * stride, (next_end - end) * stride);
        }
        let rows_per_read = (BYTES_PER_READ / self.layout.stride).max(1) as u64;
        let mut buffer = vec![0; rows_per_read.min(end - first) as usize * self.layout.stride];
        while first < end {
            let rows = rows_per_read.min(end - first);
            let wanted = rows as usize * self.layout.stride;
            let bytes = buffer.get_mut(..wanted).unwrap_or_default();
            let offset = self.start + first * self.layout.stride as u64;
            let got = source.read_at(offset, bytes).map_err(|error| ReadError::read(source.path(), error))?;
            if got < wanted {
                let found = first + (got / self.layout.stride) as u64;
                let path = source.path().to_owned();
                return Err(ReadError::CutOff { path, items: "points", promised: self.count, found });
            }
            each(bytes, first);
            first += rows;
        }
        Ok(())
    }

    /// Delivers the points of a part; those that the sink's sieve does not want are only counted.
    pub fn read_points(
        &self,
        source: &ByteSource,
        part: usize,
        sink: &mut dyn PointSink,
    ) -> Result<(), ReadError> {
        let mut rows_to_block = RowsToBlock::new(self, sink.wants_normals());
        let mut row_sieve = RowSieve::new(POINTS_PER_BLOCK);
        let example_step = usize::try_from(self.count / EXAMPLES).unwrap_or(usize::MAX).max(1);
        let mut examples = Vec::new();
        self.for_each_run(source, part, |bytes, mut first_index| {
            for rows in bytes.chunks(POINTS_PER_BLOCK * self.layout.stride) {
                let count = (rows.len() / self.layout.stride) as u64;
                match sink.sieve() {
                    None => rows_to_block.fill(rows.chunks_exact(self.layout.stride)),
                    Some(sieve) => {
                        let sifted = self.sift(&mut row_sieve, rows, sieve);
                        rows_to_block.fill(row_sieve.rows(rows, self.layout.stride, sifted));
                        examples.clear();
                        let some = rows.chunks_exact(self.layout.stride).step_by(example_step);
                        examples.extend(some.map(|row| Point3::from(self.position_mm(row))));
                        let count = count - sifted.kept as u64;
                        let not_finite = sifted.not_finite;
                        sink.pass_over(&PassedOver { count, not_finite, examples: &examples });
                    }
                }
                sink.take(&rows_to_block.block(first_index));
                first_index += count;
            }
        })
    }

    fn position_mm(&self, row: &[u8]) -> [f64; 3] {
        self.in_mm(self.layout.position_of(row))
    }

    /// A row's numbers as a position, mm.
    #[inline]
    fn in_mm(&self, numbers: [f64; 3]) -> [f64; 3] {
        let Some([along_x, along_y, along_z]) = &self.steps else {
            return numbers.map(|number| number * self.unit_mm);
        };
        let [x, y, z] = numbers;
        [along_x.place(x), along_y.place(y), along_z.place(z)].map(|place| place * self.unit_mm)
    }

    fn sift(&self, row_sieve: &mut RowSieve, rows: &[u8], sieve: &Sieve) -> Sifted {
        let stride = self.layout.stride;
        match Packed::of(&self.layout, &self.layout.position) {
            Some(Packed::Floats(offset)) => {
                row_sieve.sift(rows, stride, sieve, |row| self.in_mm(floats(row, offset).map(f64::from)))
            }
            Some(Packed::Doubles(offset)) => {
                row_sieve.sift(rows, stride, sieve, |row| self.in_mm(doubles(row, offset)))
            }
            Some(Packed::Wholes(offset)) => {
                row_sieve.sift(rows, stride, sieve, |row| self.in_mm(wholes(row, offset)))
            }
            None => row_sieve.sift(rows, stride, sieve, |row| self.position_mm(row)),
        }
    }
}

impl Steps {
    #[inline]
    fn place(&self, number: f64) -> f64 {
        self.length * number + self.origin
    }
}

/// Decodes rows into the arrays that a block points to.
struct RowsToBlock<'a> {
    rows: &'a FixedRows,
    axes_mm: [Vec<f64>; 3],
    normals: Option<Vec<[f32; 3]>>,
}

impl<'a> RowsToBlock<'a> {
    fn new(rows: &'a FixedRows, wants_normals: bool) -> Self {
        Self {
            rows,
            axes_mm: std::array::from_fn(|_| Vec::with_capacity(POINTS_PER_BLOCK)),
            normals: (wants_normals && rows.layout.normal.is_some())
                .then(|| Vec::with_capacity(POINTS_PER_BLOCK)),
        }
    }

    fn block(&self, first_index: u64) -> PointBlock<'_> {
        let [x_mm, y_mm, z_mm] = &self.axes_mm;
        PointBlock { x_mm, y_mm, z_mm, normals: self.normals.as_deref(), first_index }
    }

    fn fill<'b>(&mut self, rows: impl Iterator<Item = &'b [u8]> + Clone) {
        let layout = &self.rows.layout;
        let all = self.rows;
        match Packed::of(layout, &layout.position) {
            Some(Packed::Floats(offset)) => {
                self.fill_positions(rows.clone(), |row| all.in_mm(floats(row, offset).map(f64::from)))
            }
            Some(Packed::Doubles(offset)) => {
                self.fill_positions(rows.clone(), |row| all.in_mm(doubles(row, offset)));
            }
            Some(Packed::Wholes(offset)) => {
                self.fill_positions(rows.clone(), |row| all.in_mm(wholes(row, offset)));
            }
            None => self.fill_positions(rows.clone(), |row| all.position_mm(row)),
        }
        let (Some(fields), Some(normals)) = (&layout.normal, &mut self.normals) else { return };
        normals.clear();
        match Packed::of(layout, fields) {
            Some(Packed::Floats(offset)) => normals.extend(rows.map(|row| floats(row, offset))),
            _ => normals.extend(rows.map(|row| layout.vector(row, fields).map(|value| value as f32))),
        }
    }

    fn fill_positions<'b>(
        &mut self,
        rows: impl Iterator<Item = &'b [u8]>,
        position: impl Fn(&[u8]) -> [f64; 3],
    ) {
        let [x_mm, y_mm, z_mm] = &mut self.axes_mm;
        x_mm.clear();
        y_mm.clear();
        z_mm.clear();
        for row in rows {
            let [x, y, z] = position(row);
            x_mm.push(x);
            y_mm.push(y);
            z_mm.push(z);
        }
    }
}
