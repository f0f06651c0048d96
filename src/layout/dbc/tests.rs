//! DBC texts told in short, and what becomes of them.

use super::*;
use crate::layout::{Blank, Form, Order};
use crate::model::{Frame, FrameKind, Value};
use proptest::prelude::*;

/// A message of eight bytes with these signals.
fn message(signals: &[&str]) -> String {
    signals.iter().fold("VERSION \"\"\nBO_ 291 Pack: 8 BMS\n".to_owned(), |text, signal| text + " SG_ " + signal + "\n")
}

fn read(text: &str) -> Dbc {
    parse(text.as_bytes()).unwrap_or_else(|error| panic!("{error}"))
}

/// The first problem of a text.
fn refused(text: &str) -> String {
    parse(text.as_bytes()).expect_err("refused").problems[0].to_string()
}

/// Names and values that a classical frame says.
fn said(map: &DbcMap, id: Id, bytes: &[u8]) -> Vec<(String, f64)> {
    let frame = Frame::new(id, FrameKind::Data, bytes).unwrap();
    let number = map.map.find(id).expect("a message of the map");
    let number_of = |value| match value {
        Value::Present(number) => number,
        other => panic!("no number: {other:?}"),
    };
    map.map.values(number, &frame).map(|(at, value)| (map.signal(at).unwrap().name.clone(), number_of(value))).collect()
}

#[test]
fn a_message_is_read_with_all_that_decoding_needs() {
    let text = message(&[
        "Volts : 7|16@0+ (0.001,0) [0|65] \"V\" Vector__XXX",
        "Amps : 16|16@1- (-0.1,5) [0|0] \"A\" GW,Panel",
        "Ratio : 32|32@1- (1,0) [0|0] \"\" Panel",
    ]);
    let text = text
        + "BO_ 2566848766 Far: 64 BMS\n"
        + "SIG_VALTYPE_ 291 Ratio : 1;\nVAL_ 291 Amps -2 \"minus two\" 1 \"one \\\"1\\\"\" ;\n"
        + "BA_ \"SystemSignalLongSymbol\" SG_ 291 Volts \"PackTerminalVoltage\";\n";
    let dbc = read(&text);
    let pack = dbc.message("Pack").unwrap();
    assert_eq!((pack.id, pack.length, pack.fd, pack.line), (Id::Standard(291), 8, false, 2));
    let volts = pack.signal("PackTerminalVoltage").unwrap();
    let plain = Field { blank: Blank::None, ..Field::plain(7, 16) };
    assert_eq!(volts.field, Field { order: Order::Big, scale: 0.001, ..plain });
    let amps = pack.signal("Amps").unwrap();
    assert_eq!(amps.field, Field { form: Form::Signed, scale: -0.1, offset: 5.0, start: 16, ..plain });
    assert_eq!((amps.unit.as_str(), amps.state(0xFFFE), amps.state(1)), ("A", Some("minus two"), Some("one \"1\"")));
    assert_eq!(amps.state(7), None);
    assert_eq!(pack.signal("Ratio").unwrap().field.form, Form::Float);
    let far = dbc.message("Far").unwrap();
    assert_eq!((far.id, far.fd), (Id::Extended(0x18FF_00FE), true));
    assert_eq!([volts, amps].map(|signal| decimals(&signal.field)), [Some(3), Some(1)]);
}

#[test]
fn line_ends_marks_and_encodings_make_no_difference() {
    let plain = message(&["T : 0|8@1+ (1,-40) [0|0] \"°C\" Vector__XXX"]);
    let expected = read(&plain);
    assert_eq!(expected.messages[0].signals[0].unit, "°C");
    assert_eq!(read(&plain.replace('\n', "\r\n")), expected);
    assert_eq!(read(&format!("\u{feff}{plain}")), expected);
    let windows: Vec<u8> = plain.chars().map(|c| u8::try_from(u32::from(c)).unwrap()).collect();
    assert_eq!(parse(&windows), Ok(expected));
    let euro = parse(b"BO_ 1 A: 1 X\n SG_ S : 0|8@1+ (1,0) [0|0] \"\x80\" X").unwrap();
    assert_eq!(euro.messages[0].signals[0].unit, "\u{20ac}");
    assert!(refused("").contains("no DBC"));
    assert!(parse(b"\xFF\xFEB\0O\0").unwrap_err().to_string().contains("UTF-16"));
}

