//! Digits: decimal stamps and hexadecimal bytes, without allocation and without a look at UTF-8.

use crate::model::{NANOS_PER_SEC, Rejection, Stamp};

/// Marks what is no hex digit.
const NO: u8 = 0xFF;

static HEX: [u8; 256] = {
    let mut table = [NO; 256];
    let mut digit = 0;
    while digit < 16 {
        table[b"0123456789ABCDEF"[digit] as usize] = digit as u8;
        table[b"0123456789abcdef"[digit] as usize] = digit as u8;
        digit += 1;
    }
    table
};

/// The number of a hex digit.
#[inline]
pub(in crate::wire) fn hex(digit: u8) -> Option<u8> {
    let number = HEX[usize::from(digit)];
    (number != NO).then_some(number)
}

/// Hex digits as one number; at most eight of them.
#[inline]
pub(in crate::wire) fn hex_number(digits: &[u8]) -> Option<u32> {
    let mut number = 0u32;
    let mut bad = 0;
    for &digit in digits {
        let value = HEX[usize::from(digit)];
        bad |= value;
        number = number << 4 | u32::from(value & 0xF);
    }
    (bad & 0xF0 == 0).then_some(number)
}

/// Sixteen hex digits as eight bytes.
#[inline]
pub(super) fn eight_bytes(digits: &[u8; 16]) -> Option<[u8; 8]> {
    let (first, last) = digits.split_first_chunk::<8>()?;
    let first = eight_hex(*first)?;
    let last = eight_hex(last.try_into().ok()?)?;
    Some((u64::from(last) << 32 | u64::from(first)).to_le_bytes())
}

/// Eight hex digits as one number.
#[inline]
pub(super) fn eight_hex_number(digits: &[u8; 8]) -> Option<u32> {
    eight_hex(*digits).map(u32::swap_bytes)
}

/// The same byte in all eight lanes of a word.
const fn lanes(byte: u8) -> u64 {
    u64::from_le_bytes([byte; 8])
}

/// Eight hex digits at once, as eight lanes of a word; the first two digits are the lowest byte.
#[inline]
fn eight_hex(digits: [u8; 8]) -> Option<u32> {
    let word = u64::from_le_bytes(digits);
    // Below 0x80 in every lane, no sum below reaches the next lane; its top bit then says 'at least'.
    if word & lanes(0x80) != 0 {
        return None;
    }
    let at_least = |word: u64, low: u8| word.wrapping_add(lanes(0x80 - low));
    let lower = word | lanes(0x20);
    let decimal = at_least(word, b'0') & !at_least(word, b'9' + 1);
    let letter = at_least(lower, b'a') & !at_least(lower, b'f' + 1);
    if (decimal | letter) & lanes(0x80) != lanes(0x80) {
        return None;
    }
    // A letter's low four bits are 1 to 6, and its bit 6 is set.
    let nibbles = (word & lanes(0x0F)) + (word >> 6 & lanes(1)) * 9;
    let pairs = (nibbles << 4 | nibbles >> 8) & 0x00FF_00FF_00FF_00FF;
    let fours = (pairs | pairs >> 8) & 0x0000_FFFF_0000_FFFF;
    Some((fours | fours >> 16) as u32)
}

/// The stamp at the start of a line, `(seconds.fraction)`, and what follows it.
#[inline]
pub(super) fn stamp(line: &[u8]) -> Result<(Stamp, &[u8]), Rejection> {
    match usual_stamp(line) {
        Some(found) => Ok(found),
        None => any_stamp(line),
    }
}

/// Ten digits of seconds, a point, six or nine digits: what every logger writes from 2001 to 2286.
#[inline]
fn usual_stamp(line: &[u8]) -> Option<(Stamp, &[u8])> {
    let head: &[u8; 19] = line.first_chunk()?;
    if head[0] != b'(' || head[11] != b'.' {
        return None;
    }
    let secs = ten_digits(head.get(1..11)?.try_into().ok()?)?;
    let (nanos, rest) = if head[18] == b')' {
        // The six digits and, before them, two places that are made zeros.
        let micros: [u8; 8] = [b'0', b'0', head[12], head[13], head[14], head[15], head[16], head[17]];
        (i64::from(eight_digits(micros)?) * 1000, line.get(19..)?)
    } else if line.get(21) == Some(&b')') {
        let last = line[20].wrapping_sub(b'0');
        let tens = i64::from(eight_digits(line.get(12..20)?.try_into().ok()?)?);
        (last <= 9).then_some((tens * 10 + i64::from(last), line.get(22..)?))?
    } else {
        return None;
    };
    let nanos = secs.checked_mul(NANOS_PER_SEC)?.checked_add(nanos)?;
    Some((Stamp::from_nanos(nanos), rest))
}

#[inline]
fn ten_digits(digits: [u8; 10]) -> Option<i64> {
    let [a, b, rest @ ..] = digits;
    let (a, b) = (a.wrapping_sub(b'0'), b.wrapping_sub(b'0'));
    if a > 9 || b > 9 {
        return None;
    }
    Some(i64::from(a) * 1_000_000_000 + i64::from(b) * 100_000_000 + i64::from(eight_digits(rest)?))
}

