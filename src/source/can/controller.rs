//! How the controller is: asked by netlink, which needs no privilege, and said in words with what to do.

use crate::model::input::ControllerState;
use crate::source::Status;
use socketcan::nl::{CanCtrlMode, CanInterface, CanState};

/// What the kernel says about an interface.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Controller {
    /// The kernel's number of the interface.
    pub index: u32,
    /// Whether the link is up.
    pub up: bool,
    /// There is no controller: a virtual interface.
    pub is_virtual: bool,
    /// Bit rate, bit/s.
    pub bit_rate: Option<u32>,
    /// State.
    pub state: Option<ControllerState>,
    /// Whether it is set to listen only; else it acknowledges frames.
    pub listen_only: Option<bool>,
    /// After how many ms it starts again by itself when it went off the bus; 0 for never.
    pub restart_ms: Option<u32>,
    /// Errors counted: transmitting, receiving.
    pub errors: Option<(u16, u16)>,
}

impl Controller {
    /// Asks; `None` when there is no such interface.
    #[must_use]
    pub fn ask(name: &str) -> Option<Self> {
        let details = CanInterface::open(name).ok()?.details().ok()?;
        let can = details.can;
        let state = can.state.map(|state| match state {
            CanState::ErrorActive => ControllerState::Active,
            CanState::ErrorWarning => ControllerState::Warning,
            CanState::ErrorPassive => ControllerState::Passive,
            CanState::BusOff => ControllerState::BusOff,
            CanState::Stopped | CanState::Sleeping => ControllerState::Stopped,
        });
        Some(Self {
            index: details.index,
            up: details.is_up,
            is_virtual: can.state.is_none() && can.ctrl_mode.is_none(),
            bit_rate: can.bit_timing.map(|timing| timing.bitrate).filter(|rate| *rate > 0),
            state,
            listen_only: can.ctrl_mode.map(|mode| mode.has_mode(CanCtrlMode::ListenOnly)),
            restart_ms: can.restart_ms,
            errors: can.berr_counter.map(|count| (count.txerr, count.rxerr)),
        })
    }
}

/// How the interface is, in words, with the command that mends it.
#[must_use]
pub fn advice(name: &str, controller: &Controller, state: Option<ControllerState>) -> Status {
    let rate = controller.bit_rate.map_or_else(String::new, |rate| format!(" at {} kbit/s", rate as f64 / 1000.0));
    if !controller.up {
        return down(name, controller);
    }
    if state == Some(ControllerState::BusOff) {
        let text = format!("{name}: the controller has gone off the bus{rate} after too many errors");
        return Status::bad(
            text,
            format!("Check bit rate, wiring and the two 120 ohm ends, then: sudo ip link set {name} type can restart"),
        );
    }
    let counts = controller.errors.map_or_else(String::new, |(_, receive)| format!(" (receive errors {receive})"));
    if let Some(word @ ("warning" | "passive")) = state.map(word) {
        let text = format!("{name}: the controller counts many errors{rate}: error {word}{counts}");
        return Status::doubtful(text, "Check bit rate, wiring and the two 120 ohm ends");
    }
    if controller.listen_only == Some(false) {
        let text =
            format!("{name}: listening{rate}, but the controller is not in listen-only mode and acknowledges frames");
        let set = format!(
            "sudo ip link set {name} down && sudo ip link set {name} type can listen-only on && sudo ip link set {name} up"
        );
        return Status::doubtful(text, format!("To change that: {set}"));
    }
    let how = if controller.is_virtual { " (virtual: no controller)" } else { "" };
    Status::good(format!("{name}: listening{rate}{how}"))
}

fn down(name: &str, controller: &Controller) -> Status {
    let set = if controller.is_virtual {
        format!("sudo ip link set {name} up")
    } else {
        let rate = controller.bit_rate.map_or_else(|| "250000".to_owned(), |rate| rate.to_string());
        format!("sudo ip link set {name} up type can bitrate {rate} listen-only on")
    };
    Status::bad(format!("{name}: the link is down"), format!("To bring it up: {set}"))
}

/// The word for a state of a controller.
fn word(state: ControllerState) -> &'static str {
    match state {
        ControllerState::Active => "active",
        ControllerState::Warning => "warning",
        ControllerState::Passive => "passive",
        ControllerState::BusOff => "off the bus",
        ControllerState::Stopped => "stopped",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn controller() -> Controller {
        Controller {
            index: 3,
            up: true,
            is_virtual: false,
            bit_rate: Some(250_000),
            state: Some(ControllerState::Active),
            listen_only: Some(true),
            restart_ms: Some(0),
            errors: Some((0, 7)),
        }
    }

    #[test]
    fn each_state_has_its_sentence_and_its_command() {
        let well = advice("can0", &controller(), Some(ControllerState::Active));
        assert_eq!(well, Status::good("can0: listening at 250 kbit/s"));
        let talks = Controller { listen_only: Some(false), ..controller() };
        let said = advice("can0", &talks, None).to_string();
        assert!(said.contains("acknowledges frames"), "{said}");
        assert!(said.ends_with("sudo ip link set can0 down && sudo ip link set can0 type can listen-only on && sudo ip link set can0 up"), "{said}");
        let off = advice("can0", &controller(), Some(ControllerState::BusOff));
        assert!(!off.up && off.advice.ends_with("sudo ip link set can0 type can restart"), "{off}");
        let passive = advice("can0", &controller(), Some(ControllerState::Passive));
        assert!(passive.text.ends_with("error passive (receive errors 7)"), "{passive}");
    }

    #[test]
    fn a_link_that_is_down_names_the_command_that_brings_it_up_listening() {
        let down = Controller { up: false, bit_rate: None, ..controller() };
        let said = advice("can0", &down, None);
        assert!(!said.up);
        assert_eq!(said.advice, "To bring it up: sudo ip link set can0 up type can bitrate 250000 listen-only on");
    }
}