#[test]
fn what_nobody_needs_is_skipped_and_what_nobody_knows_is_said() {
    let text = "VERSION \"1\"\n\nNS_ :\n\tNS_DESC_\n\tCM_\n\tBO_\n\nBS_:\n\nBU_: BMS Panel\n  More\n\
        VAL_TABLE_ On 1 \"on\" 0 \"off\" ;\n// a remark with BO_ in it\nBO_ 1 A: 1 BMS\n SG_ S : 0|8@1+ (1,0) [0|0] \"\"  BMS\n\
        CM_ SG_ 1 S \"over\ntwo lines; BO_ \\\"quoted\\\"\";\nWONDER_ 1 2 \"x\" ;\nBO_ 2 B: 1 BMS\n\
        BO_ 3221225472 VECTOR__INDEPENDENT_SIG_MSG: 0 Vector__XXX\n SG_ Lost : 0|8@1+ (1,0) [0|0] \"\" BMS\n";
    let dbc = read(text);
    let names: Vec<&str> = dbc.messages.iter().map(|message| message.name.as_str()).collect();
    assert_eq!((names, dbc.messages[1].line), (vec!["A", "B"], 19));
    let note = |line, text: &str| Note { line, text: text.into() };
    assert_eq!(dbc.notes, [note(18, "unknown statement 'WONDER_' skipped")]);
}

#[test]
fn a_switch_selects_and_switches_nest() {
    let text = message(&[
        "Page M : 0|8@1+ (1,0) [0|0] \"\" X",
        "Always : 8|8@1+ (1,0) [0|0] \"\" X",
        "Sub m1M : 16|8@1+ (1,0) [0|0] \"\" X",
        "First m0 : 16|8@1+ (1,0) [0|0] \"\" X",
        "Deep m3 : 24|8@1+ (1,0) [0|0] \"\" X",
    ]) + "SG_MUL_VAL_ 291 Sub Page 1-1;\nSG_MUL_VAL_ 291 First Page 0-0, 4 - 5;\nSG_MUL_VAL_ 291 Deep Sub 3-3,10-20;\n";
    let map = DbcMap::new(read(&text)).unwrap();
    let names = |bytes: [u8; 4]| {
        let frame = [bytes.as_slice(), &[0; 4]].concat();
        said(&map, Id::Standard(291), &frame).into_iter().map(|(name, _)| name).collect::<Vec<_>>().join(" ")
    };
    assert_eq!(names([0, 7, 3, 9]), "Page Always First");
    assert_eq!(names([5, 7, 3, 9]), "Page Always First");
    assert_eq!(names([1, 7, 3, 9]), "Page Always Sub Deep");
    assert_eq!(names([1, 7, 15, 9]), "Page Always Sub Deep");
    assert_eq!(names([1, 7, 4, 9]), "Page Always Sub");
    assert_eq!(names([2, 7, 3, 9]), "Page Always");
}

#[test]
fn floats_are_values_even_where_they_are_no_numbers() {
    let text = message(&["F : 0|32@1- (2,1) [0|0] \"\" X"]) + "SIG_VALTYPE_ 291 F : 1;\n";
    let map = DbcMap::new(read(&text)).unwrap();
    let read = |number: f32| said(&map, Id::Standard(291), &[&number.to_le_bytes()[..], &[0; 4]].concat())[0].1;
    assert_eq!((read(0.25), read(f32::INFINITY)), (1.5, f64::INFINITY));
    assert!(read(f32::NAN).is_nan());
}

#[test]
fn a_message_of_a_group_without_a_sender_is_known_from_any_sender() {
    let text = "BO_ 2566848766 Details: 8 X\n SG_ S : 0|8@1+ (1,0) [0|0] \"\" X\nBO_ 2566848512 Exact: 8 X\n\
        BA_DEF_ BO_ \"VFrameFormat\" ENUM \"StandardCAN\",\"ExtendedCAN\",\"reserved\",\"J1939PG\";\n\
        BA_DEF_DEF_ \"VFrameFormat\" \"StandardCAN\";\nBA_ \"VFrameFormat\" BO_ 2566848766 3;\n";
    let dbc = read(text);
    let keys: Vec<Key> = dbc.messages.iter().map(|message| message.key).collect();
    assert_eq!(keys, [Key::Group(0xFF00), Key::Exact(Id::Extended(0x18FF_0000))]);
    let map = DbcMap::new(dbc).unwrap();
    assert_eq!(said(&map, Id::Extended(0x1CFF_0042), &[5; 8]), [("S".to_owned(), 5.0)]);
    assert_eq!(map.map.find(Id::Extended(0x18FF_0000)), Some(1));
}

