//! What a frame told beside its values, from the decoder to the engine.

/// What a frame told beside its values.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Heard {
    /// The map knows the frame.
    pub known: bool,
    /// Values that said 'error' or cannot be.
    pub invalid: u32,
    /// A sender's beat.
    pub beat: Option<Beat>,
    /// How its values come to be sent, where a standard tells; the decoder knows which values.
    pub sent: Option<Sent>,
}

/// How a value comes to be sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sent {
    /// Again and again, by itself: when it no longer comes, something is wrong.
    ByItself,
    /// When a device asks for it: that it does not come says nothing.
    Asked,
}

/// A sender's own count of its frames and of its time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Beat {
    /// Sender, from 0.
    pub sender: u8,
    /// Frames that it sent since its beat before and that did not arrive.
    pub lost: u32,
    /// Frames that it sent since its beat before.
    pub sent: u32,
    /// Seconds since it started.
    pub uptime: f64,
    /// It has started anew since its beat before, or this is its first.
    pub restarted: bool,
}
