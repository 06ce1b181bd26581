//! Unpacks the points of a packed LAS file, as far as their places.
//!
//! In: a file at its points, and its header. Out: records of which only x, y and z are to be used. Units: the file's.
//! Method: the crate `laz` decodes (ASPRS LAS; packing by M. Isenburg, 2013). Points in layers (formats 6 to 10) are unpacked
//! without the layers that are not needed. In those of one stream every field must be decoded to get at the next; their times are
//! stepped over by `laz_times`. Does not look whether the file can be believed: `laz_guard` has done that.

use std::io::{BufReader, Read, Result, Seek, SeekFrom};

use las::Header;
use laz::las::selective::DecompressionSelection;
use laz::las::{v1, v2};
use laz::laszip::{ChunkTable, LazItemType};
use laz::record::{RecordDecompressor, SequentialPointRecordDecompressor};
use laz::{LasZipDecompressor, LasZipError, LazItem, LazVlr};

use super::laz_guard;
use super::laz_times::TimesPassedOver;

/// From this version of its first field on a point is packed in layers.
const LAYERED_FROM: u16 = 3;

/// The points of a packed file, one after the other.
pub(super) enum PackedPoints<R: Read + Seek + Send + Sync + 'static> {
    Layers(Box<LasZipDecompressor<'static, Unhurried<R>>>),
    OneStream(Box<OneStream<Unhurried<R>>>),
}

impl<R: Read + Seek + Send + Sync + 'static> PackedPoints<R> {
    /// `input` is where the points begin.
    pub fn new(input: BufReader<R>, header: &Header) -> std::result::Result<Self, las::Error> {
        let packing = header.laz_vlr()?;
        let input = Unhurried(input);
        if packing.items().first().is_some_and(|field| field.version() >= LAYERED_FROM) {
            let wanted = DecompressionSelection::xy_returns_channel().decompress_z();
            return Ok(Self::Layers(Box::new(LasZipDecompressor::selective(input, packing, wanted)?)));
        }
        let is_in_chunks = laz_guard::is_in_chunks(laz_guard::packing_of(header));
        Ok(Self::OneStream(Box::new(OneStream::new(input, packing, is_in_chunks)?)))
    }

    /// Unpacks the next point into a record.
    pub fn next(&mut self, record: &mut [u8]) -> Result<()> {
        match self {
            Self::Layers(points) => points.decompress_one(record),
            Self::OneStream(points) => points.next(record),
        }
    }
}

/// How many points the chunks have.
enum Chunks {
    All(u64),
    Listed(std::vec::IntoIter<u64>),
}

/// Points whose fields follow each other in one stream, which begins anew with each chunk.
pub(super) struct OneStream<R: Read + Seek> {
    points: SequentialPointRecordDecompressor<'static, R>,
    fields: Vec<LazItem>,
    chunks: Chunks,
    left_in_chunk: u64,
}

impl<R: Read + Seek> OneStream<R> {
    fn new(mut input: R, packing: LazVlr, is_in_chunks: bool) -> std::result::Result<Self, LasZipError> {
        let chunks = if is_in_chunks && packing.uses_variable_size_chunks() {
            let table = ChunkTable::read_from(&mut input, &packing)?;
            let counts: Vec<u64> = table.as_ref().iter().map(|chunk| chunk.point_count).collect();
            Chunks::Listed(counts.into_iter())
        } else if is_in_chunks {
            // The place of the table, which is not needed where all chunks are alike.
            input.seek_relative(ChunkTable::OFFSET_SIZE as i64)?;
            Chunks::All(u64::from(packing.chunk_size()))
        } else {
            Chunks::All(u64::MAX)
        };
        let points = SequentialPointRecordDecompressor::new(input);
        Ok(Self { points, fields: packing.items().clone(), chunks, left_in_chunk: 0 })
    }

    fn next(&mut self, record: &mut [u8]) -> Result<()> {
        if self.left_in_chunk == 0 {
            self.left_in_chunk = match &mut self.chunks {
                Chunks::All(count) => *count,
                Chunks::Listed(counts) => {
                    counts.find(|count| *count > 0).ok_or(std::io::ErrorKind::UnexpectedEof)?
                }
            };
            self.points.reset();
            add_fields(&mut self.points, &self.fields).map_err(std::io::Error::other)?;
        }
        self.left_in_chunk -= 1;
        self.points.decompress_next(record)
    }
}

/// Says how the fields of a point are decoded: as the crate does, but for their times.
fn add_fields<R: Read>(
    points: &mut SequentialPointRecordDecompressor<'static, R>,
    fields: &[LazItem],
) -> std::result::Result<(), LasZipError> {
    for field in fields {
        match (field.item_type(), field.version()) {
            (LazItemType::Point10, 1) => points.add_field_decompressor(v1::LasPoint0Decompressor::default()),
            (LazItemType::Point10, 2) => points.add_field_decompressor(v2::LasPoint0Decompressor::default()),
            (LazItemType::GpsTime, 1) => points.add_field_decompressor(v1::LasGpsTimeDecompressor::default()),
            (LazItemType::GpsTime, 2) => points.add_field_decompressor(TimesPassedOver::default()),
            (LazItemType::RGB12, 1) => points.add_field_decompressor(v1::LasRGBDecompressor::default()),
            (LazItemType::RGB12, 2) => points.add_field_decompressor(v2::LasRGBDecompressor::default()),
            // Their second version is the first.
            (LazItemType::WavePacket13, 1 | 2) => {
                points.add_field_decompressor(v1::LasWavepacketDecompressor::default());
            }
            (LazItemType::Byte(count), 1 | 2) => {
                points.add_field_decompressor(v1::LasExtraByteDecompressor::new(usize::from(count)));
            }
            (kind, version) => return Err(LasZipError::UnsupportedLazItemVersion(kind, version)),
        }
    }
    Ok(())
}

/// Keeps what it has read ahead when a layer is skipped, so that many small layers are not read again and again.
pub(super) struct Unhurried<R>(BufReader<R>);

impl<R: Read> Read for Unhurried<R> {
    fn read(&mut self, buffer: &mut [u8]) -> Result<usize> {
        self.0.read(buffer)
    }

    fn read_exact(&mut self, buffer: &mut [u8]) -> Result<()> {
        self.0.read_exact(buffer)
    }
}

impl<R: Read + Seek> Seek for Unhurried<R> {
    fn seek(&mut self, to: SeekFrom) -> Result<u64> {
        match to {
            SeekFrom::Current(step) => {
                self.0.seek_relative(step)?;
                self.0.stream_position()
            }
            _ => self.0.seek(to),
        }
    }
}