#[test]
fn a_message_longer_than_any_frame_is_kept_and_said() {
    let map = DbcMap::new(read("BO_ 1 Long: 1785 X\n SG_ S : 8000|8@1+ (1,0) [0|0] \"\" X\n")).unwrap();
    assert!(map.dbc.notes[0].text.contains("'Long' has 1785 bytes"), "{:?}", map.dbc.notes);
    assert_eq!(map.map.channels(0), []);
}

#[test]
fn what_cannot_be_is_refused_with_line_and_names() {
    let one = |signal: &str| refused(&message(&[signal]));
    let two = |second: &str| refused(&message(&["Volts : 0|16@1+ (1,0) [0|0] \"V\" X", second]));
    let rest = "(1,0) [0|0] \"\" X";
    assert_eq!(
        one(&format!("Volts : 60|8@1+ {rest}")),
        "line 3: message 'Pack': signal 'Volts' (8 bits from bit 60) does not fit into the 8 bytes of the message"
    );
    assert!(one(&format!("Volts : 56|9@0+ {rest}")).contains("does not fit into the 8 bytes"));
    assert!(one(&format!("Volts : 99999999999|9@0+ {rest}")).contains("does not fit into the 8 bytes"));
    assert!(one(&format!("Volts : 0|0@1+ {rest}")).contains("has 0 bits"));
    assert!(one(&format!("Volts : 0|65@1+ {rest}")).contains("has 65 bits"));
    assert_eq!(
        two(&format!("Amps : 12|6@0- {rest}")),
        "line 4: message 'Pack': signals 'Amps' and 'Volts' (line 3) overlap and can be there together",
        "Motorola: bits 4 to 0 of byte 1, and one of byte 2"
    );
    assert!(two(&format!("Volts : 16|8@1+ {rest}")).ends_with("signal 'Volts' has the name of the one in line 3"));
    for wrong in ["0,0", "1e400,0", "1,-1e999"] {
        let said = one(&format!("Volts : 0|16@1+ ({wrong}) [0|0] \"\" X"));
        assert!(said.starts_with("line 3: message 'Pack': signal 'Volts' has the factor "), "{said}");
    }
    let messages = |second: &str| refused(&format!("BO_ 5 A: 8 X\nBO_ {second}: 8 X\n"));
    assert_eq!(messages("5 B"), "line 2: message 'B': id 005 is that of message 'A' in line 1");
    assert_eq!(messages("6 A"), "line 2: message 'A' has the name of the one in line 1");
    for wrong in ["2048", "274923520", "3221225472", "4294967295", "4294967301", "18446744073709551615"] {
        let said = messages(&format!("{wrong} B"));
        assert!(said.starts_with(&format!("line 2: message 'B': id {wrong} is neither")), "{said}");
    }
    assert!(messages("-1 B").contains("BO_: expected the number of the message, found '-1'"));
}

#[test]
fn statements_about_nothing_are_refused() {
    let about = |text: &str| refused(&(message(&["Volts : 0|16@1+ (1,0) [0|0] \"V\" X"]) + text));
    assert_eq!(about("VAL_ 291 Amps 1 \"x\" ;"), "line 4: VAL_: message 291 has no signal 'Amps'");
    assert_eq!(about("SIG_VALTYPE_ 7 Volts : 1;"), "line 4: SIG_VALTYPE_: message 7 has no signal 'Volts'");
    assert_eq!(about("SG_MUL_VAL_ 291 Volts Page 1-1;"), "line 4: SG_MUL_VAL_: message 291 has no signal 'Page'");
    assert!(about("SIG_VALTYPE_ 291 Volts : 1;").contains("signal 'Volts' has 16 bits and SIG_VALTYPE_ 1"));
    assert!(about("SG_MUL_VAL_ 291 Volts Volts 2-1;").contains("expected a range such as 2-5, found '2-1'"));
}

