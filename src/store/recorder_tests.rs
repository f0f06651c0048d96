use super::*;
use crate::model::{Body, Stamp};
use crate::wire::textlog::{Line, LineParser};
use std::time::Duration;

/// A disk with room for so many bytes, which a test may change.
struct Small {
    text: Arc<Mutex<Vec<u8>>>,
    room: Arc<Mutex<usize>>,
}

impl Tape for Small {
    fn append(&mut self, text: &[u8]) -> io::Result<()> {
        let mut kept = self.text.lock().unwrap();
        let room = self.room.lock().unwrap().saturating_sub(kept.len());
        kept.extend(text.iter().take(room));
        if text.len() > room { Err(io::ErrorKind::StorageFull.into()) } else { Ok(()) }
    }

    fn cut(&mut self, len: u64) -> io::Result<()> {
        self.text.lock().unwrap().truncate(len as usize);
        Ok(())
    }

    fn keep(&mut self) -> io::Result<()> {
        Ok(())
    }
}

fn note(number: i64) -> Input {
    Input { stamp: Stamp::from_secs(1000 + number), body: Body::Note(format!("note {number}")) }
}

fn read(text: &[u8]) -> Vec<Body> {
    let mut parser = LineParser::new();
    let lines = text.split(|byte| *byte == b'\n').map(|line| parser.line(line).expect("every line is whole"));
    lines.filter_map(|line| if let Line::Input(input) = line { Some(input.body) } else { None }).collect()
}

fn wait_for(recorder: &mut Recorder, wanted: impl Fn(&State) -> bool) -> State {
    for _ in 0..1000 {
        let state = recorder.state();
        if wanted(&state) {
            return state;
        }
        std::thread::sleep(Duration::from_millis(10));
    }
    panic!("the recorder never came to that");
}

#[test]
fn a_full_disk_is_said_and_the_gap_is_counted_once_there_is_room() {
    let (text, room) = (Arc::new(Mutex::new(Vec::new())), Arc::new(Mutex::new(200)));
    let mut recorder = Recorder::to(Box::new(Small { text: Arc::clone(&text), room: Arc::clone(&room) }));
    let names = Interfaces::new();
    recorder.record(&note(1), &names);
    recorder.flush();
    for number in 2..10 {
        recorder.record(&note(number), &names);
    }
    recorder.flush();
    let full = wait_for(&mut recorder, |state| matches!(state, State::Failing(_)));
    assert_eq!(full, State::Failing(io::Error::from(io::ErrorKind::StorageFull).to_string()));
    recorder.record(&note(10), &names);
    *room.lock().unwrap() = 1 << 20;
    let State::Resumed(count) = wait_for(&mut recorder, |state| matches!(state, State::Resumed(_))) else { panic!() };
    assert_eq!(count, 9, "eight that were refused and one while it was full");
    recorder.record(&Input { stamp: Stamp::from_secs(1011), body: Body::Gap { count } }, &names);
    recorder.record(&note(12), &names);
    recorder.flush();
    assert_eq!(recorder.finish(), None);
    let kept = read(&text.lock().unwrap());
    assert_eq!(kept, [Body::Note("note 1".into()), Body::Gap { count: 9 }, Body::Note("note 12".into())]);
}

#[test]
fn a_disk_that_stays_full_is_told_at_the_end() {
    let (text, room) = (Arc::new(Mutex::new(Vec::new())), Arc::new(Mutex::new(0)));
    let mut recorder = Recorder::to(Box::new(Small { text, room }));
    recorder.record(&note(1), &Interfaces::new());
    let missing = recorder.finish();
    assert_eq!(missing, Some((1, io::Error::from(io::ErrorKind::StorageFull).to_string())));
}

#[test]
fn nothing_is_ever_overwritten() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("a.log");
    std::fs::write(&path, "precious").unwrap();
    assert!(matches!(Recorder::create(&path), Err(RecordError::Exists(_))));
    assert_eq!(std::fs::read_to_string(&path).unwrap(), "precious");
    assert!(matches!(Recorder::create(&dir.path().join("a.log.gz")), Err(RecordError::Packed(_))));
    assert!(matches!(Recorder::create(&dir.path().join("none/a.log")), Err(RecordError::Create(..))));
}
