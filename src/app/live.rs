//! The live driver: what the sources deliver goes merged into the recording and the pipeline, in one order, so
//! that a check of the recording finds what the live run found.

use crate::model::{Body, FrameKind, Input, NANOS_PER_SEC, Snapshot};
use crate::pipeline::{Pipeline, Setup};
use crate::source::{Batch, Kind, Merge, Moment, Status};
use crate::store::{Recorder, State};
use crate::wire::Interfaces;
use std::sync::Arc;

/// How often lines are handed to the disk, ns: less than this is lost when the program is killed, one piece apart.
const FLUSH_EVERY: i64 = NANOS_PER_SEC;
/// After so long and so many frames without one that is known, it is said, ns.
const UNKNOWN_AFTER: i64 = 10 * NANOS_PER_SEC;
const UNKNOWN_FRAMES: u64 = 20;

/// A run that is fed by sources.
pub struct Live {
    merge: Merge,
    pipeline: Pipeline,
    recording: Option<Recording>,
    statuses: Vec<Status>,
    /// Inputs so far.
    inputs: u64,
    /// Bus frames so far, and when the first came; none any more once it was seen whether they are known.
    unknown: Option<(u64, i64)>,
}

struct Recording {
    recorder: Recorder,
    state: State,
    flushed: i64,
    /// The bank file in force is to be written before the next input.
    owes_file: bool,
}

impl Recording {
    fn new(recorder: Recorder, now: Moment) -> Self {
        Self { recorder, state: State::Good, flushed: now.steady, owes_file: true }
    }

    /// Keeps an input, and before the first of all the bank file by which it is read: so a check of the recording alone
    /// finds what the run found. A bank file that comes with a log and is not used is not kept.
    fn keep(&mut self, pipeline: &Pipeline, input: &Input, names: &Interfaces) {
        if std::mem::take(&mut self.owes_file)
            && let Some(filed) = pipeline.filed()
        {
            let body = Body::BankFile { digest: filed.digest, text: Arc::clone(&filed.text) };
            self.recorder.record(&Input { stamp: input.stamp, body }, names);
        }
        let other = matches!(&input.body, Body::BankFile { .. }) && pipeline.is_told_its_file();
        if !other {
            self.recorder.record(input, names);
        }
    }
}

/// Something to tell the person.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Said {
    /// How a source is doing.
    Source(usize, Status),
    /// How the recording is doing, or the run as a whole.
    Run(Status),
}

impl Said {
    /// The words.
    #[must_use]
    pub fn status(&self) -> &Status {
        match self {
            Self::Source(_, status) | Self::Run(status) => status,
        }
    }
}

impl Live {
    /// A run of these sources from this moment on.
    #[must_use]
    pub fn new(now: Moment, sources: &[Kind], setup: Setup, recorder: Option<Recorder>) -> Self {
        let can_wait = sources.iter().all(|kind| *kind == Kind::Stamped);
        let recorder = recorder.map(|recorder| if can_wait { recorder.patient() } else { recorder });
        Self {
            merge: Merge::new(now, sources),
            pipeline: Pipeline::new(setup),
            recording: recorder.map(|recorder| Recording::new(recorder, now)),
            statuses: vec![Status::default(); sources.len()],
            inputs: 0,
            unknown: Some((0, now.steady)),
        }
    }

    /// Takes what came up to this moment and lets time pass. Returns what is to be said.
    pub fn turn(&mut self, now: Moment, batches: impl IntoIterator<Item = Batch>) -> Vec<Said> {
        let mut said = Vec::new();
        self.merge.look(now);
        for mut batch in batches {
            let source = usize::from(batch.source);
            if let (Some(status), Some(known)) = (batch.status.take(), self.statuses.get_mut(source)) {
                *known = status.clone();
                said.push(Said::Source(source, status));
            }
            self.merge.take(batch, now);
        }
        self.watch_recording(now, &mut said);
        let Self { merge, pipeline, recording, unknown, inputs, .. } = self;
        let time = merge.release(now, |input, names| {
            *inputs += 1;
            count(unknown, input, now);
            keep(recording, pipeline, input, names);
        });
        if let Some(time) = time {
            self.pipeline.advance(time);
        }
        if let Some(recording) = self.recording.as_mut().filter(|it| now.steady - it.flushed >= FLUSH_EVERY) {
            recording.flushed = now.steady;
            recording.recorder.flush();
        }
        said.extend(self.nothing_known(now));
        said
    }