#[test]
fn switches_that_lead_nowhere_are_refused() {
    let rest = "(1,0) [0|0] \"\" X";
    let (page, sub) = (format!("Page M : 0|8@1+ {rest}"), format!("Sub m1M : 8|8@1+ {rest}"));
    let volts = format!("Volts m1 : 16|8@1+ {rest}");
    let why = |signals: &[&str], text: &str| refused(&(message(signals) + text));
    assert!(why(&[&volts], "").ends_with("signal 'Volts' is multiplexed, but the message has no switch (M)"));
    assert!(why(&[&page, &sub, &volts], "SG_MUL_VAL_ 291 Sub Page 1-1;").contains("no SG_MUL_VAL_ says which"));
    let ring = "SG_MUL_VAL_ 291 Page Sub 1-1;\nSG_MUL_VAL_ 291 Sub Page 1-1;";
    assert!(why(&[&page, &sub], ring).contains("form a ring or are nested too deep"));
    assert!(why(&[&page, &volts], "SIG_VALTYPE_ 291 Page : 1;").contains("SIG_VALTYPE_ 1"));
    let plain = format!("Amps : 16|8@1+ {rest}");
    assert!(why(&[&page, &plain], "SG_MUL_VAL_ 291 Amps Page 1-1;").contains("not marked with m"));
}

#[test]
fn signals_may_share_bits_only_where_no_frame_has_both() {
    let rest = "(1,0) [0|0] \"\" X";
    let page = format!("Page M : 0|4@1+ {rest}");
    let signal = |name: &str, on: &str, start: u8| format!("{name} {on} : {start}|8@1+ {rest}");
    let judged = |signals: [String; 3], text: &str| {
        let signals: Vec<&str> = signals.iter().map(String::as_str).collect();
        parse((message(&signals) + text).as_bytes()).is_ok()
    };
    assert!(judged([page.clone(), signal("A", "m0", 8), signal("B", "m1", 8)], ""));
    assert!(!judged([page.clone(), signal("A", "m0", 8), signal("B", "m0", 12)], ""));
    assert!(!judged([page.clone(), signal("A", "m0", 8), signal("B", "", 12)], ""));
    let ranges = "SG_MUL_VAL_ 291 A Page 0-3;\nSG_MUL_VAL_ 291 B Page ";
    assert!(judged([page.clone(), signal("A", "m0", 8), signal("B", "m4", 8)], &format!("{ranges}4-9;")));
    assert!(!judged([page, signal("A", "m0", 8), signal("B", "m4", 8)], &format!("{ranges}3-9;")));
}

#[test]
fn every_problem_is_told_up_to_a_few() {
    let text: String = (0..100).map(|n| format!("BO_ {n} M{n}: 1 X\n SG_ S : 0|9@1+ (1,0) [0|0] \"\" X\n")).collect();
    let error = parse(text.as_bytes()).unwrap_err();
    assert_eq!((error.problems.len(), error.problems[0].line, error.problems[19].line), (20, 2, 40));
    assert!(error.to_string().ends_with("; and 15 more"), "{error}");
    let broken = "BO_ 1 A: 8 X\n SG_ S 0|8@1+ (1,0) [0|0] \"\" X\n SG_ T : 0|8@2+ (1,0) [0|0] \"\" X\nCM_ \"open";
    let lines: Vec<String> = parse(broken.as_bytes()).unwrap_err().problems.iter().map(Problem::to_string).collect();
    assert_eq!(
        lines,
        [
            "line 2: SG_: expected ':', M, or m with a number, found '0'",
            "line 3: SG_: expected 0 or 1 for the byte order, then + or -, found '2+'",
            "line 4: a text begins with \" and does not end",
        ]
    );
}

#[test]
fn hostile_texts_are_refused_in_bounded_time_and_show_nothing_that_a_terminal_obeys() {
    let long = parse(&vec![b'A'; MOST_BYTES + 1]).unwrap_err().to_string();
    assert!(long.contains("larger than"), "{long}");
    let word = refused(&format!("BO_ 1 {}: 8 X\n", "A".repeat(1 << 20)));
    assert!(word.len() < 300, "{}", word.len());
    for fill in ["(", "\"\\\"", ",", ";", "BO_ ", "SG_ ", "SG_MUL_VAL_ 1 A B 1-1,", "m0M", "//\n", "NS_ :\n"] {
        let text = format!("BO_ 1 A: 8 X\n{}", fill.repeat(200_000));
        assert!(parse(text.as_bytes()).map_or_else(|e| e.problems.len(), |dbc| dbc.notes.len()) <= 100, "{fill}");
    }
    let said = refused("BO_ 1 A\x1b[31mred: 8 X\n");
    assert!(said.contains('\u{fffd}') && !said.contains('\x1b'), "{said}");
    let dbc = read(
        "BO_ 1 A: 8 X\n SG_ S : 0|8@1+ (1,0) [0|0] \"\x1b[2J\" X\nBA_ \"SystemMessageLongSymbol\" BO_ 1 \"x\u{202e}y\";\n\
         VAL_ 1 S 1 \"\x07\";\nW\x1bRD 1;\n",
    );
    let shown = format!(
        "{} {} {} {}",
        dbc.messages[0].name, dbc.messages[0].signals[0].unit, dbc.messages[0].signals[0].states[0].1, dbc.notes[0]
    );
    assert_eq!(crate::model::clean(&shown, 1000), shown);
}

