//! The envelope for `tokio_util`: everything that is ready is taken apart at once.

use crate::model::{Frame, Rejection};
use crate::wire::envelope::Deframer;
use std::io;
use tokio_util::bytes::BytesMut;
use tokio_util::codec::Decoder;

/// Takes records out of what was read. The first, rarely whole after opening, is dropped without a word.
#[derive(Debug)]
pub(super) struct EnvelopeCodec {
    deframer: Deframer,
}

impl EnvelopeCodec {
    pub(super) fn new() -> Self {
        Self { deframer: Deframer::after_opening() }
    }
}

impl Decoder for EnvelopeCodec {
    type Item = Vec<Result<Frame, Rejection>>;
    type Error = io::Error;

    fn decode(&mut self, bytes: &mut BytesMut) -> Result<Option<Self::Item>, io::Error> {
        let mut found = Vec::new();
        self.deframer.push(bytes, |each| found.push(each));
        bytes.clear();
        Ok(Some(found).filter(|found| !found.is_empty()))
    }
}
