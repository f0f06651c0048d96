use super::*;
use crate::model::{Frame, FrameKind, Id};
use crate::wire::arbitrary;
use proptest::prelude::*;

/// What one line says, in short: the frame, or why it is none.
fn read(line: &str) -> Result<Frame, Rejection> {
    match LineParser::new().line(format!("(1769835600.250000) can0 {line}").as_bytes())? {
        Line::Input(Input { body: Body::Frame(frame), .. }) => Ok(frame),
        other => panic!("{line}: {other:?}"),
    }
}

fn data(id: Id, bytes: &[u8]) -> Result<Frame, Rejection> {
    Ok(Frame::new(id, FrameKind::Data, bytes).unwrap())
}

#[test]
fn the_width_of_the_id_decides() {
    assert_eq!(read("123#1122"), data(Id::Standard(0x123), &[0x11, 0x22]));
    assert_eq!(read("00000123#1122"), data(Id::Extended(0x123), &[0x11, 0x22]));
    assert_eq!(read("7FF#"), data(Id::Standard(0x7FF), &[]));
    for bad in
        ["800#", "12#00", "1234#00", "123456#00", "1234567#00", "123456789#00", "1x3#00", "40000000#00", "#00", ""]
    {
        assert_eq!(read(bad), Err(Rejection::BadId), "{bad}");
    }
}

#[test]
fn data_may_be_dotted_in_either_case_and_carry_a_raw_length_code() {
    let eight = [0x11, 0x22, 0x33, 0x44, 0x55, 0x66, 0x77, 0x88];
    for line in
        ["12A#1122334455667788", "12a#11.22.33.44.55.66.77.88", "12A#1122334455667788_9", "12A#1122334455667788_f R"]
    {
        assert_eq!(read(line), data(Id::Standard(0x12A), &eight), "{line}");
    }
    assert_eq!(read("123#AB.cd T"), data(Id::Standard(0x123), &[0xAB, 0xCD]));
    for bad in [
        "123#1",
        "123#11.",
        "123#.11",
        "123#11..22",
        "123#1G",
        "123#11 x",
        "123#11 R T",
        "123#11R",
        "123#11_9",
        "123#1122334455667788_8",
    ] {
        assert_eq!(read(bad), Err(Rejection::BadHex), "{bad}");
    }
    assert_eq!(read("123#112233445566778899"), Err(Rejection::TooLong));
}

#[test]
fn remote_frames_ask_for_a_length_or_none() {
    let asks = |len| Ok(Frame::remote(Id::Standard(0x123), len));
    assert_eq!(read("123#R"), asks(0));
    assert_eq!(read("123#r5"), asks(5));
    assert_eq!(read("123#R8_E"), asks(8));
    assert_eq!(read("123#R9"), Err(Rejection::TooLong));
    assert_eq!(read("123#R5 R"), asks(5));
    assert_eq!(read("123#RA"), Err(Rejection::BadHex));
}

#[test]
fn fd_frames_carry_their_flags() {
    let frame = Frame::new(Id::Extended(0x18FF_1080), FrameKind::Fd(5), &[0xAA; 12]).unwrap();
    assert_eq!(read(&format!("18FF1080##5{}", "AA".repeat(12))), Ok(frame));
    assert_eq!(read("123##"), Err(Rejection::BadHex));
    assert_eq!(read(&format!("123##0{}", "00".repeat(65))), Err(Rejection::TooLong));
    assert_eq!(read(&format!("123##1{}", "00".repeat(64))).map(|frame| frame.len()), Ok(64));
}

#[test]
fn error_frames_keep_their_class_and_their_bytes() {
    // SocketCAN: class 0x04 (controller), byte 1 = 0x20 receiver passive, bytes 6 and 7 the counters.
    let frame = read("20000004#0020000000008000").unwrap();
    assert_eq!((frame.kind, frame.id, frame.data()[6]), (FrameKind::Error, Id::Extended(4), 0x80));
    assert_eq!(read("20000004##000"), Err(Rejection::BadId));
    assert_eq!(read("20000004#R"), Err(Rejection::BadId));
}

#[test]
fn can_xl_is_refused_by_name() {
    assert_eq!(read("12345#81:00:12345678#11.22"), Err(Rejection::Unsupported));
}

#[test]
fn a_line_may_be_padded_ended_and_marked_in_many_ways() {
    let mut parser = LineParser::new();
    let bare = parser.line(b"(1769835600.250000000) can0 123#11");
    for line in [
        "(1769835600.250000)  can0  123#11",
        "(1769835600.250000) \t can0 123#11\r",
        "\u{feff}(1769835600.250000) can0 123#11",
        "  (1769835600.250000) can0 123#11 R\r",
        "(1769835600.25) can0 123#11  ",
    ] {
        assert_eq!(parser.line(line.as_bytes()), bare, "{line:?}");
    }
    for blank in ["", "\r", "   ", "\u{feff}"] {
        assert_eq!(parser.line(blank.as_bytes()), Ok(Line::Nothing), "{blank:?}");
    }
    assert_eq!(parser.interfaces.iter().collect::<Vec<_>>(), ["can0"]);
}

