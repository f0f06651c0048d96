use super::*;
use crate::wire::arbitrary;
use proptest::prelude::*;

fn record(frame: &Frame) -> Vec<u8> {
    let mut out = Vec::new();
    encode(frame, &mut out);
    out
}

fn all(deframer: &mut Deframer, bytes: &[u8]) -> Vec<Result<Frame, Rejection>> {
    let mut found = Vec::new();
    deframer.push(bytes, |result| found.push(result));
    found
}

fn a_frame() -> Frame {
    Frame::extended(0x18FF_1080, [0xE8, 0x80, 0x00, 0x80, 0xDE, 0x80, 0xFF, 0xFF])
}

fn stuff(plain: &[u8]) -> Vec<u8> {
    let mut out = vec![0; cobs::max_encoding_length(plain.len())];
    let len = cobs::encode(plain, &mut out);
    out.truncate(len);
    out
}

/// COBS of a body and the checksum that belongs to it.
fn sealed(body: &[u8]) -> Vec<u8> {
    let mut plain = body.to_vec();
    plain.extend_from_slice(&CHECKSUM.checksum(body).to_le_bytes());
    let mut out = stuff(&plain);
    out.push(0);
    out
}

/// CRC-16/IBM-3740: poly 0x1021, start 0xFFFF, not reflected, no final xor; the RevEng catalogue of CRC
/// algorithms gives check 0x29B1, and the start value is the checksum of nothing.
#[test]
fn the_checksum_is_the_published_one() {
    assert_eq!(CHECKSUM.checksum(b"123456789"), 0x29B1);
    assert_eq!(CHECKSUM.checksum(b""), 0xFFFF);
}

/// Vectors of Cheshire & Baker, 'Consistent Overhead Byte Stuffing', IEEE/ACM Transactions on Networking 7(2),
/// 1999, and of the package `cobs` on PyPI.
#[test]
fn the_stuffing_is_the_published_one() {
    let run = |from: u8, to: u8| (from..=to).collect::<Vec<u8>>();
    let joined = |parts: &[&[u8]]| parts.concat();
    for (plain, stuffed) in [
        (vec![], vec![1]),
        (vec![0], vec![1, 1]),
        (vec![0, 0], vec![1, 1, 1]),
        (vec![0, 0x11, 0], vec![1, 2, 0x11, 1]),
        (vec![0x11, 0x22, 0, 0x33], vec![3, 0x11, 0x22, 2, 0x33]),
        (vec![0x11, 0x22, 0x33, 0x44], vec![5, 0x11, 0x22, 0x33, 0x44]),
        (vec![0x11, 0, 0, 0], vec![2, 0x11, 1, 1, 1]),
        (run(1, 0xFE), joined(&[&[0xFF], &run(1, 0xFE)])),
        (run(0, 0xFE), joined(&[&[1, 0xFF], &run(1, 0xFE)])),
        (run(1, 0xFF), joined(&[&[0xFF], &run(1, 0xFE), &[2, 0xFF]])),
        (joined(&[&run(2, 0xFF), &[0]]), joined(&[&[0xFF], &run(2, 0xFF), &[1, 1]])),
        (joined(&[&run(3, 0xFF), &[0, 1]]), joined(&[&[0xFE], &run(3, 0xFF), &[2, 1]])),
    ] {
        assert_eq!(stuff(&plain), stuffed, "{plain:02X?}");
        let mut back = vec![0; 300];
        let len = cobs::decode(&stuffed, &mut back).unwrap().frame_size();
        assert_eq!(&back[..len], &plain, "{stuffed:02X?}");
    }
}

