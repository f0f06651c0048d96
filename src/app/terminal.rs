//! What happens to a terminal from outside: signals, a hang-up, being put aside.

use rustix::event::{PollFd, PollFlags, poll};
use rustix::process::{Signal, getpgid, getsid, kill_current_process_group};
use signal_hook::consts::{SIGCONT, SIGHUP, SIGINT, SIGTERM, SIGTSTP};
use signal_hook::flag::register;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// How long the screen has to notice that its terminal is gone.
const GRACE: Duration = Duration::from_secs(2);

/// What came from outside and waits to be dealt with.
#[derive(Debug, Clone, Default)]
pub(super) struct Outside {
    end: Arc<AtomicBool>,
    aside: Arc<AtomicBool>,
    again: Arc<AtomicBool>,
}

impl Outside {
    /// Listens from now on.
    pub(super) fn listen() -> std::io::Result<Self> {
        let outside = Self::default();
        for signal in [SIGTERM, SIGHUP, SIGINT] {
            register(signal, Arc::clone(&outside.end))?;
        }
        register(SIGTSTP, Arc::clone(&outside.aside))?;
        register(SIGCONT, Arc::clone(&outside.again))?;
        watch_for_hang_up(Arc::clone(&outside.end));
        Ok(outside)
    }

    /// Whether the program is to end.
    pub(super) fn wants_end(&self) -> bool {
        self.end.load(Ordering::Relaxed)
    }

    /// Whether it is to be put aside; asked once.
    pub(super) fn wants_aside(&self) -> bool {
        self.aside.swap(false, Ordering::Relaxed)
    }

    /// Whether it was brought back; asked once.
    pub(super) fn came_back(&self) -> bool {
        self.again.swap(false, Ordering::Relaxed)
    }

    /// Stops until somebody brings it back; false when there is nobody who could.
    pub(super) fn stop_here(&self) -> bool {
        if !has_a_shell() {
            return false;
        }
        // Whoever runs us in the same group stops too, as it does when the terminal sends the signal.
        let _ = kill_current_process_group(Signal::TSTP);
        let _ = signal_hook::low_level::emulate_default_handler(SIGTSTP);
        self.aside.store(false, Ordering::Relaxed);
        self.again.store(false, Ordering::Relaxed);
        true
    }
}

/// A shell that could bring the program back leads the session, and runs the program in a group of its own.
fn has_a_shell() -> bool {
    matches!((getsid(None), getpgid(None)), (Ok(session), Ok(group)) if session != group)
}

/// The library that reads the keys can spin for ever on a terminal that is gone. So another thread waits for the
/// hang-up, and ends the program if the screen does not.
fn watch_for_hang_up(end: Arc<AtomicBool>) {
    let watch = move || {
        let Ok(terminal) = std::fs::File::open("/dev/tty") else { return };
        loop {
            let mut watched = [PollFd::new(&terminal, PollFlags::empty())];
            let told = poll(&mut watched, None);
            let gone = watched[0].revents().intersects(PollFlags::HUP | PollFlags::ERR | PollFlags::NVAL);
            if told.is_ok() && gone {
                break;
            }
        }
        end.store(true, Ordering::Relaxed);
        std::thread::sleep(GRACE);
        std::process::exit(0);
    };
    // Without the thread only the signal tells of a hang-up, which is the usual way anyhow.
    let _ = std::thread::Builder::new().name("hang-up".into()).spawn(watch);
}
