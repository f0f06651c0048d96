//! How long from start to the first picture, in a pseudo-terminal of 80 by 24.

use crate::now;
use portable_pty::{CommandBuilder, PtySize, native_pty_system};
use std::io::{Read, Write};
use std::sync::mpsc;
use std::time::Duration;

/// Longest that a picture is waited for.
const PATIENCE: Duration = Duration::from_secs(20);

/// Time until values stand on the screen beside a verdict, and the picture; `q` ends the program.
pub(crate) fn first_picture(arguments: &[&str]) -> Result<Duration, String> {
    let size = PtySize { rows: 24, cols: 80, pixel_width: 0, pixel_height: 0 };
    let pair = native_pty_system().openpty(size).map_err(|e| e.to_string())?;
    let mut command = CommandBuilder::new(crate::logs::PROGRAM);
    command.args(arguments);
    command.env("TERM", "xterm-256color");
    let (mut reader, mut writer) = (
        pair.master.try_clone_reader().map_err(|e| e.to_string())?,
        pair.master.take_writer().map_err(|e| e.to_string())?,
    );
    let (sender, chunks) = mpsc::channel();
    let start = now();
    let mut child = pair.slave.spawn_command(command).map_err(|e| e.to_string())?;
    drop(pair.slave);
    std::thread::spawn(move || {
        let mut buffer = [0; 1 << 16];
        while let Ok(count @ 1..) = reader.read(&mut buffer) {
            if sender.send(buffer[..count].to_vec()).is_err() {
                break;
            }
        }
    });
    let mut parser = vt100::Parser::new(24, 80, 0);
    let mut took = None;
    while took.is_none() && start.elapsed() < PATIENCE {
        let Ok(chunk) = chunks.recv_timeout(Duration::from_millis(100)) else { continue };
        parser.process(&chunk);
        took = shows_values(&parser.screen().contents()).then(|| start.elapsed());
    }
    let _ = writer.write_all(b"q");
    let _ = writer.flush();
    let quit = now();
    while quit.elapsed() < Duration::from_secs(5) {
        // What it still draws must be taken, or it could not end.
        while chunks.try_recv().is_ok() {}
        if child.try_wait().is_ok_and(|status| status.is_some()) {
            return took.ok_or_else(|| format!("no picture within {PATIENCE:?}: {}", parser.screen().contents()));
        }
        std::thread::sleep(Duration::from_millis(5));
    }
    let _ = child.kill();
    Err("`q` does not end it".into())
}

/// Voltages of cells, such as '3.312', stand in the picture.
fn shows_values(contents: &str) -> bool {
    let is_volts =
        |word: &str| word.len() >= 5 && word.starts_with("3.") && word[2..5].bytes().all(|b| b.is_ascii_digit());
    contents.split_whitespace().filter(|word| word.is_ascii()).filter(|word| is_volts(word)).count() >= 2
}
