//! Several files in order as one log of inputs whose stamps never go backwards.

use super::lines::{Lines, Span};
use super::open::{Fault, Origin, Text};
use super::tally::{Held, Tally};
use super::{MOST_LINE, ReadError, Rejected};
use crate::model::{Body, Input, Rejection, Stamp};
use crate::wire::Interfaces;
use crate::wire::textlog::{Line, LineParser};
use std::collections::VecDeque;
use std::io::Read;
use std::path::PathBuf;

/// Bytes of one read, unless another number is asked for.
const CHUNK: usize = 1 << 20;
/// A stamp that goes back by more than this is a step of the clock; by less, disorder among interfaces.
const STEP_NANOS: i64 = 50_000_000;

/// Reads logs.
///
/// A stamp that goes back by more than 50 ms becomes a [`Body::ClockStep`] at the new time before its input; by
/// less, the input gets the last stamp. What was refused is [`Body::Rejected`] at the last stamp; before the first
/// stamp it waits for it, counted by reason.
pub struct LogReader {
    origins: Vec<Origin>,
    /// The file that is being read.
    text: Option<Text>,
    lines: Lines,
    state: Position,
}

/// A place between two inputs of a log, with all that reading on from there needs.
#[derive(Debug, Clone, Default)]
pub struct Position {
    file: usize,
    /// Bytes of the unpacked text before the next line.
    offset: u64,
    /// Lines of the file that were read.
    line: u64,
    /// Stamp of the last input.
    last: Option<Stamp>,
    parser: LineParser,
    /// What was read and not yet given.
    pending: VecDeque<Input>,
    held: Held,
    tally: Tally,
}

impl LogReader {
    /// Files, in the order in which they are to be read.
    ///
    /// # Errors
    /// [`ReadError`] when there is none, or one is not there, not readable or packed in an unknown way.
    pub fn open(paths: &[PathBuf]) -> Result<Self, ReadError> {
        let origins = paths.iter().map(|path| Origin::file(path)).collect::<Result<Vec<_>, _>>()?;
        let text = origins.first().ok_or(ReadError::NoFiles)?.open(0, 0)?;
        Ok(Self::new(origins, text))
    }

    /// A stream, such as a pipe; `name` is for errors.
    ///
    /// # Errors
    /// [`ReadError`] when the first bytes cannot be read or are of an unknown packing.
    pub fn from_reader(name: &str, from: impl Read + Send + 'static) -> Result<Self, ReadError> {
        let origin = Origin::stream(name);
        let text = origin.read(from)?;
        Ok(Self::new(vec![origin], text))
    }

    fn new(origins: Vec<Origin>, text: Text) -> Self {
        Self { origins, text: Some(text), lines: Lines::new(CHUNK), state: Position::default() }
    }

    /// The same, before anything was read, with reads of at most `chunk` bytes. What is read does not depend on it.
    #[must_use]
    pub fn with_chunk(mut self, chunk: usize) -> Self {
        self.lines = Lines::new(chunk);
        self
    }

    /// The next input; nothing at the end of the last file.
    ///
    /// # Errors
    /// [`ReadError`] when a file cannot be read on. What was given before stays good.
    #[allow(clippy::should_implement_trait)] // an error ends the reading, which an iterator cannot say
    pub fn next(&mut self) -> Result<Option<Input>, ReadError> {
        let mut input = Input { stamp: Stamp::MIN, body: Body::Closing };
        Ok(self.next_into(&mut input)?.then_some(input))
    }

    /// The next input, put where the last one stands; returns whether there was one. For whoever reads millions.
    ///
    /// # Errors
    /// [`ReadError`] when a file cannot be read on. What was given before stays good.
    #[inline]
    pub fn next_into(&mut self, input: &mut Input) -> Result<bool, ReadError> {
        loop {
            if !self.state.pending.is_empty() {
                return Ok(self.pending_into(input));
            }
            if let Some(span) = self.lines.take() {
                if self.state.line(self.lines.bytes(span), span, input) {
                    return Ok(true);
                }
            } else if !self.refill()? {
                return Ok(self.pending_into(input));
            }
        }
    }