#[test]
fn a_spoilt_record_says_why_and_the_next_one_is_read() {
    let good = record(&a_frame());
    let body = |kind: u8, len: u8, id: u32, data: &[u8]| [&[kind, len][..], &id.to_le_bytes(), data].concat();
    let mut flipped = good.clone();
    flipped[8] ^= 0x04;
    for (spoilt, why) in [
        (vec![0x05, 0x11, 0], Rejection::BadCobs),
        (sealed(&[1, 2, 3]), Rejection::BadLength),
        (sealed(&body(0, 3, 0x123, &[1, 2])), Rejection::BadLength),
        (flipped, Rejection::BadChecksum),
        (sealed(&body(0, 0, 0x800, &[])), Rejection::BadId),
        (sealed(&body(4, 0, 0x2000_0000, &[])), Rejection::BadId),
        (sealed(&body(8, 0, 0x123, &[])), Rejection::BadId),
        (sealed(&body(0x10, 0, 0x123, &[])), Rejection::BadId),
        (sealed(&body(0, 9, 0x123, &[0; 9])), Rejection::TooLong),
        (sealed(&body(1, 9, 0x123, &[])), Rejection::TooLong),
        ([vec![7; 200], vec![0]].concat(), Rejection::Overlong),
    ] {
        let found = all(&mut Deframer::new(), &[spoilt.clone(), good.clone()].concat());
        assert_eq!(found, [Err(why), Ok(a_frame())], "{spoilt:02X?}");
    }
}

#[test]
fn the_piece_of_a_record_after_opening_is_dropped_without_a_word() {
    let good = record(&a_frame());
    let bytes = [&good[5..], &good].concat();
    assert_eq!(all(&mut Deframer::after_opening(), &bytes), [Ok(a_frame())]);
    assert_eq!(all(&mut Deframer::new(), &bytes).len(), 2);
}

#[test]
fn zero_bytes_between_records_are_nothing() {
    assert_eq!(all(&mut Deframer::new(), &[0; 50]), []);
}

#[test]
fn saved_between_two_bytes_it_goes_on() {
    let good = record(&a_frame());
    let mut first = Deframer::new();
    assert_eq!(all(&mut first, &good[..7]), []);
    let saved = postcard::to_allocvec(&first).unwrap();
    let mut second: Deframer = postcard::from_bytes(&saved).unwrap();
    assert_eq!(all(&mut second, &good[7..]), [Ok(a_frame())]);
}

fn stream() -> impl Strategy<Value = Vec<u8>> {
    let piece = prop_oneof![
        3 => arbitrary::frame().prop_map(|frame| record(&frame)),
        1 => prop::collection::vec(any::<u8>(), 0..120),
    ];
    prop::collection::vec(piece, 0..12).prop_map(|pieces| pieces.concat())
}

proptest! {
    #[test]
    fn every_frame_comes_back(frame in arbitrary::frame()) {
        let bytes = record(&frame);
        prop_assert!(!bytes[..bytes.len() - 1].contains(&0));
        prop_assert!(bytes.len() <= MOST_STUFFED + 1);
        prop_assert_eq!(all(&mut Deframer::new(), &bytes), [Ok(frame)]);
    }

    #[test]
    fn how_the_bytes_are_cut_changes_nothing(bytes in stream(), cuts in prop::collection::vec(1usize..40, 1..40)) {
        let mut whole = Deframer::new();
        let expected = all(&mut whole, &bytes);
        let mut cut = Deframer::new();
        let mut found = Vec::new();
        let (mut rest, mut cuts) = (bytes.as_slice(), cuts.iter().cycle());
        while !rest.is_empty() {
            let (chunk, after) = rest.split_at((*cuts.next().unwrap()).min(rest.len()));
            cut.push(chunk, |result| found.push(result));
            rest = after;
        }
        prop_assert_eq!(found, expected);
        prop_assert_eq!(cut, whole);
    }

    #[test]
    fn after_any_garbage_the_next_record_is_read(garbage: Vec<u8>, frame in arbitrary::frame()) {
        let mut deframer = Deframer::new();
        deframer.push(&garbage, |_| ());
        deframer.push(&[0], |_| ());
        prop_assert_eq!(all(&mut deframer, &record(&frame)), [Ok(frame)]);
        prop_assert!(deframer.record.capacity() <= 2 * MOST_STUFFED);
    }

    /// A CRC of 16 bits sees every error of one bit.
    #[test]
    fn one_bit_that_is_wrong_is_always_noticed(frame in arbitrary::frame(), place: prop::sample::Index, bit in 0..8u8) {
        let bytes = record(&frame);
        let mut plain = vec![0; 80];
        let len = cobs::decode(&bytes, &mut plain).unwrap().frame_size();
        plain.truncate(len);
        plain[place.index(len)] ^= 1 << bit;
        let spoilt = [stuff(&plain), vec![0]].concat();
        prop_assert!(all(&mut Deframer::new(), &spoilt)[0].is_err());
    }
}
