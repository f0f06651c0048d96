//! The driver of a run without a screen: every input of a log into a pipeline, to the end. One thread reads, this one
//! judges: a long log takes the time of the slower of the two.

use crate::model::{Body, Input, Stamp};
use crate::pipeline::Pipeline;
use crate::source::log::{LogReader, ReadError};
use std::sync::mpsc::{Receiver, Sender, SyncSender, channel, sync_channel};

/// Inputs that are handed over at once: few enough to stay in a core's own memory.
const BATCH: usize = 512;
/// Batches under way.
const BATCHES: usize = 4;
/// Batches between two looks at how far it has come.
const LOOK_EVERY: u32 = 128;

/// How a log ended.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Drive {
    /// Stamp of the last input; none when there was no input at all.
    pub last: Option<Stamp>,
    /// Whether the log says itself that it ends there.
    pub closed: bool,
}

/// Inputs in the order of the log; those beyond `count` are left over from an earlier use.
struct Batch {
    inputs: Vec<Input>,
    count: usize,
}

/// Drives a log through pipelines side by side and ends the run in good order: a log without a closing stamp is closed
/// at its last. `look` is called now and then, by the thread that reads.
///
/// # Errors
/// [`ReadError`] when the log cannot be read on; what was read before has been judged.
pub fn drive(
    reader: &mut LogReader,
    pipelines: &mut [Pipeline],
    look: impl FnMut(&LogReader) + Send,
) -> Result<Drive, ReadError> {
    std::thread::scope(|scope| {
        let (full, batches) = sync_channel(BATCHES);
        let (back, empty) = channel();
        for _ in 0..BATCHES {
            let _ =
                back.send(Batch { inputs: vec![Input { stamp: Stamp::MIN, body: Body::Closing }; BATCH], count: 0 });
        }
        let reading = scope.spawn(|| read(reader, empty, full, look));
        let driven = judge(pipelines, batches, &back);
        drop(back); // nothing is read any more
        reading.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)).map(|()| driven)
    })
}

/// Fills one batch after another.
fn read(
    reader: &mut LogReader,
    empty: Receiver<Batch>,
    full: SyncSender<Batch>,
    mut look: impl FnMut(&LogReader),
) -> Result<(), ReadError> {
    let mut until_look = LOOK_EVERY;
    for mut batch in empty {
        batch.count = 0;
        let ended = loop {
            let Some(input) = batch.inputs.get_mut(batch.count) else { break Ok(false) };
            match reader.next_into(input) {
                Ok(true) => batch.count += 1,
                ended => break ended.map(|_| true),
            }
        };
        if full.send(batch).is_err() || ended? {
            return Ok(());
        }
        until_look -= 1;
        if until_look == 0 {
            until_look = LOOK_EVERY;
            look(reader);
        }
    }
    Ok(())
}

/// Pushes what comes until nothing more does, and gives the emptied batches back.
fn judge(pipelines: &mut [Pipeline], batches: Receiver<Batch>, back: &Sender<Batch>) -> Drive {
    let mut driven = Drive::default();
    for batch in batches {
        for input in batch.inputs.iter().take(batch.count) {
            for pipeline in &mut *pipelines {
                pipeline.push(input);
            }
            driven = Drive { last: Some(input.stamp), closed: matches!(input.body, Body::Closing) };
        }
        let _ = back.send(batch); // it has ended: nobody needs it
    }
    if let Drive { last: Some(stamp), closed: false } = driven {
        let closing = Input { stamp, body: Body::Closing };
        pipelines.iter_mut().for_each(|pipeline| pipeline.push(&closing));
    }
    driven
}
