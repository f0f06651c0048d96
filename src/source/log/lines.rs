//! Bytes in chunks into lines, in bounded memory.
//!
//! Nul bytes end a line as a power cut does: what stands after the last of them is the line. What this gives
//! does not depend on how the bytes were cut.

use super::MOST_LINE;
use std::io::{self, Read};

/// Where a line stands in the buffer.
#[derive(Debug, Clone, Copy)]
pub(super) struct Span {
    from: usize,
    to: usize,
    /// Nul bytes stood before what is left of it.
    pub(super) nuls: bool,
    /// More than [`MOST_LINE`] bytes before what is left of it were dropped.
    pub(super) dropped: bool,
}

/// The buffer.
#[derive(Debug)]
pub(super) struct Lines {
    buffer: Vec<u8>,
    start: usize,
    end: usize,
    /// No newline stands before here.
    searched: usize,
    /// The line that is not yet whole has lost its beginning: to nul bytes, to its length.
    nuls: bool,
    dropped: bool,
    /// Most bytes of one read.
    chunk: usize,
    /// Bytes of the text before `start`.
    offset: u64,
}

impl Lines {
    pub(super) fn new(chunk: usize) -> Self {
        let chunk = chunk.max(1);
        let buffer = vec![0; MOST_LINE + 1 + chunk];
        Self { buffer, start: 0, end: 0, searched: 0, nuls: false, dropped: false, chunk, offset: 0 }
    }

    /// Forgets what it holds; the next byte that is read stands at `offset` of the text.
    pub(super) fn restart(&mut self, offset: u64) {
        (self.start, self.end, self.searched) = (0, 0, 0);
        (self.nuls, self.dropped) = (false, false);
        self.offset = offset;
    }

    /// Bytes of the text before the next line.
    pub(super) const fn offset(&self) -> u64 {
        self.offset
    }

    /// Bytes read and not yet taken.
    pub(super) const fn waiting(&self) -> usize {
        self.end - self.start
    }

    #[inline]
    pub(super) fn bytes(&self, span: Span) -> &[u8] {
        self.buffer.get(span.from..span.to).unwrap_or_default()
    }

    /// The next whole line.
    #[inline]
    pub(super) fn take(&mut self) -> Option<Span> {
        let unread = self.buffer.get(self.searched..self.end)?;
        let Some(at) = memchr::memchr(b'\n', unread) else {
            self.searched = self.end;
            return None;
        };
        let newline = self.searched + at;
        Some(self.cut(newline, newline + 1))
    }

    /// What stands after the last newline, when the text has ended.
    pub(super) fn rest(&mut self) -> Option<Span> {
        let anything = self.start < self.end || self.nuls || self.dropped;
        anything.then(|| self.cut(self.end, self.end))
    }

    #[inline]
    fn cut(&mut self, to: usize, next: usize) -> Span {
        let span = Span { from: self.start, to, nuls: self.nuls, dropped: self.dropped };
        self.offset += (next - self.start) as u64;
        (self.start, self.searched) = (next, next);
        (self.nuls, self.dropped) = (false, false);
        span
    }

    /// Reads the next chunk; 0 at the end of the text.
    pub(super) fn fill(&mut self, from: &mut dyn Read) -> io::Result<usize> {
        while self.waiting() > MOST_LINE {
            self.shorten();
        }
        self.buffer.copy_within(self.start..self.end, 0);
        (self.searched, self.end, self.start) = (self.searched - self.start, self.end - self.start, 0);
        let room = self.buffer.get_mut(self.end..).unwrap_or_default();
        let most = room.len().min(self.chunk);
        let room = room.get_mut(..most).unwrap_or_default();
        loop {
            match from.read(room) {
                Ok(count) => {
                    self.end += count.min(most);
                    return Ok(count);
                }
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Err(error),
            }
        }
    }

    /// The line that is not yet whole is too long: only what stands after its last nul byte may still count.
    fn shorten(&mut self) {
        let keep = match memchr::memrchr(0, self.buffer.get(self.start..self.end).unwrap_or_default()) {
            Some(nul) => {
                (self.nuls, self.dropped) = (true, false);
                self.start + nul + 1
            }
            None => {
                self.dropped = true;
                self.end
            }
        };
        self.offset += (keep - self.start) as u64;
        (self.start, self.searched) = (keep, self.end);
    }
}