    /// Puts in an input of the program's own, such as an acknowledgement.
    pub fn put(&mut self, body: Body, now: Moment) {
        self.merge.put(body, now);
    }

    /// Whether every source has ended.
    #[must_use]
    pub fn is_over(&self) -> bool {
        self.merge.is_over()
    }

    /// Ends the run in good order and closes the recording. Returns what is to be said.
    pub fn finish(&mut self, now: Moment) -> Option<Said> {
        let Self { merge, pipeline, recording, .. } = self;
        merge.finish(now, |input, names| keep(recording, pipeline, input, names));
        let (missing, why) = self.recording.take()?.recorder.finish()?;
        Some(Said::Run(Status::bad(format!("the recording lacks the last {missing} inputs: {why}"), String::new())))
    }

    /// The bank as it is known now.
    #[must_use]
    pub fn snapshot(&self) -> Snapshot {
        self.pipeline.snapshot()
    }

    /// Rises with every change of a finding or the verdict.
    #[must_use]
    pub fn changes(&self) -> u64 {
        self.pipeline.changes()
    }

    /// How many inputs there were.
    #[must_use]
    pub fn inputs(&self) -> u64 {
        self.inputs
    }

    /// Names of the interfaces by channel.
    #[must_use]
    pub fn names(&self) -> &Interfaces {
        self.merge.names()
    }

    /// How each source is doing.
    #[must_use]
    pub fn statuses(&self) -> &[Status] {
        &self.statuses
    }

    /// Begins a recording in the middle of the run.
    pub fn record(&mut self, recorder: Recorder, now: Moment) {
        self.recording = Some(Recording::new(recorder, now));
    }

    /// Whether something is recorded.
    #[must_use]
    pub fn is_recording(&self) -> bool {
        self.recording.is_some()
    }

    fn watch_recording(&mut self, now: Moment, said: &mut Vec<Said>) {
        let Some(recording) = &mut self.recording else { return };
        let state = recording.recorder.state();
        if state == recording.state {
            return;
        }
        match &state {
            State::Failing(why) => said.push(Said::Run(Status::bad(
                format!("the recording cannot be written ({why}); watching goes on"),
                "Make room on the disk: it is then written on, with the number of inputs that are missing",
            ))),
            State::Resumed(count) => {
                recording.owes_file = true;
                self.merge.put(Body::Gap { count: *count }, now);
                said.push(Said::Run(Status::good(format!(
                    "the recording is written again; {count} inputs are missing from it"
                ))));
            }
            State::Good => {}
        }
        recording.state = state;
    }

    /// A bus on which nothing known is spoken, said once.
    fn nothing_known(&mut self, now: Moment) -> Option<Said> {
        let (frames, first) = self.unknown?;
        if frames < UNKNOWN_FRAMES || now.steady - first < UNKNOWN_AFTER {
            return None;
        }
        self.unknown = None;
        (self.pipeline.snapshot().quality.decoded == 0).then(|| {
            Said::Run(Status::doubtful(
                format!("{frames} frames have arrived and none is known: this bus speaks something else"),
                "Record an hour with --record FILE and let 'cellwright survey FILE' find out what is where",
            ))
        })
    }
}

fn count(unknown: &mut Option<(u64, i64)>, input: &Input, now: Moment) {
    if let (Some((frames, first)), Body::Frame(frame)) = (unknown, &input.body)
        && frame.kind != FrameKind::Error
    {
        if *frames == 0 {
            *first = now.steady;
        }
        *frames += 1;
    }
}

fn keep(recording: &mut Option<Recording>, pipeline: &mut Pipeline, input: &Input, names: &Interfaces) {
    if let Some(recording) = recording {
        recording.keep(pipeline, input, names);
    }
    pipeline.push(input); // lets time pass up to it as well, by the clock before a step of the clock
}