/// Eight decimal digits at once, as eight lanes of a word.
#[inline]
fn eight_digits(digits: [u8; 8]) -> Option<u32> {
    let word = u64::from_le_bytes(digits);
    let all_digits = (word & 0xF0F0_F0F0_F0F0_F0F0)
        | ((word.wrapping_add(0x0606_0606_0606_0606) & 0xF0F0_F0F0_F0F0_F0F0) >> 4)
        == 0x3333_3333_3333_3333;
    if !all_digits {
        return None;
    }
    let pairs = (word & 0x0F0F_0F0F_0F0F_0F0F).wrapping_mul(10 * 256 + 1) >> 8;
    let fours = (pairs & 0x00FF_00FF_00FF_00FF).wrapping_mul(100 * 65_536 + 1) >> 16;
    let eight = (fours & 0x0000_FFFF_0000_FFFF).wrapping_mul(10_000 * 4_294_967_296 + 1) >> 32;
    Some(eight as u32)
}

/// Any number of digits of seconds, and up to nine of a fraction or none.
#[cold]
fn any_stamp(line: &[u8]) -> Result<(Stamp, &[u8]), Rejection> {
    let Some(text) = line.strip_prefix(b"(") else { return Err(Rejection::NoStamp) };
    let end = text.iter().take(40).position(|&c| c == b')').ok_or(Rejection::BadStamp)?;
    let (number, rest) = (text.get(..end).unwrap_or_default(), text.get(end + 1..).unwrap_or_default());
    let (whole, fraction) = match number.iter().position(|&c| c == b'.') {
        Some(point) => (number.get(..point).unwrap_or_default(), number.get(point + 1..).unwrap_or_default()),
        None => (number, [].as_slice()),
    };
    if fraction.len() > 9 || whole.is_empty() {
        return Err(Rejection::BadStamp);
    }
    let secs = decimal(whole).ok_or(Rejection::BadStamp)?;
    let scale = 10i64.pow(9 - fraction.len() as u32);
    let nanos = decimal(fraction).ok_or(Rejection::BadStamp)? * scale;
    let nanos = secs.checked_mul(NANOS_PER_SEC).and_then(|secs| secs.checked_add(nanos));
    nanos.map(|nanos| (Stamp::from_nanos(nanos), rest)).ok_or(Rejection::BadStamp)
}

/// Decimal digits as a number; none at all are 0.
pub(super) fn decimal(digits: &[u8]) -> Option<i64> {
    digits.iter().try_fold(0i64, |number, &digit| {
        let digit = digit.wrapping_sub(b'0');
        if digit > 9 { None } else { number.checked_mul(10)?.checked_add(i64::from(digit)) }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn stamps_of_all_widths() {
        let nanos = |text: &str| stamp(text.as_bytes()).map(|(stamp, rest)| (stamp.nanos(), rest.len()));
        assert_eq!(nanos("(1769835600.250000) x"), Ok((1_769_835_600_250_000_000, 2)));
        assert_eq!(nanos("(1769835600.250000001) x"), Ok((1_769_835_600_250_000_001, 2)));
        assert_eq!(nanos("(0000000000.000001)"), Ok((1_000, 0)));
        assert_eq!(nanos("(5)"), Ok((5_000_000_000, 0)));
        assert_eq!(nanos("(1.5)"), Ok((1_500_000_000, 0)));
        assert_eq!(nanos("(9223372036.854775807)"), Ok((i64::MAX, 0)));
        for bad in [
            "(9223372036.854775808)",
            "(1.0000000001)",
            "(.5)",
            "(-1.5)",
            "(1769835600.25000x)",
            "(17698356x0.250000)",
            "(12",
        ] {
            assert_eq!(nanos(bad), Err(Rejection::BadStamp), "{bad}");
        }
        assert_eq!(nanos("can0"), Err(Rejection::NoStamp));
    }

    proptest! {
        #[test]
        fn the_fast_way_reads_what_the_slow_way_reads(text in "\\([0-9a:]{10}[.,][0-9/]{6,9}[)]?x*") {
            let line = text.as_bytes();
            if let Some(fast) = usual_stamp(line) {
                prop_assert_eq!(any_stamp(line), Ok(fast));
            }
            let expected = any_stamp(line);
            prop_assert_eq!(stamp(line), expected);
        }

        #[test]
        fn every_number_of_eight_digits_is_read(number in 0u32..100_000_000) {
            let text = format!("{number:08}");
            prop_assert_eq!(eight_digits(text.as_bytes().try_into().unwrap()), Some(number));
        }

        #[test]
        fn hex_of_either_case(bytes: [u8; 8], upper: bool) {
            let text: String = bytes.iter().map(|b| if upper { format!("{b:02X}") } else { format!("{b:02x}") }).collect();
            prop_assert_eq!(eight_bytes(text.as_bytes().try_into().unwrap()), Some(bytes));
        }

        #[test]
        fn eight_hex_digits_at_once_or_one_by_one(good in "[0-9A-Fa-f]{8}", spoil in prop::option::of((0usize..8, any::<u8>()))) {
            let mut digits: [u8; 8] = good.as_bytes().try_into().unwrap();
            if let Some((place, byte)) = spoil {
                digits[place] = byte;
            }
            prop_assert_eq!(eight_hex_number(&digits), hex_number(&digits));
        }
    }
}
