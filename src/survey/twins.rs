//! Packs of one kind speak alike: what one says in a message, each of the others says in one of its own, at the same
//! bits. From one pack to the next the ids move by one number, or a multiplexor chooses.

use super::keep::Key;
use super::packs::Pack;
use super::view::{Choice, View};
use crate::model::Id;
use std::collections::BTreeMap;

/// Which messages of the other packs stand for one of the first.
#[derive(Debug, Clone)]
pub(super) struct Twins {
    places: BTreeMap<(Key, Option<Choice>), usize>,
    moves: Vec<Move>,
}

/// What leads from a message of the first pack to that of another.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Move {
    /// Its id is so much higher, on that interface.
    Id(i64, u8),
    /// It is this choice of the same multiplexor.
    Choice(u64),
}

impl Twins {
    /// `None` when the packs' messages do not all move alike.
    pub(super) fn of(views: &[View], packs: &[Pack], by_choice: bool) -> Option<Self> {
        let places = views.iter().enumerate().map(|(at, view)| ((view.key, view.choice), at)).collect();
        let first = packs.first()?;
        let of_pack = |pack: &Pack| {
            let mut moves = pack.cells.iter().zip(&first.cells).map(|(cell, own)| {
                let (other, own) = (views.get(cell.view)?, views.get(own.view)?);
                if by_choice {
                    return (other.key == own.key).then_some(Move::Choice(other.choice?.number));
                }
                let more = i64::from(other.key.id.key()) - i64::from(own.key.id.key());
                Some(Move::Id(more, other.key.channel))
            });
            let one = moves.next()??;
            moves.all(|other| other == Some(one)).then_some(one)
        };
        let moves = packs.iter().map(of_pack).collect::<Option<Vec<Move>>>()?;
        Some(Self { places, moves })
    }

    /// The views of every pack that stand for this one of the first; `None` when it is not the first pack's, or one of
    /// the others has none.
    pub(super) fn views(&self, view: &View) -> Option<Vec<usize>> {
        let twin = |to: &Move| match *to {
            Move::Id(more, channel) => {
                let id = moved(view.key.id, more)?;
                self.places.get(&(Key { channel, id, ..view.key }, view.choice)).copied()
            }
            Move::Choice(number) => {
                self.places.get(&(view.key, view.choice.map(|choice| Choice { number, ..choice }))).copied()
            }
        };
        let own = self.places.get(&(view.key, view.choice));
        let all = self.moves.iter().map(twin).collect::<Option<Vec<usize>>>()?;
        (all.first() == own).then_some(all)
    }
}

/// An id so much higher, if there is one.
fn moved(id: Id, more: i64) -> Option<Id> {
    match id {
        Id::Standard(id) => {
            u16::try_from(i64::from(id) + more).ok().filter(|id| *id <= Id::STANDARD_MAX).map(Id::Standard)
        }
        Id::Extended(id) => {
            u32::try_from(i64::from(id) + more).ok().filter(|id| *id <= Id::EXTENDED_MAX).map(Id::Extended)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Frame, FrameKind, Stamp};
    use crate::survey::keep::Keep;
    use crate::survey::view::{Row, views};

    /// Forty seconds of messages with these ids.
    fn heard(ids: &[u16]) -> Keep {
        let mut keep = Keep::default();
        for second in 0..40_u8 {
            for id in ids {
                let stamp = Stamp::from_secs(1_772_323_200).plus_secs(f64::from(second));
                keep.push(stamp, &Frame::new(Id::Standard(*id), FrameKind::Data, &[second, 1, 2, 3]).expect("a frame"));
            }
        }
        keep
    }

    #[test]
    fn a_message_of_the_second_pack_stands_for_one_of_the_first() {
        let keep = heard(&[0x100, 0x101, 0x120, 0x121, 0x10C]);
        let views = views(&keep, Row::of(keep.seconds()));
        let places = views.iter().enumerate().map(|(at, view)| ((view.key, view.choice), at)).collect();
        let twins = Twins { places, moves: vec![Move::Id(0, 0), Move::Id(0x20, 0)] };
        let ids = |at: usize| -> Option<Vec<Id>> {
            Some(twins.views(&views[at])?.iter().map(|view| views[*view].key.id).collect())
        };
        let standard = |a, b| Some(vec![Id::Standard(a), Id::Standard(b)]);
        assert_eq!(ids(0), standard(0x100, 0x120));
        assert_eq!(ids(1), standard(0x101, 0x121));
        assert_eq!(views[2].key.id, Id::Standard(0x10C));
        assert_eq!(ids(2), None, "another system's message has no twin");
        assert_eq!(ids(3), None, "the second pack's message is not the first's");
    }

    #[test]
    fn an_id_does_not_move_beyond_the_last() {
        assert_eq!(moved(Id::Standard(0x7F0), 0x20), None);
        assert_eq!(moved(Id::Standard(0x10), -0x20), None);
        assert_eq!(moved(Id::Extended(0x1800_0000), 0x100), Some(Id::Extended(0x1800_0100)));
    }
}