#[test]
fn the_largest_message_of_multiplexed_signals_is_judged_in_time_and_one_more_is_refused() {
    let text = |count: usize| {
        let line = |n: usize| format!(" SG_ S{n} m{n} : 16|48@1+ (1,0) [0|0] \"\" X\n");
        message(&["Page M : 0|16@1+ (1,0) [0|0] \"\" X"]) + &(1..count).map(line).collect::<String>()
    };
    assert_eq!(read(&text(MOST_SIGNALS)).messages[0].signals.len(), MOST_SIGNALS);
    assert!(refused(&text(MOST_SIGNALS + 1)).ends_with("more than 2048 signals in a message"));
}

/// Places of a signal's bits in the frame, the least significant first, as (byte, bit): counted step by step along the
/// two rules of the format, apart from [`Field`].
fn walk(start: usize, len: usize, order: Order) -> Vec<(usize, usize)> {
    let (mut byte, mut bit) = (start / 8, start % 8);
    let mut places = Vec::new();
    for _ in 0..len {
        places.push((byte, bit));
        (byte, bit) = match (order, bit) {
            (Order::Little, 7) => (byte + 1, 0),
            (Order::Little, bit) => (byte, bit + 1),
            (Order::Big, 0) => (byte + 1, 7),
            (Order::Big, bit) => (byte, bit - 1),
        };
    }
    if order == Order::Big {
        places.reverse();
    }
    places
}

proptest! {
    #[test]
    fn what_an_independent_encoder_writes_is_read(
        start in 0_usize..512, len in 1_usize..=64, big: bool, signed: bool, raw: u64, fill: u8,
        factor in -1000_i32..1000, offset in -1000_i32..1000,
    ) {
        prop_assume!(factor != 0);
        let order = if big { Order::Big } else { Order::Little };
        let places = walk(start, len, order);
        let (order_word, sign) = (if big { 0 } else { 1 }, if signed { '-' } else { '+' });
        let text = format!(
            "BO_ 2147483653 A: 64 X\n SG_ S : {start}|{len}@{order_word}{sign} ({factor}e-2,{offset}) [0|0] \"\" X\n"
        );
        let fits = places.iter().all(|(byte, _)| *byte < 64);
        prop_assert_eq!(parse(text.as_bytes()).is_ok(), fits);
        prop_assume!(fits);
        let map = DbcMap::new(parse(text.as_bytes()).unwrap()).unwrap();
        let mut bytes = [fill; 64];
        for (place, (byte, bit)) in places.iter().enumerate() {
            bytes[*byte] = bytes[*byte] & !(1 << bit) | ((raw >> place & 1) as u8) << bit;
        }
        let kept = if len == 64 { raw } else { raw & ((1 << len) - 1) };
        let negative = signed && kept >> (len - 1) & 1 == 1;
        let count = if negative { i128::from(kept) - (1_i128 << len) } else { i128::from(kept) };
        let expected = count as f64 * (f64::from(factor) / 100.0) + f64::from(offset);
        let frame = Frame::new(Id::Extended(5), FrameKind::Fd(1), &bytes).unwrap();
        let Some((_, Value::Present(found))) = map.map.values(0, &frame).next() else { panic!("no number") };
        prop_assert!((found - expected).abs() <= 1e-9 * expected.abs().max(1.0), "{} {}", found, expected);
    }

    #[test]
    fn any_bytes_are_read_or_refused(bytes: Vec<u8>) {
        let _ = parse(&bytes).map(DbcMap::new);
    }
}