    #[cold]
    fn pending_into(&mut self, input: &mut Input) -> bool {
        self.state.pending.pop_front().is_some_and(|pending| {
            *input = pending;
            true
        })
    }

    /// What was refused so far, by reason, with the first place of each.
    pub fn rejections(&self) -> impl Iterator<Item = Rejected<'_>> {
        self.state.tally.rows().map(|(reason, count, file, line)| {
            let file = self.origins.get(file).map_or("", |origin| &origin.name);
            Rejected { reason, count, file, line }
        })
    }

    /// Names of the interfaces seen so far.
    #[must_use]
    pub const fn interfaces(&self) -> &Interfaces {
        &self.state.parser.interfaces
    }

    /// Bytes of the files (as they are packed) that were read and of all of them; the latter is not known when
    /// one is a stream.
    #[must_use]
    pub fn progress(&self) -> (u64, Option<u64>) {
        let total = self.origins.iter().map(|origin| origin.size).sum::<Option<u64>>();
        let before: u64 = self.origins.iter().take(self.state.file).filter_map(|origin| origin.size).sum();
        let here = self.text.as_ref().map_or(0, |text| {
            let waiting = if text.packed { 0 } else { self.lines.waiting() as u64 };
            text.taken().saturating_sub(waiting)
        });
        (before + here, total)
    }

    /// Where reading stands, to come back to with [`Self::seek`].
    #[must_use]
    pub fn position(&self) -> Position {
        Position { offset: self.lines.offset(), ..self.state.clone() }
    }

    /// Goes to a place that [`Self::position`] gave, of this reader or another of the same files: reading goes on
    /// exactly there. Costs nothing in a plain file; a packed one is unpacked again from its beginning.
    ///
    /// # Errors
    /// [`ReadError`] when the log is a stream, or a file is gone or shorter than it was.
    pub fn seek(&mut self, position: &Position) -> Result<(), ReadError> {
        self.text = match self.origins.get(position.file) {
            Some(origin) => Some(origin.reopen(position.offset, position.line)?),
            None => None,
        };
        self.lines.restart(position.offset);
        self.state = position.clone();
        Ok(())
    }

    /// Reads on; false when there is nothing more.
    #[cold]
    fn refill(&mut self) -> Result<bool, ReadError> {
        let Some(text) = &mut self.text else { return Ok(false) };
        let failed = match self.lines.fill(text.bytes()) {
            Ok(0) => None,
            Ok(_) => return Ok(true),
            Err(error) => Some(text.fault(error)),
        };
        let name = || self.origins.get(self.state.file).map(|origin| origin.name.clone()).unwrap_or_default();
        match failed {
            None => {
                if let Some(span) = self.lines.rest() {
                    self.state.tail(self.lines.bytes(span), span);
                }
            }
            Some(Fault::Torn) => self.state.torn_archive(),
            Some(Fault::Window) => return Err(ReadError::Window { name: name(), line: self.state.line }),
            Some(Fault::Read(source)) => return Err(ReadError::Read { name: name(), line: self.state.line, source }),
        }
        self.next_file()?;
        Ok(true)
    }

    fn next_file(&mut self) -> Result<(), ReadError> {
        self.text = None;
        self.state.file += 1;
        self.state.line = 0;
        self.lines.restart(0);
        match self.origins.get(self.state.file) {
            Some(origin) => self.text = Some(origin.open(0, 0)?),
            None => self.state.end(),
        }
        Ok(())
    }
}

impl Position {
    /// A whole line: put into `input`, unless there is none in it or it waits among the pending ones.
    #[inline]
    fn line(&mut self, bytes: &[u8], span: Span, input: &mut Input) -> bool {
        self.line += 1;
        if span.nuls || span.dropped || bytes.len() > MOST_LINE {
            self.unusual(bytes, span);
            return false;
        }
        if !self.parser.usual_line(bytes, input) {
            self.other_line(bytes);
            return false;
        }
        if self.last.is_some_and(|last| last <= input.stamp) {
            self.last = Some(input.stamp);
            return true;
        }
        self.take(Line::Input(input.clone()));
        false
    }

