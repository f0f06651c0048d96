//! The terminal, taken and always given back: at the end, on a panic anywhere, on a hang-up, when put aside.

use super::app::App;
use super::view;
use ratatui::backend::CrosstermBackend;
use ratatui::crossterm::cursor::{Hide, Show};
use ratatui::crossterm::terminal::{
    BeginSynchronizedUpdate, EndSynchronizedUpdate, EnterAlternateScreen, LeaveAlternateScreen, disable_raw_mode,
    enable_raw_mode, size,
};
use ratatui::crossterm::{execute, queue};
use ratatui::layout::Rect;
use ratatui::{Terminal, TerminalOptions, Viewport};
use std::io::{self, BufWriter, Stdout, Write, stdout};
use std::sync::Once;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::ThreadId;

/// Bytes that a drawn frame is gathered in.
const BUFFER: usize = 64 * 1024;

/// Whether the terminal is ours: given back twice, it would move the cursor into what was said in between.
static TAKEN: AtomicBool = AtomicBool::new(false);

type Screen = Terminal<CrosstermBackend<BufWriter<Stdout>>>;

/// The terminal while the screen has it. Dropping it gives the terminal back.
#[derive(Debug)]
pub struct Guard {
    screen: Screen,
    size_told: bool,
}

impl Guard {
    /// Takes the terminal; `fallback` is its size when it does not tell one, as on a serial console.
    ///
    /// # Errors
    /// When the terminal refuses raw mode or cannot be written.
    pub fn enter(fallback: (u16, u16)) -> io::Result<Self> {
        give_back_on_panic();
        take()?;
        let made = make(fallback);
        if made.is_err() {
            give_back();
        }
        let (screen, size_told) = made?;
        Ok(Self { screen, size_told })
    }

    /// Draws a frame.
    ///
    /// # Errors
    /// When the terminal is gone.
    pub fn draw(&mut self, app: &App) -> io::Result<()> {
        if self.size_told {
            self.screen.autoresize()?;
        }
        queue!(self.screen.backend_mut(), BeginSynchronizedUpdate)?;
        self.screen.draw(|frame| view::draw(app, frame.area(), frame.buffer_mut()))?;
        queue!(self.screen.backend_mut(), EndSynchronizedUpdate)?;
        self.screen.backend_mut().flush()
    }

    /// Forgets what is on the terminal, so that the next frame is drawn whole.
    ///
    /// # Errors
    /// When the terminal is gone.
    pub fn clear(&mut self) -> io::Result<()> {
        self.screen.clear()
    }

    /// Gives the terminal back for a while.
    pub fn put_aside(&mut self) {
        give_back();
    }

    /// Takes the terminal again.
    ///
    /// # Errors
    /// When the terminal is gone.
    pub fn take_again(&mut self) -> io::Result<()> {
        take()?;
        self.screen.clear()
    }
}

impl Drop for Guard {
    fn drop(&mut self) {
        give_back();
    }
}

fn make(fallback: (u16, u16)) -> io::Result<(Screen, bool)> {
    let backend = CrosstermBackend::new(BufWriter::with_capacity(BUFFER, stdout()));
    match size() {
        Ok((width, height)) if width > 0 && height > 0 => Ok((Terminal::new(backend)?, true)),
        _ => {
            let area = Rect::new(0, 0, fallback.0, fallback.1);
            let options = TerminalOptions { viewport: Viewport::Fixed(area) };
            Ok((Terminal::with_options(backend, options)?, false))
        }
    }
}

fn take() -> io::Result<()> {
    enable_raw_mode()?;
    TAKEN.store(true, Ordering::SeqCst);
    let entered = execute!(stdout(), EnterAlternateScreen, Hide);
    if entered.is_err() {
        give_back();
    }
    entered
}

/// Every step is tried, whatever became of the one before: the terminal may be gone.
fn give_back() {
    if !TAKEN.swap(false, Ordering::SeqCst) {
        return;
    }
    let _ = execute!(stdout(), EndSynchronizedUpdate, LeaveAlternateScreen, Show);
    let _ = disable_raw_mode();
}

/// A panic on the screen's own thread gives the terminal back before it is told. Panics of other threads are
/// told by whoever waits for them: told here they would be drawn over.
fn give_back_on_panic() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let screen_thread: ThreadId = std::thread::current().id();
        let tell = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |info| {
            if std::thread::current().id() == screen_thread {
                give_back();
                tell(info);
            }
        }));
    });
}

#[cfg(test)]
mod tests {
    use super::*;
    use portable_pty::{CommandBuilder, PtySize, native_pty_system};
    use std::io::Read;

    const ROLE: &str = "CELLWRIGHT_TEST_TAKES_THE_TERMINAL";
    const LEAVES: &str = "\x1b[?1049l";

    /// The test runs itself in a terminal; there it takes the terminal and panics, first beside the screen's thread.
    #[test]
    fn a_panic_gives_the_terminal_back_before_it_is_told_and_one_of_a_worker_is_not_drawn_over_the_screen() {
        if std::env::var_os(ROLE).is_some() {
            let _guard = Guard::enter((80, 24)).unwrap();
            assert!(std::thread::spawn(|| panic!("beside the screen")).join().is_err());
            panic!("on the screen");
        }
        let told = in_a_terminal(
            "tui::guard::tests::a_panic_gives_the_terminal_back_before_it_is_told_and_one_of_a_worker_is_not_drawn_over_the_screen",
        );
        let (screen, after) = told.split_once(LEAVES).unwrap();
        assert!(screen.contains("\x1b[?1049h"), "never took the terminal: {told:?}");
        assert!(!told.contains("beside the screen"), "{told:?}");
        assert!(after.contains("on the screen"), "{told:?}");
        assert!(!after.contains(LEAVES), "given back twice: {told:?}");
    }

    fn in_a_terminal(test: &str) -> String {
        let size = PtySize { rows: 24, cols: 80, pixel_width: 0, pixel_height: 0 };
        let pair = native_pty_system().openpty(size).unwrap();
        let mut command = CommandBuilder::new(std::env::current_exe().unwrap());
        command.args(["--exact", test, "--nocapture", "--test-threads=1"]);
        command.env(ROLE, "1");
        let mut child = pair.slave.spawn_command(command).unwrap();
        drop(pair.slave);
        let mut from = pair.master.try_clone_reader().unwrap();
        let mut told = Vec::new();
        let mut chunk = [0; 4096];
        // A terminal whose program has ended gives an error, not an end.
        while let Ok(count @ 1..) = from.read(&mut chunk) {
            told.extend_from_slice(&chunk[..count]);
        }
        child.wait().unwrap();
        String::from_utf8_lossy(&told).into_owned()
    }
}
