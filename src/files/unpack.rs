//! Gets at the bytes of a scan: a plain file, a packed one, or standard input.
//!
//! In: a path, or `-`. Out: a [`ByteSource`]. Units: bytes.
//! Method: gzip (RFC 1952) and Zstandard (RFC 8878) are told by their signatures and unpacked into a temporary file, because a
//! scan is read several times; so is standard input. Memory stays small whatever the packed file says.
//! Does not unpack archives of several files.

use std::fs::File;
use std::io::{self, Read, Write};
use std::path::Path;

use super::byte_source::{ByteSource, Collector};
use super::read_error::ReadError;
use super::spool::spool_error;
use super::zstd_window::{HEAD_BYTES, largest_window, window_of};

const GZIP: &[u8] = b"\x1f\x8b";
const ZSTD: &[u8] = b"\x28\xb5\x2f\xfd";
/// A scan packs to a third or a tenth; what unpacks to more than this many times its size is a trap.
const MOST_UNPACKED_TIMES: u64 = 200;
/// What any file may unpack to, bytes.
const ALWAYS_UNPACKED: u64 = 64 << 20;
/// How often a file may be packed in itself.
const MOST_LAYERS: usize = 2;

/// Opens a path, or standard input for `-`, unpacked.
pub(super) fn open_bytes(path: &Path) -> Result<ByteSource, ReadError> {
    let mut source = if path == Path::new("-") { standard_input(path)? } else { plain_file(path)? };
    for _ in 0..MOST_LAYERS {
        let head = source.bytes_at(0, 4).map_err(|error| ReadError::read(path, error))?;
        if head.is_empty() {
            return Err(ReadError::Empty { path: path.to_owned() });
        }
        source = if head.starts_with(GZIP) {
            copy_limited(path, &source, flate2::read::MultiGzDecoder::new(source.reader(0)))?
        } else if head.starts_with(ZSTD) {
            copy_limited(path, &source, ZstdFrames::new(source.reader(0), largest_window(source.len())))?
        } else {
            return Ok(source);
        };
    }
    Ok(source)
}

fn plain_file(path: &Path) -> Result<ByteSource, ReadError> {
    let open = |source| ReadError::Open { path: path.to_owned(), source };
    let file = File::open(path).map_err(open)?;
    let kind = file.metadata().map_err(open)?.file_type();
    if kind.is_dir() {
        return Err(open(io::Error::from(io::ErrorKind::IsADirectory)));
    }
    if !kind.is_file() {
        return copy_all(path, file, u64::MAX);
    }
    ByteSource::from_file(path, file).map_err(open)
}

fn standard_input(path: &Path) -> Result<ByteSource, ReadError> {
    copy_all(path, io::stdin().lock(), u64::MAX)
}

fn copy_limited(path: &Path, packed: &ByteSource, reader: impl Read) -> Result<ByteSource, ReadError> {
    copy_all(path, reader, packed.len().saturating_mul(MOST_UNPACKED_TIMES).max(ALWAYS_UNPACKED))
}

fn copy_all(path: &Path, mut reader: impl Read, limit_bytes: u64) -> Result<ByteSource, ReadError> {
    let mut collector = Collector::default();
    let mut buffer = vec![0; 256 << 10];
    loop {
        let count = match reader.read(&mut buffer) {
            Ok(0) => break,
            Ok(count) => count,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
            Err(error) => return Err(ReadError::read(path, error)),
        };
        collector
            .write_all(buffer.get(..count).unwrap_or_default())
            .map_err(|error| spool_error(path, error))?;
        if collector.len() > limit_bytes {
            return Err(ReadError::UnpacksTooLarge { path: path.to_owned(), limit_bytes });
        }
    }
    collector.finish(path).map_err(|error| spool_error(path, error))
}

/// Zstandard frames one after the other.
struct ZstdFrames<R: Read> {
    input: Option<R>,
    largest_window: u64,
    frame: Option<Box<ruzstd::decoding::StreamingDecoder<R, ruzstd::decoding::FrameDecoder>>>,
}

impl<R: Read> ZstdFrames<R> {
    const fn new(input: R, largest_window: u64) -> Self {
        Self { input: Some(input), largest_window, frame: None }
    }
}

impl<R: Read + Clone> Read for ZstdFrames<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        loop {
            if let Some(frame) = &mut self.frame {
                let count = frame.read(buffer)?;
                if count > 0 {
                    return Ok(count);
                }
            }
            if let Some(frame) = self.frame.take() {
                self.input = Some(frame.into_inner());
            }
            let Some(input) = self.input.take() else { return Ok(0) };
            let mut head = Vec::with_capacity(HEAD_BYTES);
            input.clone().take(HEAD_BYTES as u64).read_to_end(&mut head)?;
            if head.is_empty() {
                return Ok(0);
            }
            if let Some(window) = window_of(&head).filter(|window| *window > self.largest_window) {
                return Err(io::Error::other(format!(
                    "it looks back over {} MB, which is much for its size; pack it again without --long and --ultra",
                    window >> 20
                )));
            }
            let frame = ruzstd::decoding::StreamingDecoder::new(input).map_err(io::Error::other)?;
            self.frame = Some(Box::new(frame));
        }
    }
}
