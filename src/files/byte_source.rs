//! The bytes of a scan, read from any place: a file, or what was unpacked from one.
//!
//! In: a file or bytes. Out: bytes from a position on; several threads may ask at once.
//! Units: bytes. Method: positioned reads into the caller's buffer. Nothing is mapped, because a mapped file that is cut
//! short while in use ends the process.
//! Does not know formats.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

/// What stays in memory before it moves to a temporary file, bytes.
const KEPT_IN_MEMORY: usize = 8 << 20;

/// Bytes with positioned reads, and the name that messages use.
#[derive(Debug)]
pub(super) struct ByteSource {
    path: PathBuf,
    content: Content,
    len: u64,
}

#[derive(Debug)]
enum Content {
    File(PositionedFile),
    Memory(Vec<u8>),
}

impl ByteSource {
    pub fn from_file(path: &Path, file: File) -> io::Result<Self> {
        let len = file.metadata()?.len();
        Ok(Self { path: path.to_owned(), content: Content::File(PositionedFile::new(file)), len })
    }

    /// The name of the file, for messages.
    pub fn path(&self) -> &Path {
        &self.path
    }

    pub const fn len(&self) -> u64 {
        self.len
    }

    /// Fills the buffer from a position as far as there are bytes; says how many.
    pub fn read_at(&self, offset: u64, buffer: &mut [u8]) -> io::Result<usize> {
        match &self.content {
            Content::File(file) => {
                let mut filled = 0;
                while let Some(rest) = buffer.get_mut(filled..).filter(|rest| !rest.is_empty()) {
                    match file.read_at(offset + filled as u64, rest) {
                        Ok(0) => break,
                        Ok(count) => filled += count,
                        Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                        Err(error) => return Err(error),
                    }
                }
                Ok(filled)
            }
            Content::Memory(bytes) => {
                let start = usize::try_from(offset).unwrap_or(usize::MAX).min(bytes.len());
                let rest = bytes.get(start..).unwrap_or_default();
                let count = rest.len().min(buffer.len());
                let filled = buffer.get_mut(..count).zip(rest.get(..count));
                filled.into_iter().for_each(|(to, from)| to.copy_from_slice(from));
                Ok(count)
            }
        }
    }

    /// At most `limit` bytes from a position.
    pub fn bytes_at(&self, offset: u64, limit: usize) -> io::Result<Vec<u8>> {
        let there = usize::try_from(self.len.saturating_sub(offset)).unwrap_or(usize::MAX);
        let mut bytes = vec![0; limit.min(there)];
        let count = self.read_at(offset, &mut bytes)?;
        bytes.truncate(count);
        Ok(bytes)
    }

    /// Says that these bytes are wanted next, so that a disk can fetch them while others are worked on. Only a hint: nothing waits
    /// for it, and where the system takes none, nothing happens.
    pub fn will_want(&self, offset: u64, len: u64) {
        if let Content::File(file) = &self.content {
            file.will_want(offset, len);
        }
    }

    /// A reader that starts at a position.
    pub const fn reader(&self, offset: u64) -> SourceReader<'_> {
        SourceReader { source: self, offset }
    }
}

/// A file with positioned reads.
#[cfg(unix)]
#[derive(Debug)]
struct PositionedFile(File);

#[cfg(unix)]
impl PositionedFile {
    const fn new(file: File) -> Self {
        Self(file)
    }

    fn read_at(&self, offset: u64, buffer: &mut [u8]) -> io::Result<usize> {
        std::os::unix::fs::FileExt::read_at(&self.0, buffer, offset)
    }

    #[cfg(target_os = "linux")]
    fn will_want(&self, offset: u64, len: u64) {
        use rustix::fs::{Advice, fadvise};
        // What goes wrong here will go wrong again when the bytes are read, and is told then.
        let _ = fadvise(&self.0, offset, std::num::NonZeroU64::new(len), Advice::WillNeed);
    }

    #[cfg(not(target_os = "linux"))]
    fn will_want(&self, _offset: u64, _len: u64) {}
}

/// A file with positioned reads, one at a time.
#[cfg(not(unix))]
#[derive(Debug)]
struct PositionedFile(std::sync::Mutex<File>);

