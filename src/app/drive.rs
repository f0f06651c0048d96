//! The driver of a run without a screen: every input of a log into a pipeline, to the end.

use crate::model::{Body, Input, Stamp};
use crate::pipeline::Pipeline;
use crate::source::log::{LogReader, ReadError};

/// Inputs between two looks at how far it has come.
const LOOK_EVERY: u32 = 1 << 16;

/// How a log ended.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Drive {
    /// Stamp of the last input; none when there was no input at all.
    pub last: Option<Stamp>,
    /// Whether the log says itself that it ends there.
    pub closed: bool,
}

/// Drives a log through pipelines side by side and ends the run in good order: a log without a closing stamp is closed
/// at its last. `look` is called now and then.
///
/// # Errors
/// [`ReadError`] when the log cannot be read on.
pub fn drive(
    reader: &mut LogReader,
    pipelines: &mut [Pipeline],
    mut look: impl FnMut(&LogReader),
) -> Result<Drive, ReadError> {
    let mut driven = Drive::default();
    let mut until_look = LOOK_EVERY;
    let mut input = Input { stamp: Stamp::MIN, body: Body::Closing };
    while reader.next_into(&mut input)? {
        for pipeline in &mut *pipelines {
            pipeline.push(&input);
        }
        driven = Drive { last: Some(input.stamp), closed: matches!(input.body, Body::Closing) };
        until_look -= 1;
        if until_look == 0 {
            until_look = LOOK_EVERY;
            look(reader);
        }
    }
    if let Drive { last: Some(stamp), closed: false } = driven {
        let closing = Input { stamp, body: Body::Closing };
        pipelines.iter_mut().for_each(|pipeline| pipeline.push(&closing));
    }
    Ok(driven)
}