    fn other_line(&mut self, bytes: &[u8]) {
        match self.parser.line(bytes) {
            Ok(line) => self.take(line),
            Err(reason) => self.refused(reason, bytes),
        }
    }

    /// A line that was refused: nul bytes in it are the reason, and what stands after them is tried again.
    #[cold]
    fn refused(&mut self, reason: Rejection, bytes: &[u8]) {
        match after_nuls(bytes) {
            Some(rest) => {
                self.reject(Rejection::Nuls);
                self.parse(rest);
            }
            None => self.reject(reason),
        }
    }

    #[cold]
    fn unusual(&mut self, bytes: &[u8], span: Span) {
        let (rest, nuls, dropped) = match after_nuls(bytes) {
            Some(rest) => (rest, true, false),
            None => (bytes, span.nuls, span.dropped),
        };
        if nuls {
            self.reject(Rejection::Nuls);
        }
        if dropped || rest.len() > MOST_LINE { self.reject(Rejection::LongLine) } else { self.parse(rest) }
    }

    fn parse(&mut self, bytes: &[u8]) {
        match self.parser.line(bytes) {
            Ok(line) => self.take(line),
            Err(reason) => self.reject(reason),
        }
    }

    /// The last line of a file, without a newline: good if it can be read, torn if not.
    fn tail(&mut self, bytes: &[u8], span: Span) {
        self.line += 1;
        let rest = after_nuls(bytes);
        let nuls = rest.is_some() || span.nuls;
        if nuls {
            self.reject(Rejection::Nuls);
        }
        let dropped = span.dropped && rest.is_none();
        let rest = rest.unwrap_or(bytes);
        if dropped || rest.len() > MOST_LINE {
            return self.reject(Rejection::LongLine);
        }
        match self.parser.line(rest) {
            Ok(line) => self.take(line),
            Err(_) => self.reject(Rejection::TornTail),
        }
    }

    /// The archive ends early: the line in which it does is not trusted.
    fn torn_archive(&mut self) {
        self.line += 1;
        self.reject(Rejection::TornArchive);
    }

    /// The last file has ended.
    fn end(&mut self) {
        if self.parser.is_inside_note() {
            self.file = self.file.saturating_sub(1);
            self.reject(Rejection::BadInput);
            self.file += 1;
        }
    }

    fn take(&mut self, line: Line) {
        match line {
            Line::Nothing => {}
            Line::Input(input) => self.stamped(input),
            Line::Unstamped(body) => match (self.last, &body) {
                (Some(stamp), _) => self.pending.push_back(Input { stamp, body }),
                (None, Body::Lost { count, .. }) => self.held.lose(*count),
                (None, _) => {}
            },
        }
    }

    /// An input whose stamp may be the first or go back.
    #[cold]
    fn stamped(&mut self, mut input: Input) {
        let is_step = matches!(input.body, Body::ClockStep { .. });
        match self.last {
            None => self.release(input.stamp),
            Some(last) if input.stamp >= last || is_step => {}
            Some(last) if last.nanos() - input.stamp.nanos() <= STEP_NANOS => input.stamp = last,
            Some(old) => self.pending.push_back(Input { stamp: input.stamp, body: Body::ClockStep { old } }),
        }
        self.last = Some(input.stamp);
        self.pending.push_back(input);
    }

    fn release(&mut self, stamp: Stamp) {
        let (rejected, lost) = self.held.release();
        let rejected = rejected.map(|(reason, count)| Body::Rejected { reason, count });
        let by = crate::model::input::Loss::Computer;
        let lost = (lost > 0).then_some(Body::Lost { by, count: lost });
        self.pending.extend(rejected.chain(lost).map(|body| Input { stamp, body }));
    }

    #[cold]
    fn reject(&mut self, reason: Rejection) {
        self.tally.add(reason, self.file, self.line);
        match self.last {
            Some(stamp) => self.pending.push_back(Input { stamp, body: Body::Rejected { reason, count: 1 } }),
            None => self.held.reject(reason),
        }
    }
}

/// What stands after the last nul byte, if there is one.
fn after_nuls(bytes: &[u8]) -> Option<&[u8]> {
    let nul = memchr::memrchr(0, bytes)?;
    bytes.get(nul + 1..)
}
