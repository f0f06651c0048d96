//! A file or stream as plain text: packing told by its first bytes.

use super::ReadError;
use crate::model::clean;
use std::fs::File;
use std::io::{self, Cursor, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

/// Bytes that tell the packing.
const HEAD: usize = 6;
/// Largest zstd window, as a power of two: 8 MB.
const WINDOW_LOG: u32 = 23;
/// What zstd says of a larger one.
const WINDOW_MESSAGE: &str = "Frame requires too much memory for decoding";
/// Unpacked bytes at a time: fixed, so that what is had from a torn archive does not depend on who reads it.
const BLOCK: usize = 64 * 1024;

/// Where a log comes from.
#[derive(Debug)]
pub(super) struct Origin {
    /// Harmless to show.
    pub(super) name: String,
    /// Nothing for a stream.
    path: Option<PathBuf>,
    /// Size in bytes, when it is a file.
    pub(super) size: Option<u64>,
}

impl Origin {
    /// A file, checked to be there and readable. What is no ordinary file, such as a named pipe, is not opened
    /// before it is read.
    pub(super) fn file(path: &Path) -> Result<Self, ReadError> {
        let name = clean(&path.to_string_lossy(), 4096);
        let found = std::fs::metadata(path).and_then(|found| match found.is_dir() {
            true => Err(io::Error::from(io::ErrorKind::IsADirectory)),
            false if found.is_file() => File::open(path).map(|_| Some(found.len())),
            false => Ok(None),
        });
        match found {
            Ok(size) => Ok(Self { name, path: Some(path.into()), size }),
            Err(source) => Err(ReadError::Open { name, source }),
        }
    }

    pub(super) fn stream(name: &str) -> Self {
        Self { name: clean(name, 4096), path: None, size: None }
    }

    /// The text of the file from byte `offset` of the unpacked text on; `line` is for the error.
    pub(super) fn open(&self, offset: u64, line: u64) -> Result<Text, ReadError> {
        let Some(path) = &self.path else { return Err(self.no_way_back(line)) };
        let failed = |source| ReadError::Open { name: self.name.clone(), source };
        let mut file = File::open(path).map_err(failed)?;
        let count = Arc::new(AtomicU64::new(0));
        let (head, len) = head(&mut file).map_err(failed)?;
        let is_short = || ReadError::Changed { name: self.name.clone(), line, offset };
        if let (Packing::Plain, true) = (packing(&head), offset > 0) {
            if file.metadata().map_err(failed)?.len() < offset {
                return Err(is_short());
            }
            file.seek(SeekFrom::Start(offset)).map_err(failed)?;
            count.store(offset, Ordering::Relaxed);
            let bytes = Box::new(Counted { inner: file, count: Arc::clone(&count) });
            return Ok(Text { bytes, count, packed: false });
        }
        let mut text = self.unpack(head, len, file, count)?;
        let skipped = io::copy(&mut text.bytes.by_ref().take(offset), &mut io::sink());
        if skipped.map_err(failed)? < offset { Err(is_short()) } else { Ok(text) }
    }

    /// The same, of a file that was opened before.
    pub(super) fn reopen(&self, offset: u64, line: u64) -> Result<Text, ReadError> {
        if self.size.is_some() { self.open(offset, line) } else { Err(self.no_way_back(line)) }
    }

    fn no_way_back(&self, line: u64) -> ReadError {
        ReadError::NotSeekable { name: self.name.clone(), line }
    }

    /// The text of a stream.
    pub(super) fn read(&self, mut from: impl Read + Send + 'static) -> Result<Text, ReadError> {
        let failed = |source| ReadError::Open { name: self.name.clone(), source };
        let (head, len) = head(&mut from).map_err(failed)?;
        self.unpack(head, len, from, Arc::new(AtomicU64::new(0)))
    }

    fn unpack(
        &self,
        head: [u8; HEAD],
        len: usize,
        rest: impl Read + Send + 'static,
        count: Arc<AtomicU64>,
    ) -> Result<Text, ReadError> {
        let mut start = Cursor::new(head);
        start.set_position((HEAD - len) as u64);
        let bytes = Counted { inner: start.chain(rest), count: Arc::clone(&count) };
        let (bytes, packed): (Box<dyn Read + Send>, bool) = match packing(&head) {
            Packing::Plain => (Box::new(bytes), false),
            Packing::Gzip => {
                let bytes = io::BufReader::with_capacity(BLOCK, bytes);
                (Box::new(Blocks::new(flate2::bufread::MultiGzDecoder::new(bytes))), true)
            }
            Packing::Zstd => {
                let made = zstd::stream::read::Decoder::new(bytes).and_then(|mut decoder| {
                    decoder.window_log_max(WINDOW_LOG)?;
                    Ok(decoder)
                });
                let decoder = made.map_err(|source| ReadError::Open { name: self.name.clone(), source })?;
                (Box::new(Blocks::new(decoder)), true)
            }
            Packing::Other(found) => return Err(ReadError::Packing { name: self.name.clone(), found }),
        };
        Ok(Text { bytes, count, packed })
    }
}

/// Plain text as it is read.
pub(super) struct Text {
    bytes: Box<dyn Read + Send>,
    count: Arc<AtomicU64>,
    /// Whether it is unpacked on the way.
    pub(super) packed: bool,
}

impl Text {
    pub(super) fn bytes(&mut self) -> &mut dyn Read {
        &mut self.bytes
    }

    /// Bytes taken from the file so far, as they stand there.
    pub(super) fn taken(&self) -> u64 {
        self.count.load(Ordering::Relaxed)
    }
}

/// What an error of the bytes of a text means.
pub(super) enum Fault {
    /// The archive is cut or spoilt: what came before is good.
    Torn,
    /// Its window is too large.
    Window,
    /// The system cannot read.
    Read(io::Error),
}

impl Text {
    pub(super) fn fault(&self, error: io::Error) -> Fault {
        if self.packed && error.to_string() == WINDOW_MESSAGE {
            Fault::Window
        } else if self.packed && error.raw_os_error().is_none() {
            Fault::Torn
        } else {
            Fault::Read(error)
        }
    }
}

enum Packing {
    Plain,
    Gzip,
    Zstd,
    Other(&'static str),
}

/// The packing by the magic numbers of RFC 1952 (gzip), RFC 8878 (zstd and its skippable frames) and, to name
/// them in the error, of xz, bzip2, zip and lz4.
const fn packing(head: &[u8; HEAD]) -> Packing {
    match head {
        [0x1F, 0x8B, ..] => Packing::Gzip,
        [0x28, 0xB5, 0x2F, 0xFD, ..] | [0x50..=0x5F, 0x2A, 0x4D, 0x18, ..] => Packing::Zstd,
        [0xFD, b'7', b'z', b'X', b'Z', 0] => Packing::Other("xz"),
        [b'B', b'Z', b'h', ..] => Packing::Other("bzip2"),
        [b'P', b'K', 3, 4, ..] => Packing::Other("zip"),
        [0x04, 0x22, 0x4D, 0x18, ..] => Packing::Other("lz4"),
        _ => Packing::Plain,
    }
}

/// The first bytes and how many there are. When there are fewer, they stand at the end of the array.
fn head(from: &mut impl Read) -> io::Result<([u8; HEAD], usize)> {
    let mut head = [0; HEAD];
    let mut len = 0;
    while len < HEAD {
        match from.read(&mut head[len..]) {
            Ok(0) => break,
            Ok(count) => len += count,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
    head.rotate_right(HEAD - len);
    Ok((head, len))
}

/// Counts what is read.
struct Counted<R> {
    inner: R,
    count: Arc<AtomicU64>,
}

impl<R: Read> Read for Counted<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = self.inner.read(buffer)?;
        self.count.fetch_add(count as u64, Ordering::Relaxed);
        Ok(count)
    }
}

/// Reads in blocks of one size, whoever asks for how much.
struct Blocks<R> {
    inner: R,
    block: Vec<u8>,
    start: usize,
    end: usize,
}

impl<R> Blocks<R> {
    fn new(inner: R) -> Self {
        Self { inner, block: vec![0; BLOCK], start: 0, end: 0 }
    }
}

impl<R: Read> Read for Blocks<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.start == self.end {
            self.start = 0;
            self.end = 0; // an error leaves it empty
            self.end = self.inner.read(&mut self.block)?.min(self.block.len());
        }
        let ready = self.block.get(self.start..self.end).unwrap_or_default();
        let count = { ready }.read(buffer)?;
        self.start += count;
        Ok(count)
    }
}