#[test]
fn what_is_no_line_of_a_log_says_why() {
    let mut parser = LineParser::new();
    let mut why = |line: &str| parser.line(line.as_bytes()).unwrap_err();
    assert_eq!(why("hello"), Rejection::NoStamp);
    assert_eq!(why("can0  123   [3]  11 22 33"), Rejection::NoStamp);
    assert_eq!(why("(12:30:01) can0 123#11"), Rejection::BadStamp);
    assert_eq!(why("(9300000000.000000) can0 123#11"), Rejection::BadStamp);
    assert_eq!(why("(1769835600.250000)"), Rejection::NoInterface);
    assert_eq!(why("(1769835600.250000)can0 123#11"), Rejection::NoInterface);
    assert_eq!(why("(1769835600.250000)   "), Rejection::NoInterface);
    assert_eq!(why("(1769835600.250000) can0"), Rejection::BadId);
    assert_eq!(why("(1769835600.250000) can\0 123#11"), Rejection::Nuls);
}

#[test]
fn lost_frames_are_counted_by_the_first_number_of_their_line() {
    let mut parser = LineParser::new();
    let lost = parser.line(b"DROPCOUNT: dropped 5 CAN frames on 'can0' socket (total drops 12)");
    assert_eq!(lost, Ok(Line::Unstamped(Body::Lost { by: Loss::Computer, count: 5 })));
    assert_eq!(parser.line(b"DROPCOUNT: dropped"), Err(Rejection::Unsupported));
}

#[test]
fn a_line_that_is_refused_takes_no_channel() {
    let mut parser = LineParser::new();
    assert!(parser.line(b"(1.0) can7 12#11").is_err());
    assert!(parser.interfaces.is_empty());
}

fn four_names() -> Interfaces {
    let mut names = Interfaces::new();
    for name in ["can0", "vcan1", "/dev/ttyACM0", "bus\u{202e}"] {
        names.channel(name.as_bytes()).unwrap();
    }
    names
}

proptest! {
    #[test]
    fn what_is_written_is_read(inputs in prop::collection::vec(arbitrary::input(4), 1..20)) {
        let interfaces = four_names();
        let mut text = Vec::new();
        for input in &inputs {
            write_line(&mut text, input, &interfaces);
        }
        let mut parser = LineParser { interfaces: interfaces.clone(), ..LineParser::new() };
        let lines = text.strip_suffix(b"\n").unwrap().split(|&c| c == b'\n');
        let back: Vec<Input> = lines.filter_map(|line| match parser.line(line).unwrap() {
            Line::Input(input) => Some(input),
            Line::Nothing => None,
            Line::Unstamped(body) => panic!("{body:?}"),
        }).collect();
        prop_assert_eq!(back, inputs);
        prop_assert!(!parser.is_inside_note());
        prop_assert_eq!(parser.interfaces, interfaces);
    }

    #[test]
    fn no_bytes_at_all_make_it_panic(lines in prop::collection::vec(prop::collection::vec(any::<u8>(), 0..200), 0..20)) {
        let mut parser = LineParser::new();
        for line in &lines {
            let _ = parser.line(line);
        }
        prop_assert!(parser.interfaces.len() <= 64);
    }

    #[test]
    fn nearly_a_line_does_not_make_it_panic(line in "\\([0-9.]{0,25}\\)? ?(can0|cellwright|.) ?[0-9A-Fa-f]{0,9}#{0,2}[0-9A-FRrT._ ]{0,150}") {
        let mut parser = LineParser::new();
        if let Ok(Line::Input(Input { body: Body::Frame(frame), .. })) = parser.line(line.as_bytes()) {
            prop_assert!(frame.len() <= 64);
        }
    }

    #[test]
    fn any_reserved_frame_is_an_input_or_is_refused(id in prop_oneof![Just("001"), Just("002"), Just("00000001")], kind in 0..14u8, bytes: Vec<u8>) {
        let mut parser = LineParser::new();
        let hex: String = bytes.iter().take(62).map(|b| format!("{b:02X}")).collect();
        let line = format!("(1769835600.250000000) cellwright {id}##0{kind:02X}{:02X}{hex}", bytes.len().min(62));
        match parser.line(line.as_bytes()) {
            Ok(_) => prop_assert_eq!(id, "001"),
            Err(reason) => prop_assert!(matches!(reason, Rejection::BadInput | Rejection::NoInterface | Rejection::Nuls), "{:?}", reason),
        }
    }
}