#[cfg(not(unix))]
impl PositionedFile {
    fn new(file: File) -> Self {
        Self(std::sync::Mutex::new(file))
    }

    fn read_at(&self, offset: u64, buffer: &mut [u8]) -> io::Result<usize> {
        let mut file = self.0.lock().map_err(|_| io::Error::other("another reader failed"))?;
        file.seek(SeekFrom::Start(offset))?;
        file.read(buffer)
    }

    fn will_want(&self, _offset: u64, _len: u64) {}
}

/// Reads a [`ByteSource`] in order.
#[derive(Debug, Clone)]
pub(super) struct SourceReader<'a> {
    source: &'a ByteSource,
    offset: u64,
}

impl Read for SourceReader<'_> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = self.source.read_at(self.offset, buffer)?;
        self.offset += count as u64;
        Ok(count)
    }
}

impl Seek for SourceReader<'_> {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        let target = match to {
            SeekFrom::Start(offset) => Some(offset),
            SeekFrom::Current(step) => self.offset.checked_add_signed(step),
            SeekFrom::End(step) => self.source.len.checked_add_signed(step),
        };
        self.offset = target.ok_or_else(|| io::Error::from(io::ErrorKind::InvalidInput))?;
        Ok(self.offset)
    }
}

/// Reads a shared [`ByteSource`] in order, for decoders that want to own their input.
#[derive(Debug)]
pub(super) struct SharedReader {
    source: Arc<ByteSource>,
    offset: u64,
    limit: Arc<AtomicU64>,
    /// Bytes that are read as zeros.
    hidden: Range<u64>,
}

impl SharedReader {
    /// `hidden` is read as zeros.
    pub fn new(source: Arc<ByteSource>, hidden: Range<u64>) -> Self {
        Self { source, offset: 0, limit: Arc::new(AtomicU64::new(u64::MAX)), hidden }
    }

    /// Where reading ends; may be changed while a decoder owns the reader.
    pub fn limit(&self) -> Arc<AtomicU64> {
        Arc::clone(&self.limit)
    }
}

impl Read for SharedReader {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let mut reader = self.source.reader(self.offset);
        let there = self.limit.load(Ordering::Relaxed).saturating_sub(self.offset);
        let wanted = buffer.len().min(usize::try_from(there).unwrap_or(usize::MAX));
        let count = reader.read(buffer.get_mut(..wanted).unwrap_or_default())?;
        for (at, byte) in (self.offset..).zip(buffer.iter_mut().take(count)) {
            if at >= self.hidden.end {
                break;
            }
            if self.hidden.contains(&at) {
                *byte = 0;
            }
        }
        self.offset = reader.offset;
        Ok(count)
    }
}

impl Seek for SharedReader {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.offset = self.source.reader(self.offset).seek(to)?;
        Ok(self.offset)
    }
}

/// Collects bytes in order: a few stay in memory, more go to a temporary file that nobody else sees.
#[derive(Debug, Default)]
pub(super) struct Collector {
    memory: Vec<u8>,
    file: Option<File>,
    len: u64,
}

impl Collector {
    pub const fn len(&self) -> u64 {
        self.len
    }

    /// The bytes so far, ready to be read from any place.
    pub fn finish(mut self, path: &Path) -> io::Result<ByteSource> {
        if self.file.is_some() {
            self.move_to_file()?;
        }
        let content = match self.file {
            Some(file) => Content::File(PositionedFile::new(file)),
            None => Content::Memory(self.memory),
        };
        Ok(ByteSource { path: path.to_owned(), content, len: self.len })
    }

    fn move_to_file(&mut self) -> io::Result<()> {
        let mut file = match self.file.take() {
            Some(file) => file,
            None => tempfile::tempfile()?,
        };
        file.write_all(&self.memory)?;
        self.memory.clear();
        self.file = Some(file);
        Ok(())
    }
}

impl Write for Collector {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.memory.extend_from_slice(bytes);
        self.len += bytes.len() as u64;
        if self.memory.len() > KEPT_IN_MEMORY {
            self.move_to_file()?;
        }
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}
