//! Values that are written out for several packs and frames: which stands where.

/// How the values of a `[[signal]]` that is written out stand in frames: packs outermost.
pub(super) struct Spread {
    /// Values of a pack.
    pub(super) numbers: u64,
    /// Values of a frame.
    pub(super) per_frame: u64,
    /// The id or a switch moves from frame to frame.
    pub(super) moves: bool,
    /// There are several packs.
    pub(super) several: bool,
    /// The id and a switch do.
    pub(super) both: bool,
}

impl Spread {
    /// By how many steps the id and the switch of a value have moved, and which value of its frame it is. A pack that
    /// takes several frames begins with a new one; where both move, the id then goes by packs and the switch by frames.
    pub(super) fn at(&self, number: u64) -> (u64, u64, u64) {
        let Self { numbers, per_frame, moves, several, both } = *self;
        if !moves || per_frame.is_multiple_of(numbers) {
            let frame = number / per_frame;
            return (frame, frame, number % per_frame);
        }
        let (pack, within) = (number / numbers, number % numbers);
        let (of_pack, place) = (within / per_frame, within % per_frame);
        let frame = pack * numbers.div_ceil(per_frame) + of_pack;
        let (id, switch) = if both && several { (pack, of_pack) } else { (frame, frame) };
        (id, switch, place)
    }
}
